"""How far a device's clock is from ours, by the time it reports in an answer. Pure.

What belongs here: the arithmetic of a time exchange, and what a device writes as time. What does not: when a question
was sent, which the reader notes.

A device that answers over HTTP or MQTT gives one time, where a time server gives two: when it had the question, and
when it sent the answer. Its one time stands for both. The true offset is then within half the delay of the measured
one, and a clock that reports whole seconds adds up to one second more.
"""

from dataclasses import dataclass
from datetime import datetime

from pattress.model.profile import ClockForm
from pattress.model.vocabulary import ValueMismatchError

MAX_DELAY_S = 2.0  # half of it, 1 s, and a clock of whole seconds, 1 s, stay within the 2 s that a clock may be off
LATEST_UNIX_S = 253_402_300_800  # the end of the year 9999; what is later is no time but noise


@dataclass(frozen=True, slots=True)
class Exchange:
    """When a question was sent and when its answer was received, in seconds since 1970 by this host's clock."""

    sent_s: float
    received_s: float


def clock_offset_s(sent: float, received_there: float, sent_there: float, received: float) -> float:
    """Return the other side's clock minus ours, in seconds.

    Args:
        sent: T1, when we sent the question, by our clock.
        received_there: T2, when the other side had it, by its clock.
        sent_there: T3, when it sent the answer, by its clock.
        received: T4, when we had that, by our clock.

    Source: RFC 5905 section 8 and RFC 4330 section 5, theta = ((T2 - T1) + (T3 - T4)) / 2.
    """
    return ((received_there - sent) + (sent_there - received)) / 2


def offset_s(sent: float, reported: float, received: float) -> float:
    """Return the clock of a device that reports one time in its answer, minus ours, in seconds."""
    return clock_offset_s(sent, reported, reported, received)


def measured_offset_s(reported_s: float, exchange: Exchange | None) -> float:
    """Return the offset of a device's clock, to the millisecond.

    Raises:
        ValueMismatchError: If the answer took so long that it says too little of the device's clock, or our own clock
            was set meanwhile.
    """
    if exchange is None:
        raise ValueMismatchError(None, "the times of question and answer, which measure a clock")
    took_s = exchange.received_s - exchange.sent_s
    if not 0 <= took_s <= MAX_DELAY_S:
        raise ValueMismatchError(
            round(took_s, 1), f"an answer within {MAX_DELAY_S:g} s: a clock cannot be measured by a slower one"
        )
    return round(offset_s(exchange.sent_s, reported_s, exchange.received_s), 3)


def reported_time_s(raw: object, form: ClockForm, scale: float | None) -> float:
    """Return a time that a device wrote, in seconds since 1970.

    `scale` makes seconds of what it counts in. Text must say its offset from UTC: local time of an unknown zone is no
    time.

    Raises:
        ValueMismatchError: If it is no time.
    """
    if form == "unix":
        if isinstance(raw, int | float) and not isinstance(raw, bool) and 0 <= raw < 1e18:
            seconds = float(raw) * (1.0 if scale is None else scale)
            if 0 <= seconds < LATEST_UNIX_S:
                return seconds
        raise ValueMismatchError(raw, "a number of seconds since 1970")
    try:
        moment = datetime.fromisoformat(raw.strip()) if isinstance(raw, str) else None
    except ValueError:
        moment = None
    if moment is None or moment.tzinfo is None:
        raise ValueMismatchError(raw, "a date and time with its offset from UTC, such as 2026-11-25T03:10:00Z")
    return moment.timestamp()
