"""Watching this host's own connection table, where it is the router.

What belongs here: when to look, by which way, and saying what is missing. What does not: the two forms of the table
(`connections`, `connections_netlink`), and what of it is new (`connection_changes`).

What the packet filter drops on its way through never becomes a connection: this source alone does not show that a
device tried.
"""

import asyncio
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pattress.egress import connections_netlink
from pattress.egress.connection_changes import ConnectionChanges
from pattress.egress.connections import Connection, connection_of
from pattress.egress.pausing import pause
from pattress.egress.tally import Tallies
from pattress.egress.threads import in_thread
from pattress.model.encounter import Traffic
from pattress.model.errors import reason_of
from pattress.model.watching import WatchSource

LOOK_S = 5.0  # the kernel forgets a refused TCP connection after 10 s, others after 30 s at the soonest
REST_RATIO = 10  # however large the table is, looking at it takes at most a tenth of a core
MAX_LINES = 262_144  # looked at in one look: what Linux tracks at most by default, on a machine with much memory
HANDED_AT_ONCE = 500  # what is made of each takes 20 microseconds, for which the loop is held

TABLE = Path("/proc/net/nf_conntrack")
COUNTS = Path("/proc/sys/net/netfilter/nf_conntrack_acct")

Sink = Callable[[WatchSource, Traffic], None]


@dataclass(slots=True, kw_only=True)
class _Look:
    """What one look gave."""

    news: list[Traffic]
    count: int = 0
    over: int = 0
    unfit: int = 0
    trouble: str | None = None
    note: str | None = None


class ConnectionsWatch:
    """The connections that this host tracks: each when it is new, when it is first answered, and once an hour.

    `table` and `counts` are where Linux shows the table, and whether it counts packets. Where it does not show the
    table as a file, the kernel is asked over netlink. Both are for the administrator of the network only.

    `note` is what a person should know of a table that can be read. Whether a connection was answered is in it with
    counts and without, so that a source without them is heard like any other.
    """

    def __init__(
        self,
        source: WatchSource,
        tallies: Tallies,
        clock: Callable[[], datetime],
        *,
        table: Path = TABLE,
        counts: Path = COUNTS,
    ) -> None:
        self._source = source
        self._tallies = tallies
        self._clock = clock
        self._table = table
        self._counts = counts
        self._changes = ConnectionChanges()
        self._has_seen = False
        self.note: str | None = None

    async def listen(self, sink: Sink, stop: asyncio.Event) -> None:
        """Hand on what is new until `stop` is set. What fails is said in the tallies, and tried again."""
        while not stop.is_set():
            started_at = time.monotonic()
            look = await in_thread(self._look)
            took_s = time.monotonic() - started_at
            self._count(look)
            for number, traffic in enumerate(look.news, 1):
                sink(self._source, traffic)
                if number % HANDED_AT_ONCE == 0:
                    await asyncio.sleep(0)
            if not await pause(stop, max(LOOK_S, took_s * REST_RATIO)):
                return

    def _count(self, look: _Look) -> None:
        tally = self._tallies.of(self._source.name)
        tally.heard += look.count
        tally.lost += look.over
        tally.refused += look.unfit
        tally.trouble = look.trouble
        self.note = look.note

    def _look(self) -> _Look:
        """Look at the table. Blocks: for a thread."""
        look = _Look(news=[])
        try:
            for traffic in self._changes.of(self._connections(look)):
                look.news.append(traffic)  # what came before a failure is told: it is not new the next time
        except PermissionError:
            look.trouble = f"the connection table may not be read. {_PERMIT}"
        except OSError as error:
            look.trouble = f"the kernel does not give its connection table ({reason_of(error)}). {_PERMIT}"
        else:
            self._has_seen = self._has_seen or look.count > 0
            look.trouble = None if self._has_seen else _EMPTY
            look.note = None if self._is_counted() else f"{self._source.name}: {_UNCOUNTED}"
        look.over += self._changes.over
        return look

    def _connections(self, look: _Look) -> Iterator[Connection]:
        for connection in self._records(self._clock()):
            look.count += 1
            if look.count > MAX_LINES:
                look.over += 1
            elif connection is None:
                look.unfit += 1
            else:
                yield connection

    def _records(self, now: datetime) -> Iterator[Connection | None]:
        """Yield the connections, None for a line that tells none."""
        try:
            table = self._table.open(encoding="ascii", errors="replace")
        except (FileNotFoundError, PermissionError):
            yield from connections_netlink.connections(self._source.name, now)
            return
        with table:
            for line in table:
                yield connection_of(line, self._source.name, now)

    def _is_counted(self) -> bool:
        try:
            return self._counts.read_text(encoding="ascii").strip() != "0"
        except (OSError, ValueError):
            return True  # nothing says that they are missing


_PERMIT = "Give this service the capability CAP_NET_ADMIN on the router, or name another source"
_EMPTY = (
    "the connection table is empty. The kernel tracks connections where a rule of the packet filter asks for their"
    " state: have one, on the host that is the router"
)
_UNCOUNTED = (
    "how many packets and octets a connection had is not counted; whether it was answered is told all the same. Set"
    " net.netfilter.nf_conntrack_acct = 1 with sysctl; it counts for connections that begin afterwards"
)
