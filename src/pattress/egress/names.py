"""Names by address, from the answers that the resolver gave: so that an alert can say a name.

What belongs here: that one table and its bounds. What does not: reading the resolver's log.
"""

from collections import OrderedDict
from collections.abc import Callable
from datetime import datetime, timedelta

from pattress.model.addresses import IPAddress
from pattress.model.encounter import NameAnswer

KEPT = timedelta(hours=24)  # modules hold on to addresses for far longer than the answer's own time to live
MAX_ADDRESSES = 20_000  # about 400 bytes each with their names, so 8 MB; a house looks up some hundreds of names
MAX_NAMES = 8  # of one address: many names of a cloud lead to one address


class NameTable:
    """Which names led to an address of late, the newest first. The oldest address makes room."""

    def __init__(self) -> None:
        self._names: OrderedDict[IPAddress, dict[str, tuple[datetime, IPAddress | None]]] = OrderedDict()

    def add(self, answer: NameAnswer) -> None:
        """Take in one answer."""
        names = self._names.pop(answer.address, {})
        names.pop(answer.name, None)
        names[answer.name] = (answer.at, answer.asker)
        while len(names) > MAX_NAMES:
            del names[next(iter(names))]
        self._names[answer.address] = names
        if len(self._names) > MAX_ADDRESSES:
            self._names.popitem(last=False)

    def of(self, address: IPAddress, is_asker: Callable[[IPAddress], bool], now: datetime) -> tuple[str, ...]:
        """Return the names of an address that the asker, or somebody who is not known, was given; newest first."""
        return tuple(
            name
            for name, (at, by) in reversed(self._names.get(address, {}).items())
            if now - at <= KEPT and (by is None or is_asker(by))
        )
