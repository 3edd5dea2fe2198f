"""What one look at this host found: whether it would make an audit blind."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """One thing that an audit needs of its host. `remedy` says what to do where it is not `met`."""

    name: str
    title: str
    outcome: Literal["met", "broken", "unverified"]
    found: str
    remedy: str = ""
