"""Manufacturer Usage Descriptions (RFC 8520): what a maker says that a device needs, as allowances.

What belongs here: reading the parsed document. What does not: fetching one, and checking its signature.
"""

from dataclasses import dataclass

from pattress.model.errors import Fault
from pattress.model.watching import Allowance, MudFile


@dataclass(frozen=True, slots=True, kw_only=True)
class MudProfile:
    """What a document allows, what of it is not judged, and what is wrong in it; with a fault it allows nothing."""

    allowances: tuple[Allowance, ...] = ()
    remarks: tuple[str, ...] = ()
    faults: tuple[Fault, ...] = ()


def mud_profile(file: MudFile) -> MudProfile:
    """Return what a document comes to."""
    fault = Fault(file=file.file, line=None, place="", found="a MUD file", expected="none: they are not read yet")
    return MudProfile(faults=(fault,))
