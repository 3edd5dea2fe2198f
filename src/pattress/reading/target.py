"""What is to be read: one device, where it is, who it must be, and what to show it."""

from dataclasses import dataclass

from pattress.model.device import Device
from pattress.model.plan import Point
from pattress.model.profile import Profile
from pattress.model.site import Credential, Site


@dataclass(frozen=True, slots=True, kw_only=True)
class Target:
    """One device to read. `credential` is None for a device that no point plans: it is asked only what is open."""

    device: str
    profile: Profile
    mac: str | None
    serial: str | None
    name: str | None
    addresses: tuple[tuple[str, int | None], ...]
    credential: Credential | None = None
    certificate_sha256: str | None = None
    is_planned: bool = False


def target_of(site: Site, device: Device, point: Point | None) -> Target | None:
    """Return how to read a device, or None where no profile knows its kind.

    Credentials go only to a device that the plan names: what merely announces itself as a known kind gets none.
    """
    profile = site.profile(device.kind or (point.kind if point else None))
    if profile is None:
        return None
    return Target(
        device=device.id,
        profile=profile,
        mac=device.mac,
        serial=device.serial,
        name=device.name,
        addresses=device.addresses,
        credential=_credential(site, profile, point) if point is not None else None,
        certificate_sha256=point.certificate_sha256 if point is not None else None,
        is_planned=point is not None,
    )


def _credential(site: Site, profile: Profile, point: Point) -> Credential | None:
    """Return the credential for the point, failing that for the kind, failing that for every device."""

    def rank(one: Credential) -> int:
        return 2 if one.point == point.name else 1 if one.kind == profile.id else 0

    fitting = [one for one in site.credentials if one.point in (None, point.name) and one.kind in (None, profile.id)]
    return max(fitting, key=rank, default=None)
