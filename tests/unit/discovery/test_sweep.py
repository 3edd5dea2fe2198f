"""Which addresses a sweep asks for, how, and that it stops."""

import asyncio
import socket
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from ipaddress import IPv4Address, IPv6Network, ip_address, ip_network

import pytest

from pattress.discovery.sweep import MAX_ADDRESSES, SweepSource, TooLargeError, addresses_of, sweep
from pattress.model.addresses import IPNetwork
from pattress.model.site import Networks
from pattress.model.source import SourceReport

FAST = 1000.0


def networks(*devices: str) -> Networks:
    parsed: tuple[IPNetwork, ...] = tuple(ip_network(one) for one in devices)
    return Networks(devices=parsed, inside=parsed)


def asked(*devices: str, own: Sequence[str] = ()) -> list[str]:
    return [str(one) for one in addresses_of(networks(*devices), frozenset(ip_address(one) for one in own))]


@contextmanager
def receiver(address: str, port: int = 0) -> Iterator[socket.socket]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as opened:
        opened.setblocking(False)
        opened.bind((address, port))
        yield opened


async def swept(site: Networks, port: int, *receivers: socket.socket) -> tuple[SourceReport, list[bytes]]:
    """Sweep until each receiver has got something; with no receiver, not at all."""
    loop = asyncio.get_running_loop()
    stop = asyncio.Event()
    source = SweepSource(site, FAST, own=frozenset(), port=port)
    async with asyncio.timeout(10), asyncio.TaskGroup() as group:
        listening = group.create_task(source.listen(print, stop), name="sweep")
        got = [await loop.sock_recv(one, 100) for one in receivers]
        stop.set()
    (report,) = listening.result()
    return report, got


def test_every_address_but_those_of_networks_broadcasts_and_this_host_is_asked_for_once() -> None:
    addresses = asked("192.0.2.0/29", "192.0.2.4/30", "198.51.100.7/32", own=["192.0.2.2", "2001:db8::1"])

    assert addresses == ["192.0.2.1", "192.0.2.3", "192.0.2.4", "192.0.2.5", "192.0.2.6", "198.51.100.7"]


def test_ipv6_and_groups_are_never_swept() -> None:
    assert asked("2001:db8::/120", "239.0.0.0/30") == []


def test_networks_of_more_addresses_than_the_limit_are_refused_before_they_are_counted_out() -> None:
    assert len(asked("10.0.0.0/20")) == MAX_ADDRESSES - 2

    with pytest.raises(TooLargeError, match="have 4097 addresses, and a sweep asks for 4096 at most"):
        asked("10.0.0.0/20", "192.0.2.1/32")
    with pytest.raises(TooLargeError, match="have 16777216 addresses"):
        asked("10.0.0.0/8")


async def test_a_large_network_is_a_failure_with_a_way_out() -> None:
    (report,) = await SweepSource(networks("10.0.0.0/8"), FAST).listen(print, asyncio.Event())

    assert report.state == "failed"
    assert "Name smaller networks in site.toml" in report.detail


async def test_a_site_of_ipv6_only_is_said_not_to_be_swept() -> None:
    (report,) = await SweepSource(networks("2001:db8::/64"), FAST).listen(print, asyncio.Event())

    assert report.state == "failed"
    assert "no IPv4 address to ask for" in report.detail


async def test_each_address_gets_one_small_datagram() -> None:
    with receiver("127.0.0.33") as one, receiver("127.0.0.34", one.getsockname()[1]) as other:
        report, got = await swept(networks("127.0.0.32/30"), one.getsockname()[1], one, other)

        assert [len(datagram) for datagram in got] == [1, 1]
        for each in (one, other):
            with pytest.raises(BlockingIOError):
                each.recv(100)
    assert (report.state, report.detail, report.heard_count) == ("heard", "2 addresses asked for", 2)


async def test_the_rate_is_kept() -> None:
    loop = asyncio.get_running_loop()
    addresses = [IPv4Address("127.0.0.33")] * 20
    started_at = loop.time()

    done = await sweep(addresses, 100, asyncio.Event(), port=9)

    assert loop.time() - started_at >= 20 * 0.5 / 100
    assert (done.sent, done.is_whole) == (20, True)


async def test_a_sweep_that_is_stopped_ends_at_once_and_says_how_far_it_came() -> None:
    report, _ = await swept(networks("127.0.0.32/28"), 9)

    assert report.state == "failed"
    assert report.detail.startswith("only 0 of 14 addresses were asked for. Listen longer (listen_s")


def test_a_network_of_version_6_as_large_as_it_likes_costs_nothing() -> None:
    assert isinstance(ip_network("2001:db8::/32"), IPv6Network)
    assert asked("2001:db8::/32", "192.0.2.0/30") == ["192.0.2.1", "192.0.2.2"]
