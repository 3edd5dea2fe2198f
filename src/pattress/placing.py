"""Devices and the plan: which point, or which other entry, names this device.

A place names its device by MAC, by serial or by announced name, and by one of them only. What belongs here: that one
rule, as an index, so that a large site is not searched for each device. What does not: what follows from it
(`policy.account`).
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Sequence
from typing import Generic, Protocol, TypeVar

from pattress.model.plan import OtherDevice, Plan, Point


class Nameable(Protocol):
    """What a place can name: a device, a contested identity, a device that is kept."""

    @property
    def mac(self) -> str | None:
        """Its MAC."""

    @property
    def serial(self) -> str | None:
        """Its serial."""

    @property
    def announced_names(self) -> frozenset[str]:
        """Every name that it is known to be announced by."""


Place = TypeVar("Place", Point, OtherDevice)
Item = TypeVar("Item", bound=Nameable)


class Placing:
    """A plan, ready to be asked about devices. Where several places name a device, the first of the plan counts."""

    def __init__(self, plan: Plan) -> None:
        self._points = _Index(plan.points)
        self._others = _Index(plan.others)

    def point_of(self, item: Nameable) -> Point | None:
        """Return the point that a device stands at, or None."""
        return self._points.first(item)

    def other_of(self, item: Nameable) -> OtherDevice | None:
        """Return the entry that explains a device which is no module, or None."""
        return self._others.first(item)

    def at_points(self, items: Iterable[Item]) -> dict[str, Item]:
        """Return by the name of each point the first of the items that it names."""
        found: dict[str, Item] = {}
        for item in items:
            for point in self._points.all(item):
                found.setdefault(point.name, item)
        return found


class _Index(Generic[Place]):
    """Places by what names their device."""

    def __init__(self, places: Sequence[Place]) -> None:
        self._places: Sequence[Place] = places
        self._by_word: dict[tuple[str, str], list[int]] = defaultdict(list)
        for number, place in enumerate(places):
            for key, word in (("mac", place.mac), ("serial", place.serial), ("announced", place.announced)):
                if word is not None:
                    self._by_word[key, word].append(number)
                    break

    def first(self, item: Nameable) -> Place | None:
        number = min(self._numbers(item), default=None)
        return None if number is None else self._places[number]

    def all(self, item: Nameable) -> list[Place]:
        return [self._places[number] for number in sorted(set(self._numbers(item)))]

    def _numbers(self, item: Nameable) -> Iterator[int]:
        words = [("mac", item.mac), ("serial", item.serial), *(("announced", name) for name in item.announced_names)]
        for key, word in words:
            if word is not None:
                yield from self._by_word.get((key, word), ())
