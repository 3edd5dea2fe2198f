"""What a point's module is wired into: circuit, loads, box and drives, from the tables of `points.toml`.

What belongs here: what these tables need of one another, of the point's kind and of other points. What does not: what
one table may hold (`circuit_shapes`), and whether the module suits the circuit (`policy.fitness`).
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from pattress.circuit.box_fill import CM3_PER_IN3
from pattress.model.circuit import Box, Circuit, Conductors, Drive, Load
from pattress.model.profile import Profile
from pattress.site.circuit_shapes import STRIP_KEYS, BoxShape, CircuitShape, ConductorsShape, DriveShape, LoadShape
from pattress.site.files import TomlFile
from pattress.site.lines import KeyPath
from pattress.site.names import UNKNOWN, Known, nearest
from pattress.site.shapes import Table, unknown_keys
from pattress.site.words import said


@dataclass(frozen=True, slots=True, kw_only=True)
class Neighbours:
    """The points that a drive may name, and the profile of each one whose kind is known."""

    points: Known = UNKNOWN
    profiles: Mapping[str, Profile] = field(default_factory=dict)


def circuit_of(file: TomlFile, path: KeyPath, table: Table, profile: Profile | None) -> Circuit | None:
    """Return the circuit of the point at `path`, None where the file plans none or it has faults.

    `profile` is that of the point's kind, None where it is not known: its channels are then not called wrong.
    """
    loads = tuple(_loads(file, path, table.get("load"), profile))
    box = _box(file, (*path, "box"), table.get("box"))
    written = table.get("circuit")
    if written is None:
        _check_alone(file, path, table)
        return None
    shape = file.checked(CircuitShape, (*path, "circuit"), written) if isinstance(written, dict) else None
    if shape is None:
        return None
    at = (*path, "circuit")
    file.check_one(at, written, ("conductor_mm2", "conductor_awg"))
    if shape.dc and shape.neutral:
        file.fault((*at, "neutral"), found="a neutral with dc = true", expected="no neutral with direct current")
    return _circuit(shape, loads, box)


def drives_of(
    file: TomlFile, path: KeyPath, table: Table, profile: Profile | None, neighbours: Neighbours
) -> Iterator[Drive]:
    """Yield what each input of the point at `path` is planned to drive, after noting the faults of the others."""
    own = table.get("name")
    first: dict[str, KeyPath] = {}
    for at, written in _tables((*path, "drive"), table.get("drive")):
        shape = file.checked(DriveShape, at, written)
        if shape is None:
            continue
        other = None if shape.point == own else shape.point
        key = f"input {shape.input} drives {shape.channel}" + (f" of {other}" if other else "")
        if key in first:
            found = f"{key} again (first in line {file.lines.line_of(first[key])})"
            file.fault(at, found=found, expected="each drive once")
        first.setdefault(key, at)
        _check_input(file, (*at, "input"), shape.input, profile)
        target = profile
        if other is not None:
            target = neighbours.profiles.get(other)
            if neighbours.points.lacks(other):
                close = neighbours.points.nearest(other)
                file.fault((*at, "point"), found=said(other), expected="the name of a point", nearest=close)
        _check_channel(file, (*at, "channel"), shape.channel, target)
        yield Drive(input=shape.input, channel=shape.channel, point=other)


def _circuit(shape: CircuitShape, loads: tuple[Load, ...], box: Box | None) -> Circuit:
    has_size = shape.conductor_mm2 is not None or shape.conductor_awg is not None
    return Circuit(
        voltage_v=shape.voltage_v,
        is_dc=shape.dc,
        breaker_a=shape.breaker_a,
        conductors=Conductors(mm2=shape.conductor_mm2, awg=shape.conductor_awg) if has_size else None,
        length_m=shape.length_m,
        has_neutral=shape.neutral,
        ambient_c=shape.ambient_c,
        loads=loads,
        box=box,
        separation=shape.separation,
    )


def _check_alone(file: TomlFile, path: KeyPath, table: Table) -> None:
    """Note a fault for a load or a box that belongs to no circuit. A misspelt `circuit` has its own fault."""
    if any(nearest(key, ("circuit",)) for key in table):
        return
    expected = "[point.circuit] beside it, with voltage_v at least"
    if _tables_of(table.get("load")):
        file.fault((*path, "load", 0), found="a load without a circuit", expected=expected)
    if isinstance(table.get("box"), dict):
        file.fault((*path, "box"), found="a box without a circuit", expected=expected)


def _loads(file: TomlFile, path: KeyPath, written: object, profile: Profile | None) -> Iterator[Load]:
    for at, table in _tables((*path, "load"), written):
        shape = file.checked(LoadShape, at, table)
        _check_strip(file, at, table)
        if shape is None:
            continue
        if _check_channel(file, (*at, "channel"), shape.channel, profile):
            _check_by_channel(file, at, shape)
        yield Load(
            channel=shape.channel,
            kind=shape.kind,
            name=shape.name or "",
            power_w=shape.power_w or 0.0,
            count=shape.count,
            power_factor=shape.power_factor,
            is_continuous=shape.continuous,
            is_potential_free=shape.potential_free,
            is_extra_low_voltage=shape.extra_low_voltage,
            hazard=shape.hazard,
            is_lighting_outlet=shape.lighting_outlet,
            strip_w_per_m=shape.strip_w_per_m,
            strip_m=shape.strip_m,
            lead_mm2=shape.lead_mm2,
            lead_m=shape.lead_m,
            supply_w=shape.supply_w,
            dimmed_by=shape.dimmed_by,
        )


def _check_strip(file: TomlFile, at: KeyPath, table: Table) -> None:
    if isinstance(table.get("kind"), str) and table["kind"] != "led-strip":
        for key in STRIP_KEYS:
            if key in table:
                found = f"{key} with kind {said(table['kind'])}"
                file.fault((*at, key), found=found, expected=f"{key} only with kind led-strip")
        return
    if unknown_keys(LoadShape, table):
        return
    for one, other in (("strip_w_per_m", "strip_m"), ("lead_mm2", "lead_m")):
        if (one in table) != (other in table):
            written, missing = (one, other) if one in table else (other, one)
            file.fault((*at, written), found=f"{written} without {missing}", expected=f"{one} and {other} together")
    file.check_one(at, table, ("power_w", "strip_w_per_m"))


def _check_by_channel(file: TomlFile, at: KeyPath, shape: LoadShape) -> None:
    group = shape.channel.split(".", 1)[0]
    if shape.dimmed_by is not None and group != "dimmer":
        found = f"dimmed_by at {shape.channel}"
        file.fault((*at, "dimmed_by"), found=found, expected="dimmed_by only for a load at a dimmer channel")
    if shape.potential_free and group != "output":
        found = f"potential_free at {shape.channel}"
        expected = "potential_free only for a load at an output: nothing else has a contact of its own"
        file.fault((*at, "potential_free"), found=found, expected=expected)
    if group == "led" and shape.kind != "led-strip":
        found = f"{said(shape.kind)} at {shape.channel}"
        file.fault((*at, "kind"), found=found, expected="kind led-strip at an LED channel")
    if group == "shutter" and shape.kind != "motor":
        file.fault((*at, "kind"), found=f"{said(shape.kind)} at shutter", expected="kind motor at a shutter")


def _check_channel(file: TomlFile, at: KeyPath, channel: str, profile: Profile | None) -> bool:
    """Whether a kind has a channel that loads are wired to, after noting the fault where not."""
    if profile is None or channel in profile.load_channels:
        return True
    has = profile.load_channels
    expected = f"a channel of {profile.id}: {', '.join(has)}" if has else f"no load: {profile.id} has no such channel"
    file.fault(at, found=said(channel), expected=expected, nearest=nearest(channel, has))
    return False


def _check_input(file: TomlFile, at: KeyPath, number: int, profile: Profile | None) -> None:
    count = None if profile is None else profile.channels.get("input", 0)
    if count is not None and number > count:
        expected = f"an input that the kind has: its profile counts {count or 'no'} input{'s' if count != 1 else ''}"
        file.fault(at, found=f"input {number}", expected=expected)


def _box(file: TomlFile, at: KeyPath, written: object) -> Box | None:
    if not isinstance(written, dict):
        return None
    conductors = tuple(_conductors(file, (*at, "conductors"), written.get("conductors")))
    shape = file.checked(BoxShape, at, written)
    if shape is None or not file.check_one(at, written, ("volume_cm3", "volume_in3"), shape=BoxShape):
        return None
    in_cm3 = shape.volume_in3 * CM3_PER_IN3 if shape.volume_in3 is not None else 0.0
    return Box(
        volume_cm3=in_cm3 if shape.volume_cm3 is None else shape.volume_cm3,
        conductors=conductors,
        clamps=shape.clamps,
        yokes=shape.yokes,
        fittings=shape.fittings,
        module_cm3=shape.module_cm3,
    )


def _conductors(file: TomlFile, path: KeyPath, written: object) -> Iterator[Conductors]:
    for at, table in _tables(path, written):
        shape = file.checked(ConductorsShape, at, table)
        if shape is None or not file.check_one(at, table, ("mm2", "awg"), shape=ConductorsShape):
            continue
        if shape.count + shape.grounds == 0:
            file.fault(at, found="no conductors", expected="a count or grounds of at least 1")
        yield Conductors(mm2=shape.mm2, awg=shape.awg, count=shape.count, grounds=shape.grounds)


def _tables(path: KeyPath, written: object) -> Iterator[tuple[KeyPath, Table]]:
    for index, element in enumerate(written if isinstance(written, list) else ()):
        if isinstance(element, dict):
            yield (*path, index), element


def _tables_of(written: object) -> list[Table]:
    return [table for _, table in _tables((), written)]
