"""Those who may send to a listener, and telling how all of their sources fare.

What belongs here: what listening for log lines and for flow export have in common. What does not: sockets.
"""

from collections.abc import Mapping, Sequence

from pattress.egress.datagrams import sender_of
from pattress.egress.tally import Tallies
from pattress.model.addresses import IPAddress
from pattress.model.watching import WatchSource


class Senders:
    """The listed senders. `sources` are theirs, by the sender's address as `listed` gives it."""

    def __init__(self, sources: Mapping[IPAddress, Sequence[WatchSource]], tallies: Tallies) -> None:
        self.sources: dict[str, tuple[WatchSource, ...]] = {}
        # As sockets write them, so that no address is parsed for a datagram of a listed sender.
        self._by_host: dict[str, str] = {}
        for address, ones in sources.items():
            known = sender_of(str(address))
            if known is not None:
                sender = str(known)
                self.sources[sender] = (*self.sources.get(sender, ()), *ones)
                self._by_host[sender] = sender
                if known.version == 4:
                    self._by_host[f"::ffff:{sender}"] = sender
        self._names = sorted({one.name for ones in sources.values() for one in ones})
        self._tallies = tallies

    def listed(self, host: str) -> str | None:
        """Return the address of a sender as sockets give it, None where it is not listed."""
        known = self._by_host.get(host)
        if known is not None:
            return known
        sender = str(sender_of(host))
        return sender if sender in self.sources else None

    def lose(self, count: int) -> None:
        """Count what the kernel dropped: nobody knows whose it was, so that it counts as lost to every source."""
        if count:
            for name in self._names:
                self._tallies.of(name).lost += count

    def say(self, trouble: str | None) -> None:
        """Say why none of them can be heard, or that they can again."""
        for name in self._names:
            self._tallies.of(name).trouble = trouble


def shown(at: tuple[str, int]) -> str:
    """Return where somebody listens as people write it."""
    host, port = at
    return f"[{host}]:{port}" if ":" in host else f"{host}:{port}"
