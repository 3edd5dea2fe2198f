"""Two devices of one kind, or two moments of one device, side by side.

What belongs here: what the store knows of each, aligned by setting. What does not: showing it.
"""

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pattress.audit.kept import KnownAtPoint, device_history
from pattress.model.errors import UsageError
from pattress.model.site import Site
from pattress.model.vocabulary import Value
from pattress.policy.drift import is_setting

WHERE = "pattress compare"


@dataclass(frozen=True, slots=True, kw_only=True)
class Side:
    """One side of a comparison: a device, at a moment or (None) now."""

    words: str
    at: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Comparison:
    """Both sides by setting: (name, first, second), None where a side did not report it. Measurements are left out."""

    titles: tuple[str, str]
    rows: tuple[tuple[str, Value | None, Value | None], ...]


async def compare(site: Site, store_file: Path, first: Side, second: Side) -> Comparison:
    """Return two sides of a comparison, aligned.

    Raises:
        UsageError: If a device was never seen, or the two are of different kinds.
    """
    one, one_values = await _side(site, store_file, first)
    other, other_values = await _side(site, store_file, second)
    if one.device.kind != other.device.kind:
        raise UsageError(
            f"{first.words} is {one.device.kind} and {second.words} is {other.device.kind}: their settings do not mean "
            "the same",
            where=WHERE,
            next_step="Compare two devices of one kind, or two moments of one device.",
        )
    names = sorted({*one_values, *other_values})
    return Comparison(
        titles=(_title(first), _title(second)),
        rows=tuple((name, one_values.get(name), other_values.get(name)) for name in names),
    )


async def _side(site: Site, store_file: Path, side: Side) -> tuple[KnownAtPoint, dict[str, Value]]:
    known, spans = await device_history(site, store_file, side.words, None, side.at, where=WHERE)
    held = [span for span in spans if side.at is not None or span.until is None]
    return known, {span.setting: span.value for span in held if is_setting(span.setting)}


def _title(side: Side) -> str:
    return side.words if side.at is None else f"{side.words} at {side.at:%Y-%m-%d %H:%M}"
