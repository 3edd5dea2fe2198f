"""Data sets cut into records of one length.

What belongs here: stepping over fields of variable length, and the few values of options records. What does not: the
fields of flows, which are read in bulk.
"""

from typing import Final, NamedTuple

from pattress.egress.flows.templates import Template

MAX_VARIABLE_RECORDS: Final = 4096  # of one set: the largest datagram holds so many of 16 octets; each costs about 1 µs
MAX_OPTIONS_RECORDS: Final = 64  # of one set that are looked at: as many as there may be samplers


class Cut(NamedTuple):
    """Records without their fields of variable length, end to end. `faults` is 1 where not all could be cut."""

    records: bytes
    rows: int
    faults: int = 0


def cut(template: Template, payload: bytes, start: int, end: int) -> Cut:
    """Return the records of a set. What is left at its end and shorter than a record is padding."""
    if template.is_variable:
        return _cut_variable(template, payload, start, end)
    count = (end - start) // template.fixed_length
    return Cut(payload[start : start + count * template.fixed_length], count, 0 if count else 1)


def options_in(template: Template, found: Cut) -> list[dict[int, int]]:
    """Return by element what the first options records of a set say."""
    places = [(element, place) for (element, is_reverse), place in template.places.items() if not is_reverse]
    if not places:
        return []
    options: list[dict[int, int]] = []
    for row in range(min(found.rows, MAX_OPTIONS_RECORDS)):
        first = row * template.fixed_length
        options.append(
            {
                element: int.from_bytes(found.records[first + offset : first + offset + length])
                for element, (offset, length) in places
            }
        )
    return options


def _cut_variable(template: Template, payload: bytes, start: int, end: int) -> Cut:
    """RFC 7011 section 7: one octet of length, or 255 and two more."""
    first_run, *later_runs = template.runs
    pieces: list[bytes] = []
    count = 0
    least_length = template.least_length
    while end - start >= least_length and count < MAX_VARIABLE_RECORDS:
        record = [payload[start : start + first_run]]
        start += first_run
        for run in later_runs:
            if start >= end:
                return Cut(b"".join(pieces), count, 1)
            length = payload[start]
            start += 1
            if length == 255:
                length = int.from_bytes(payload[start : start + 2])
                start += 2
            start += length
            record.append(payload[start : start + run])
            start += run
        if start > end:
            return Cut(b"".join(pieces), count, 1)
        pieces += record
        count += 1
    is_whole = count > 0 and end - start < least_length
    return Cut(b"".join(pieces), count, 0 if is_whole else 1)
