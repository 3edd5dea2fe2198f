"""A socket that is emptied in batches, on loopback."""

import ipaddress
import socket
from collections.abc import Iterator

import pytest

from pattress.egress.datagrams import Datagrams, bound_socket, sender_of


@pytest.fixture
def datagrams() -> Iterator[Datagrams]:
    made = Datagrams(("127.0.0.1", 0), max_bytes=100)
    yield made
    made.close()
    made.close()


def send(datagrams: Datagrams, *contents: bytes) -> int:
    """Send datagrams and return the port they are from."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        for content in contents:
            sender.sendto(content, datagrams.socket.getsockname())
        return int(sender.getsockname()[1])


def test_a_turn_takes_a_bounded_number_and_the_next_goes_on(datagrams: Datagrams) -> None:
    taken: list[bytes] = []
    send(datagrams, *(b"%d" % number for number in range(5)))

    counts = []
    for _ in range(3):
        datagrams.read(lambda data, *_: taken.append(data), at_most=2)
        counts.append(len(taken))

    assert counts == [2, 4, 5]
    assert taken == [b"0", b"1", b"2", b"3", b"4"]


def test_a_datagram_comes_with_its_sender_and_whether_it_was_cut(datagrams: Datagrams) -> None:
    taken: list[tuple[bytes, str, int, bool]] = []
    port = send(datagrams, b"a" * 100, b"b" * 101)

    datagrams.read(lambda *all_of_it: taken.append(all_of_it))

    assert taken == [(b"a" * 100, "127.0.0.1", port, False), (b"b" * 100, "127.0.0.1", port, True)]


def test_what_the_kernel_dropped_is_told_with_the_next_that_comes(datagrams: Datagrams) -> None:
    count, taken = 30_000, [0]
    datagrams.socket.setsockopt(socket.SOL_SOCKET, socket.SO_RCVBUF, 4096)

    def take(*_: object) -> None:
        taken[0] += 1

    send(datagrams, *([b"x"] * count))
    datagrams.read(take, at_most=count)
    send(datagrams, b"the next")
    dropped = datagrams.read(take)

    assert dropped > 0
    assert taken[0] + dropped == count + 1


@pytest.mark.parametrize(
    ("host", "address"),
    [
        ("192.0.2.1", "192.0.2.1"),
        ("::ffff:192.0.2.1", "192.0.2.1"),
        ("2001:db8::1", "2001:db8::1"),
        ("fe80::1%lo", "fe80::1"),
        ("nonsense", None),
    ],
)
def test_a_sender_has_one_address_however_it_came(host: str, address: str | None) -> None:
    assert sender_of(host) == (None if address is None else ipaddress.ip_address(address))


def test_a_name_is_not_looked_up() -> None:
    with pytest.raises(OSError, match="not known"):
        bound_socket(("localhost", 0), socket.SOCK_DGRAM)


def test_an_address_of_another_host_is_refused_and_nothing_stays_open() -> None:
    with pytest.raises(OSError, match="assign"):
        bound_socket(("192.0.2.1", 0), socket.SOCK_STREAM)
