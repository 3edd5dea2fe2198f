"""The sides of many addresses at once.

What belongs here: `Space.side` over arrays. What does not: anything that has to work where there is no NumPy.
"""

import numpy as np
from numpy.typing import NDArray

from pattress.egress.space import RangeSide, Space

INSIDE, DEVICE, OUTSIDE = 0, 1, 2


class BulkSpace:
    """The address space as a site divides it, for arrays; its answers are those of `space`."""

    def __init__(self, space: Space) -> None:
        starts4, sides4 = zip(*space.ranges(4), strict=True)
        self._starts4 = np.array(starts4, np.uint32)
        self._codes4 = np.array([_CODES[side] for side in sides4], np.uint8)
        starts6, sides6 = zip(*space.ranges(6), strict=True)
        self._starts6 = np.array([start.to_bytes(16, "big") for start in starts6], "S16")
        self._codes6 = np.array([_CODES[side] for side in sides6], np.uint8)

    def sides4(self, addresses: NDArray[np.uint32]) -> NDArray[np.uint8]:
        """Return INSIDE, DEVICE or OUTSIDE for each IPv4 address, in the byte order of the machine."""
        return self._codes4[np.searchsorted(self._starts4, addresses, side="right") - 1]

    def sides6(self, addresses: NDArray[np.bytes_]) -> NDArray[np.uint8]:
        """Return INSIDE, DEVICE or OUTSIDE for each IPv6 address of 16 octets in network order (`S16`).

        NumPy drops the zeros at the end of such a value when it hands one over, and compares as if they were there:
        octets as unsigned numbers, from the first. That is the order of addresses.
        """
        if addresses.dtype != _ADDRESS6:
            raise ValueError(f"an IPv6 address has 16 octets: found {addresses.dtype}, expected {_ADDRESS6}")
        codes = self._codes6[np.searchsorted(self._starts6, addresses, side="right") - 1]
        by_end = np.flatnonzero(codes >= _BY_END)
        if by_end.size:
            ends = np.ascontiguousarray(addresses[by_end]).view(">u4")[3::4].astype(np.uint32)
            ends[codes[by_end] == _BY_END_INVERTED] ^= np.uint32(0xFFFF_FFFF)
            codes[by_end] = self.sides4(ends)
        return codes


_ADDRESS6 = np.dtype("S16")
_BY_END, _BY_END_INVERTED = 3, 4
_CODES: dict[RangeSide, int] = {
    "inside": INSIDE,
    "device": DEVICE,
    "outside": OUTSIDE,
    "as its end": _BY_END,
    "as its end inverted": _BY_END_INVERTED,
}
