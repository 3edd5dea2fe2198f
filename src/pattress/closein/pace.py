"""How long the check waits, in seconds. What belongs here: these numbers, and why. What does not: waiting."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Pace:
    """The defaults suit a person at a box; `heat_s` is the one that a person may want to change.

    `poll_s` is the pause between two readings, each of which takes 0.1 to 0.5 s by itself: gentle for a module whose
    web server does one thing at a time; `look_s` is that between two looks at the database. A switch is to be seen
    within `switch_s`, counted from when the person is asked. A module that was just powered is given `appear_s` (20 to
    40 s for most to join the Wi-Fi), one that lost power `return_s`. Readings of the signal are `radio_apart_s` apart:
    modules measure it about once a second. Those of the heat are `heat_apart_s` apart, which is often beside minutes.
    """

    poll_s: float = 0.2
    switch_s: float = 90.0
    look_s: float = 1.0
    answer_s: float = 20.0
    output_s: float = 120.0
    appear_s: float = 180.0
    return_s: float = 180.0
    heat_s: float = 480.0
    heat_apart_s: float = 2.0
    meter_readings: int = 5
    radio_readings: int = 15
    radio_apart_s: float = 1.0
