"""Sign-off: the readings of an audit that a person agrees to.

What belongs here: which devices are meant, and what of their reading is agreed. What does not: keeping it.
"""

from dataclasses import dataclass
from datetime import datetime

from pattress.audit.discover import named
from pattress.audit.run import Audit
from pattress.model.device import Device
from pattress.model.errors import UsageError
from pattress.model.kept import SignOff
from pattress.model.reading import Snapshot
from pattress.model.site import Site
from pattress.placing import Placing
from pattress.policy.drift import settings_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Agreement:
    """What can be signed off, and what cannot: (title, reason) of each device that was not read."""

    signed: tuple[SignOff, ...]
    unread: tuple[tuple[str, str], ...]


def agreement(site: Site, audit: Audit, words: str | None, *, who: str, why: str, at: datetime) -> Agreement:
    """Return the sign-offs of the device that `words` name, or (None) of every device that stands at a point.

    Raises:
        UsageError: If no device of that name was seen.
    """
    signed: list[SignOff] = []
    unread: list[tuple[str, str]] = []
    placing = Placing(site.plan)
    for device in _meant(site, placing, audit, words):
        point = placing.point_of(device)
        title = point.name if point else device.title
        reading = audit.readings.get(device.id)
        if isinstance(reading, Snapshot):
            signed.append(
                SignOff(
                    device=device.id,
                    point=point.name if point else None,
                    at=at,
                    who=who,
                    why=why,
                    values=settings_of(reading),
                )
            )
        else:
            unread.append((title, reading.reason if reading is not None else "it was not read"))
    if words is None:
        seen = {one.point for one in signed} | {title for title, _ in unread}
        unread += [(point.name, "nothing was seen of it") for point in site.plan.points if point.name not in seen]
    return Agreement(signed=tuple(signed), unread=tuple(unread))


def _meant(site: Site, placing: Placing, audit: Audit, words: str | None) -> list[Device]:
    devices = audit.merged.devices
    if words is None:
        return [device for device in devices if device.is_announced and placing.point_of(device) is not None]
    device = named(site, devices, words)
    if device is None:
        raise UsageError(
            f"no device {words!r} was seen",
            where="pattress sign-off",
            next_step="Run `pattress discover` to see what is there.",
        )
    return [device]
