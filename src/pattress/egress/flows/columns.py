"""Data records in bulk: those of one template and one batch, as columns.

What belongs here: the only NumPy of flow export. What does not: choosing rows, and what they mean.
"""

from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import accumulate
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import NDArray

from pattress.egress.flows import fields
from pattress.egress.flows.templates import Place, Template


class Part(NamedTuple):
    """Records from one set, end to end, and when they came."""

    records: bytes
    rows: int
    heard_at: datetime


@dataclass(slots=True, eq=False, kw_only=True)
class Columns:
    """Records of one exporter with addresses of one IP version, one row each.

    `sender` and `receiver` are where packets really came from and went to, whichever side of a translation the
    exporter saw them on: the sender before translation, the receiver after it. They are unsigned integers of 32 bits
    for version 4, and for version 6 octets as `S16`, whose trailing zero octets NumPy drops from single elements.
    One packet in `sampling` was looked at.
    """

    exporter: str
    version: Literal[4, 6]
    sampling: int
    sender: NDArray[Any] = field(init=False)
    receiver: NDArray[Any] = field(init=False)
    _records: NDArray[np.void]
    _origin: NDArray[np.intp] | None
    _parts: Sequence[Part]

    def __post_init__(self) -> None:
        pair = (fields.SENDER_IPV4, fields.RECEIVER_IPV4) if self.version == 4 else _IPV6_PAIR
        sender, receiver = self.get(pair[0]), self.get(pair[1])
        assert sender is not None and receiver is not None  # noqa: S101, PT018 - `columns_of` chose the version by them
        self.sender = sender
        translated = self.get(_TRANSLATED_RECEIVER[self.version])
        self.receiver = receiver if translated is None else np.where(_is_set(translated), translated, receiver)

    @property
    def count(self) -> int:
        """How many rows there are."""
        return len(self._records)

    def get(self, element: int, is_reverse: bool = False) -> NDArray[Any] | None:
        """Return a field of all rows in native byte order, or None where the template has no such field."""
        return self._read(element, is_reverse, slice(None))

    def pick(self, element: int, rows: NDArray[np.intp], is_reverse: bool = False) -> list[int] | None:
        """Return an unsigned field of the chosen rows as Python's integers, or None."""
        picked = self._read(element, is_reverse, rows)
        return None if picked is None else [int(value) for value in picked.tolist()]

    def pick_octets(self, element: int, rows: NDArray[np.intp]) -> list[bytes] | None:
        """Return a field that is no number of the chosen rows, or None."""
        name = _name(element, False)
        if name not in self._names:
            return None
        octets = self._records[name][rows].tobytes()
        width = self._records.dtype[name].itemsize
        return [octets[start : start + width] for start in range(0, len(octets), width)]

    def heard_at(self, rows: NDArray[np.intp]) -> list[datetime]:
        """Return when the chosen rows came, which for those that waited for their template is a while ago."""
        ends = list(accumulate(part.rows for part in self._parts))
        origins = rows if self._origin is None else self._origin[rows]
        return [self._parts[bisect_right(ends, origin)].heard_at for origin in origins.tolist()]

    @property
    def _names(self) -> tuple[str, ...]:
        return self._records.dtype.names or ()

    def _read(self, element: int, is_reverse: bool, rows: slice | NDArray[np.intp]) -> NDArray[Any] | None:
        name = _name(element, is_reverse)
        if name not in self._names:
            return None
        return _native(self._records[name][rows])


def columns_of(template: Template, parts: Sequence[Part], *, exporter: str, sampling: int) -> list[Columns]:
    """Return the flows of one template as columns: one for each IP version that there are rows of."""
    records = np.frombuffer(b"".join([part.records for part in parts]), _layout(template))
    found = []
    for version, chosen in _by_version(template, records):
        origin = None if chosen is None else np.flatnonzero(chosen)
        found.append(
            Columns(
                exporter=exporter,
                version=version,
                sampling=sampling,
                _records=records if origin is None else records[origin],
                _origin=origin,
                _parts=parts,
            )
        )
    return found


def _by_version(template: Template, records: NDArray[np.void]) -> list[tuple[Literal[4, 6], NDArray[np.bool_] | None]]:
    """Which rows are of which version; None for all of them."""
    if not template.has_ipv6:
        return [(4, None)]
    if not template.has_ipv4:
        return [(6, None)]
    is_ipv4 = (records[_name(fields.SENDER_IPV4, False)] != 0) | (records[_name(fields.RECEIVER_IPV4, False)] != 0)
    if (fields.IP_VERSION, False) in template.places:
        version = _native(records[_name(fields.IP_VERSION, False)])
        is_ipv4 = (version == 4) | ((version != 6) & is_ipv4)
    if is_ipv4.all():
        return [(4, None)]
    if not is_ipv4.any():
        return [(6, None)]
    return [(4, is_ipv4), (6, ~is_ipv4)]


def _layout(template: Template) -> np.dtype[np.void]:
    names = [_name(element, is_reverse) for element, is_reverse in template.places]
    formats = [_format(element, place) for (element, _), place in template.places.items()]
    offsets = [place.offset for place in template.places.values()]
    layout: np.dtype[np.void] = np.dtype(
        {"names": names, "formats": formats, "offsets": offsets, "itemsize": template.fixed_length}
    )
    return layout


def _format(element: int, place: Place) -> str:
    if element in fields.IPV6_ADDRESSES:
        return "S16"
    if element == fields.SENDER_MAC or place.length not in (1, 2, 4, 8):
        return f"({place.length},)u1"
    return f">u{place.length}"


def _native(column: NDArray[Any]) -> NDArray[Any]:
    if column.ndim == 1:
        return column.astype(column.dtype.newbyteorder("="))
    # An integer of 3, 5, 6 or 7 octets, of which NumPy knows nothing.
    whole: NDArray[np.uint64] = np.zeros(len(column), np.uint64)
    for octet in range(column.shape[1]):
        whole = (whole << np.uint64(8)) | column[:, octet]
    return whole


def _is_set(addresses: NDArray[Any]) -> NDArray[np.bool_]:
    is_set: NDArray[np.bool_] = addresses != (b"" if addresses.dtype.kind == "S" else 0)
    return is_set


def _name(element: int, is_reverse: bool) -> str:
    return f"{element}r" if is_reverse else f"{element}"


_IPV6_PAIR = (fields.SENDER_IPV6, fields.RECEIVER_IPV6)
_TRANSLATED_RECEIVER = {4: fields.TRANSLATED_RECEIVER_IPV4, 6: fields.TRANSLATED_RECEIVER_IPV6}
