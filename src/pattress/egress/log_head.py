"""What stands before the text of a log line: when, which host, which program.

What belongs here: the head of a line as files of system logs and RFC 3164 write it, and finding the year that such a
line leaves out. What does not: priorities and RFC 5424 (`syslog`), and what a line says. Every part may be missing.
Text that a program logs may hold what a stranger chose, so a head is looked for at the very start and nowhere else.
"""

import re
from datetime import datetime, timedelta
from functools import lru_cache
from typing import NamedTuple

from pattress.model.addresses import IPAddress, parse_address

MAX_LINE_LENGTH = 8192  # characters looked at: 8 KiB, what RFC 5424 section 6.1 asks for (2 KiB) four times over


class LogHead(NamedTuple):
    """The parts of a head. `line` is from where the program's tag stands, `text` what follows the tag."""

    stamp: str | None
    host: str | None
    program: str | None
    process_id: str | None
    line: str
    text: str


def split_head(line: str) -> LogHead:
    """Return the head and the text of a log line. A tag is a word that a colon ends: `kernel:` or `dnsmasq[123]:`."""
    found = _HEAD.match(line)
    assert found is not None, "every part is optional"  # noqa: S101 - the pattern matches the empty string
    stamp, host, program, process_id = found.groups()
    if program is None:
        text = line[found.end() :]
        return LogHead(stamp, host, None, None, text, text)
    return LogHead(stamp, host, program, process_id, line[found.start(3) :], line[found.end() :])


def moment_of(stamp: str, now: datetime) -> datetime | None:
    """Return the moment that the stamp of a head tells, or None where there is no such day or hour.

    A stamp without a zone is taken to be in the zone of `now`, one without a year in the latest year that does not lie
    more than a day ahead of `now`: a line of December read in January is last year's, and one of 1 January read by a
    clock that is still in December is next year's.
    """
    found = _WITHOUT_YEAR.fullmatch(stamp)
    if found is None:
        return _iso_moment(stamp)
    month, day, year_before, hour, minute, second, fraction, year_after = found.groups()
    written = year_before or year_after
    numbers = (_MONTHS[month], int(day), int(hour), int(minute), int(second), int((fraction or "").ljust(6, "0")))
    # Only in December may a line be of next year. A leap day may be eight years old: 2096 to 2104.
    newest = now.year + (now.month == 12 and numbers[0] == 1)
    for year in [int(written)] if written else range(newest, newest - 10, -1):
        moment = _moment(year, numbers, now)
        if moment is not None and (written or moment <= now + _AHEAD):
            return moment
    return None


@lru_cache(maxsize=4096)  # addresses of about 300 bytes: 1.2 MB; a house's log names the same few again and again
def address_of(text: str) -> IPAddress | None:
    """Return the address that a log line writes, or None. Zones are no part of what logs say of a packet."""
    return parse_address(text) if len(text) <= _MAX_ADDRESS_LENGTH and "%" not in text else None


def _iso_moment(stamp: str) -> datetime | None:
    try:
        return _in_reach(datetime.fromisoformat(stamp))
    except ValueError:
        return None


def _moment(year: int, numbers: tuple[int, int, int, int, int, int], now: datetime) -> datetime | None:
    try:
        return _in_reach(datetime(year, *numbers, tzinfo=now.tzinfo))
    except ValueError:
        return None


def _in_reach(moment: datetime) -> datetime | None:
    """Leave out what no zone could be applied to any more: `datetime` ends with the years 1 and 9999."""
    return moment if 1970 <= moment.year < 9999 else None


_AHEAD = timedelta(days=1)  # clocks of routers and zones that differ; more than this is another year
_MAX_ADDRESS_LENGTH = 45  # an IPv6 address with an IPv4 one at its end, fully written
_NAMES = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
_MONTHS = {name: number for number, name in enumerate(_NAMES, 1)}
# RFC 3164 section 4.1.2 pads the day with a space; some senders write a year, before the time or after it.
_STAMP = (
    rf"(?:{'|'.join(_NAMES)}) [ 0-3]?[0-9] (?:[0-9]{{4}} )?"
    r"[0-9]{2}:[0-9]{2}:[0-9]{2}(?:\.[0-9]{1,6})?(?: [0-9]{4}(?= ))?"
)
_ISO = r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}(?:[.,][0-9]{1,6})?(?:Z|[+-][0-9]{2}:?[0-9]{2})"
# A tag has at most 32 characters by RFC 3164 section 5.3 and 48 by RFC 5424 section 6; a host at most 255.
_TAG = r"([\w./-]{1,48})(?:\[([0-9]{1,10})\])?:(?: |$)"
_IS_TAG = r"[\w./-]{1,48}(?:\[[0-9]{1,10}\])?:(?: |$)"  # the same without groups
_HEAD = re.compile(
    rf"(?:(?:(?:Mon|Tue|Wed|Thu|Fri|Sat|Sun) )?({_STAMP}|{_ISO}):? (?:(?!{_IS_TAG})([^\s]{{1,255}}) )?)?"
    rf"(?:{_TAG})?",
    re.ASCII,
)
_WITHOUT_YEAR = re.compile(
    rf"({'|'.join(_NAMES)}) +([0-9]{{1,2}}) (?:([0-9]{{4}}) )?"
    r"([0-9]{2}):([0-9]{2}):([0-9]{2})(?:\.([0-9]{1,6}))?(?: ([0-9]{4}))?"
)
