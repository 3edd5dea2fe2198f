"""Sources of evidence, and how each fared: silence of a source is a gap in the audit, never good news."""

from dataclasses import dataclass
from typing import Literal


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceReport:
    """How one source fared while it was listened to.

    `heard`: it delivered. `silent`: it works as far as can be told and delivered nothing. `refused`: it said no.
    `failed`: it could not be used. `heard_count` counts what it delivered. `is_needed` says whether a planned point
    depends on it, so that its silence leaves something unchecked.
    """

    source: str
    state: Literal["heard", "silent", "refused", "failed"]
    detail: str
    heard_count: int = 0
    is_needed: bool = False
