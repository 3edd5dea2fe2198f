"""A sweep: one small datagram to each address of the device networks, so that the kernel looks for who has it.

What belongs here: which addresses, how fast, and that nothing else is reached. What does not: what comes of it, which
is in the neighbour table (`neighbours`). It is off unless the site asks for it.
"""

import asyncio
import random
import socket
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network

from pattress.discovery import Sink
from pattress.model.addresses import IPAddress
from pattress.model.errors import reason_of
from pattress.model.site import Networks
from pattress.model.source import SourceReport
from pattress.wire.reach import own_addresses

DISCARD_PORT = 9  # RFC 863: whoever listens there throws away what comes
PAYLOAD = b"\0"
MAX_ADDRESSES = 4_096  # at 50 a second 82 s; the kernel keeps 1,024 neighbours unless it is told otherwise
SEND_S = 5.0  # an address that nobody has holds its datagram for 3 s, and only so many are held at once


class TooLargeError(Exception):
    """The device networks have more addresses than a sweep may ask for. The message says how many."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Swept:
    """How far a sweep came. `refusal` is why the last of the `unsent` could not be sent to."""

    addresses: int
    sent: int
    unsent: int
    refusal: str | None = None

    @property
    def is_whole(self) -> bool:
        """Whether every address had its turn."""
        return self.sent + self.unsent == self.addresses


def addresses_of(networks: Networks, own: frozenset[IPAddress]) -> list[IPv4Address]:
    """Return the IPv4 addresses to ask for, each once, without those of this host, of networks and of broadcasts.

    Raises:
        TooLargeError: If they are more than `MAX_ADDRESSES`.
    """
    swept = [network for network in networks.devices if isinstance(network, IPv4Network)]
    count = sum(network.num_addresses for network in swept)
    if count > MAX_ADDRESSES:
        raise TooLargeError(f"the device networks have {count} addresses, and a sweep asks for {MAX_ADDRESSES} at most")
    return list(dict.fromkeys(_hosts(swept, own)))


async def sweep(
    addresses: Sequence[IPv4Address], per_second: float, stop: asyncio.Event, *, port: int = DISCARD_PORT
) -> Swept:
    """Send one datagram to each address, at most so many a second on average, until `stop` is set.

    Only to hosts on a network of this host's own: a datagram never goes to a router, so that none leaves the site
    where the device networks are named wrongly.
    """
    loop = asyncio.get_running_loop()
    sent = unsent = 0
    refusal: str | None = None
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sender:
        sender.setblocking(False)
        sender.setsockopt(socket.SOL_SOCKET, socket.SO_DONTROUTE, 1)
        sender.setsockopt(socket.IPPROTO_IP, socket.IP_TTL, 1)
        for address in addresses:
            try:
                # Jitter, so that what else is timed in the house does not beat with it.
                async with asyncio.timeout(random.uniform(0.5, 1.5) / per_second):  # noqa: S311
                    await stop.wait()
                break
            except TimeoutError:
                pass
            try:
                async with asyncio.timeout(SEND_S):
                    await loop.sock_sendto(sender, PAYLOAD, (str(address), port))
                sent += 1
            except TimeoutError:
                unsent, refusal = unsent + 1, f"no room within {SEND_S:g} s"
            except OSError as error:
                unsent, refusal = unsent + 1, reason_of(error)
    return Swept(addresses=len(addresses), sent=sent, unsent=unsent, refusal=refusal)


class SweepSource:
    """A sweep as a source: it tells nothing itself, and reports how far it came."""

    def __init__(
        self,
        networks: Networks,
        per_second: float,
        *,
        own: frozenset[IPAddress] | None = None,
        port: int = DISCARD_PORT,
    ) -> None:
        self._networks = networks
        self._per_second = per_second
        self._own = own
        self._port = port

    async def listen(self, sink: Sink, stop: asyncio.Event) -> Sequence[SourceReport]:
        """Sweep the device networks once, or until `stop` is set. What comes of it, the neighbour table tells."""
        try:
            addresses = addresses_of(self._networks, own_addresses() if self._own is None else self._own)
        except TooLargeError as error:
            return [_report("failed", f"{error}. {_SMALLER}")]
        if not addresses:
            return [_report("failed", f"the device networks have no IPv4 address to ask for. {_SMALLER}")]
        swept = await sweep(addresses, self._per_second, stop, port=self._port)
        await stop.wait()
        return [_report(*_outcome(swept), swept.sent)]


def _hosts(networks: Sequence[IPv4Network], own: frozenset[IPAddress]) -> Iterator[IPv4Address]:
    for network in networks:
        for address in network.hosts():
            if address not in own and not address.is_multicast:
                yield address


def _outcome(swept: Swept) -> tuple[str, str]:
    if not swept.is_whole:
        detail = f"only {swept.sent + swept.unsent} of {swept.addresses} addresses were asked for. {_LONGER}"
        return "failed", detail
    if swept.unsent == swept.addresses:
        detail = f"none of {swept.addresses} addresses can be asked for from this host ({swept.refusal}). {_ELSEWHERE}"
        return "failed", detail
    detail = f"{swept.sent} addresses asked for"
    return "heard", detail + (f"; {swept.unsent} could not be ({swept.refusal})" if swept.unsent else "")


def _report(state: str, detail: str, count: int = 0) -> SourceReport:
    return SourceReport(source="sweep", state=state, detail=detail, heard_count=count)  # type: ignore[arg-type]


_SMALLER = "Name smaller networks in site.toml under [networks] devices, or set sweep = false under [discovery]"
_LONGER = "Listen longer (listen_s in site.toml under [discovery], or --listen), or raise sweep_per_s"
_ELSEWHERE = (
    "A sweep works where this host has an interface in the device networks; set sweep = false where it has none"
)
