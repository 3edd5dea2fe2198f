"""What is to happen later, by name. What does not belong here: what it is, and the time."""

from collections.abc import Callable

Happening = Callable[[], None]


class Agenda:
    """At most one thing of each name, each with its moment in seconds."""

    def __init__(self) -> None:
        self._due: dict[str, tuple[float, Happening]] = {}

    @property
    def next_s(self) -> float | None:
        """When the next thing is due, None where nothing is."""
        return min((at_s for at_s, _ in self._due.values()), default=None)

    def put(self, name: str, at_s: float, happen: Happening) -> None:
        """Have something happen at a moment, in place of what has that name."""
        self._due[name] = (at_s, happen)

    def drop(self, name: str) -> None:
        """Let something not happen."""
        self._due.pop(name, None)

    def keep_only(self, *beginnings: str) -> None:
        """Drop everything whose name does not begin like one of these."""
        self._due = {name: due for name, due in self._due.items() if name.startswith(beginnings)}

    def take(self, now_s: float) -> Happening | None:
        """Return what is due first, and drop it; None where nothing is due by now."""
        name = min(self._due, key=lambda name: self._due[name][0], default=None)
        if name is None or self._due[name][0] > now_s:
            return None
        return self._due.pop(name)[1]
