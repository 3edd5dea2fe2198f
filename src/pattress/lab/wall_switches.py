"""The wall switches at one box, and the inputs that they are wired to.

What belongs here: contacts and wires. What does not: what an input does (`body`).
"""


class WallSwitches:
    """One wall switch for each input, numbered alike, each wired to its own input at the beginning.

    Args:
        closed: Each switch, and whether its contact is closed.
    """

    def __init__(self, closed: dict[int, bool]) -> None:
        self._is_pressed = dict(closed)
        self._input_of = {number: number for number in closed}
        self._closed_at_rest: set[int] = set()

    def input_of(self, switch: int) -> int:
        """Return the input that a switch is wired to."""
        return self._input_of[switch]

    def is_closed(self, input: int) -> bool:
        """Return whether an input sees a closed contact."""
        switch = next(switch for switch, wired_to in self._input_of.items() if wired_to == input)
        return self._is_pressed[switch] != (switch in self._closed_at_rest)

    def is_pressed(self, switch: int) -> bool:
        """Return whether a switch is where it would close its contact, were it fitted as planned."""
        return self._is_pressed[switch]

    def set(self, switch: int, is_pressed: bool) -> bool:
        """Operate a switch, and return whether anything changed by it."""
        has_changed = self._is_pressed[switch] != is_pressed
        self._is_pressed[switch] = is_pressed
        return has_changed

    def exchange(self, one: int, other: int) -> None:
        """Wire two switches to one another's inputs."""
        self._input_of[one], self._input_of[other] = self._input_of[other], self._input_of[one]

    def invert(self, switch: int) -> None:
        """Fit a switch whose contact is closed where that of the one before was open."""
        self._closed_at_rest ^= {switch}
