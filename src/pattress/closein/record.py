"""Which check a certificate is of, and everything that belongs to it, from the database and the site's files.

What belongs here: choosing and gathering. What does not: how the page looks (`report`).
"""

from collections.abc import Sequence
from difflib import get_close_matches

from pattress.closein.checks import steps_of
from pattress.model.closein import CloseIn
from pattress.model.errors import UsageError
from pattress.model.kept import SignOff
from pattress.model.plan import Point
from pattress.model.site import Site
from pattress.model.vocabulary import Value
from pattress.report.certificate_record import CertificateRecord
from pattress.report.planned import planned_facts
from pattress.store.store import Store


async def certificate_record(site: Site, store: Store, point: str, number: int | None) -> CertificateRecord:
    """Return the record of a check of a point: the newest that was signed off, or the one with this number.

    Raises:
        UsageError: If there is no such point or check, or none was signed off.
    """
    checks = await store.close_ins(point)
    planned = next((one for one in site.plan.points if one.name == point), None)
    if planned is None and not checks:
        raise _no_point(site, point)
    chosen = _signed(point, checks) if number is None else _numbered(point, checks, number)
    newest = checks[-1]
    check = await store.close_in(chosen.id)
    return CertificateRecord(
        site=site.name,
        check=check,
        agreed=_agreed(check, await store.sign_offs()),
        planned={} if planned is None else planned_of(site, planned),
        newer=None if newest.id == chosen.id else newest,
        page_url=site.page_url,
    )


def planned_of(site: Site, point: Point) -> dict[str, Value]:
    """Return what the site's files say of a point now, with the steps of its check: what to keep with a new one."""
    profile = site.profile(point.kind)
    steps = {} if profile is None else {one.name: one.title for one in steps_of(profile, point)}
    return planned_facts(site.name, point, profile, steps)


def _agreed(check: CloseIn, sign_offs: Sequence[SignOff]) -> SignOff | None:
    """Return the settings that were signed off with a check: the last of its device and point while it went on."""
    if check.ended_at is None or not check.is_signed_off:
        return None
    own = [
        one
        for one in sign_offs
        if (one.device, one.point) == (check.device, check.point) and check.began_at <= one.at <= check.ended_at
    ]
    return own[-1] if own else None


def _signed(point: str, checks: Sequence[CloseIn]) -> CloseIn:
    signed = [one for one in checks if one.is_signed_off]
    if signed:
        return signed[-1]
    if not checks:
        raise UsageError(
            "no close-in check of it was ever begun",
            where=f"point {point}",
            next_step=f"Do one first: pattress close-in {point}",
        )
    raise UsageError(
        "no close-in check of it was signed off",
        where=f"point {point}",
        next_step=f"Take it up again with `pattress close-in {point}`, or see what was found with --check"
        f" {checks[-1].id}.",
    )


def _numbered(point: str, checks: Sequence[CloseIn], number: int) -> CloseIn:
    found = next((one for one in checks if one.id == number), None)
    if found is None:
        numbers = ", ".join(str(one.id) for one in checks) or "none yet"
        raise UsageError(
            f"there is no check {number} of it", where=f"point {point}", next_step=f"Its checks are: {numbers}."
        )
    return found


def _no_point(site: Site, point: str) -> UsageError:
    near = get_close_matches(point, [one.name for one in site.plan.points], n=1)
    hint = f"Did you mean {near[0]}?" if near else "Name a point of points.toml."
    return UsageError("there is no such point in the plan", where=f"point {point}", next_step=hint)
