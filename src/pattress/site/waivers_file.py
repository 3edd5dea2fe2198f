"""`waivers.toml` into `Waiver`s: accepted exceptions, each with a reason and an end."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date, timedelta

from pydantic import Field

from pattress.model.addresses import normal_mac
from pattress.model.rules import Severity, Waiver
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import Known
from pattress.site.shapes import Shape, Table, Text, unknown_keys
from pattress.site.words import said

MAX_DAYS = 366


@dataclass(frozen=True, slots=True, kw_only=True)
class Waivable:
    """What can be waived: `severities` by rule id as far as known, and the points it can be waived at."""

    rules: Known
    severities: Mapping[str, Severity]
    points: Known


def waivers_of(file: TomlFile, waivable: Waivable, *, today: date) -> tuple[Waiver, ...]:
    """Return the waivers that a file holds, all of them where it has no faults.

    One that has ended is no fault: its finding comes back, which says more than a file that no longer loads.
    """
    if not file.is_readable:
        return ()
    file.checked(WaiversShape, (), file.data)
    return tuple(_waivers(file, waivable, today))


class WaiversShape(Shape):
    """The top of the waivers file."""

    waiver: list[Table] = Field(default=[], description="[[waiver]] tables")


class WaiverShape(Shape):
    """One `[[waiver]]` table."""

    rule: Text = Field(description="the id of a rule")
    point: Text | None = None
    device: Text | None = None
    reason: Text = Field(description="why the exception is accepted")
    who: Text = Field(description="who accepts it")
    until: date = Field(description="a date such as 2027-03-01, without quotes")
    safe_because: Text | None = None


def _waivers(file: TomlFile, waivable: Waivable, today: date) -> Iterator[Waiver]:
    for path, table in file.tables("waiver"):
        _check_known(file, (*path, "rule"), table.get("rule"), waivable.rules, "the id of a rule")
        _check_known(file, (*path, "point"), table.get("point"), waivable.points, "the name of a point")
        targets = [key for key in ("point", "device") if key in table]
        if len(targets) > 1 or not (targets or unknown_keys(WaiverShape, table)):
            found = " and ".join(targets) if targets else "neither point nor device"
            file.fault(path, found=found, expected="exactly one of point and device")
        if waivable.severities.get(str(table.get("rule"))) == "danger" and "safe_because" not in table:
            expected = f"why it is safe all the same, for {table['rule']} is a rule of severity danger"
            file.fault((*path, "safe_because"), found="nothing", expected=expected)
        shape = file.checked(WaiverShape, path, table)
        if shape is None:
            continue
        last = today + timedelta(days=MAX_DAYS)
        if shape.until > last:
            expected = f"a date not after {last.isoformat()}, {MAX_DAYS} days from today"
            file.fault((*path, "until"), found=said(shape.until), expected=expected)
        yield Waiver(
            rule=shape.rule,
            reason=shape.reason,
            who=shape.who,
            until=shape.until,
            point=shape.point,
            device=_device_id(shape.device),
            safe_because=shape.safe_because,
        )


def _check_known(file: TomlFile, path: KeyPath, name: object, known: Known, expected: str) -> None:
    if isinstance(name, str) and known.lacks(name):
        file.fault(path, found=said(name), expected=expected, nearest=known.nearest(name))


def _device_id(written: str | None) -> str | None:
    """The id as devices have it. Twelve digits without a separator may as well be a serial, and stay as they are."""
    if written is None or not any(separator in written for separator in ":-."):
        return written
    return normal_mac(written) or written
