"""What was so before: the past that an audit is compared with."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from pattress.model.kept import SignOff


@dataclass(frozen=True, slots=True, kw_only=True)
class Past:
    """Sign-offs and last addresses by device id, and the device that stood at each point in the last audit."""

    signed_off: Mapping[str, SignOff] = field(default_factory=dict)
    addresses: Mapping[str, str] = field(default_factory=dict)
    placements: Mapping[str, str] = field(default_factory=dict)
