"""What the plan says of a point, as plain values by name to keep with a check, and in words to read.

What belongs here: those two forms. What does not: the plan itself (`model/plan`), and judging it (`policy`).
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import MISSING, fields, is_dataclass
from typing import Any

from pattress.model.closein import CloseIn
from pattress.model.plan import Point
from pattress.model.profile import Profile
from pattress.model.vocabulary import Value

Lines = list[tuple[str, str]]


def planned_facts(
    site_name: str, point: Point, profile: Profile | None, steps: Mapping[str, str] | None = None
) -> dict[str, Value]:
    """Return what the site's files say of a point: room, module, settings, circuit, drives, and the steps of its check.

    `steps` are the titles of the steps, in their order.
    """
    facts: dict[str, Value] = {"site": site_name, "room": point.room, "kind": point.kind}
    if profile is not None:
        facts |= {"maker": profile.maker, "model": profile.model, "class": profile.module_class}
    facts |= {f"settings.{name}": value for name, value in point.settings.items()}
    if point.circuit is not None:
        facts |= dict(_flat("circuit", point.circuit))
    for number, drive in enumerate(point.drives, start=1):
        facts |= dict(_flat(f"drives.{number}", drive))
    return facts | {f"steps.{name}": title for name, title in (steps or {}).items()}


def planned_steps(planned: Mapping[str, Value]) -> dict[str, str]:
    """Return the steps that a check was to have, with their titles; none where that was not kept."""
    return {name.removeprefix("steps."): str(one) for name, one in planned.items() if name.startswith("steps.")}


def steps_not_done(check: CloseIn) -> dict[str, str]:
    """Return the steps that a check was to have and has no result of, with their titles."""
    done = {one.step for one in check.results}
    return {name: title for name, title in planned_steps(check.planned).items() if name not in done}


def circuit_lines(planned: Mapping[str, Value]) -> Lines:
    """Return the circuit as planned in words, title and text; nothing where none is planned."""
    circuit = _under(planned, "circuit.")
    if not circuit:
        return []
    lines: Lines = [("Supply", _supply(circuit))]
    if conductors := _conductors(circuit, "conductors."):
        length = f", {_number(circuit['length_m'])} m" if "length_m" in circuit else ""
        lines.append(("Conductors", f"{conductors}{length}"))
    for load in _numbered(circuit, "loads."):
        lines.append((f"On {load.get('channel', '?')}", _load(load)))
    if box := _under(circuit, "box."):
        lines.append(("Box", _box(box)))
    if "separation" in circuit:
        how = _SEPARATION_WORDS.get(str(circuit["separation"]), str(circuit["separation"]))
        lines.append(("In one box", f"mains and extra-low voltage, {how}"))
    for drive in _numbered(planned, "drives."):
        at = f" at {drive['point']}" if "point" in drive else ""
        lines.append((f"Input {drive.get('input', '?')} drives", f"{drive.get('channel', '?')}{at}"))
    return lines


def hazards_of(planned: Mapping[str, Value]) -> frozenset[str]:
    """Return what of the planned loads may hurt: `heats`, `pumps`, `moves`; and `mixed` where voltages share a box."""
    loads = _numbered(_under(planned, "circuit."), "loads.")
    mixed = {"mixed"} if "circuit.separation" in planned else set()
    return frozenset({str(load["hazard"]) for load in loads if "hazard" in load} | mixed)


def _flat(prefix: str, noun: Any) -> Iterator[tuple[str, Value]]:
    """Yield every value of a noun and of those in it that is not its default, so that what nobody planned is absent."""
    for one in fields(noun):
        value, name = getattr(noun, one.name), f"{prefix}.{one.name}"
        if value is None or (one.default is not MISSING and value == one.default):
            continue
        if is_dataclass(value):
            yield from _flat(name, value)
        elif isinstance(value, tuple):
            for number, inner in enumerate(value, start=1):
                yield from _flat(f"{name}.{number}", inner)
        elif not isinstance(value, float) or math.isfinite(value):
            yield name, value


def _under(planned: Mapping[str, Value], prefix: str) -> dict[str, Value]:
    return {name.removeprefix(prefix): one for name, one in planned.items() if name.startswith(prefix)}


def _numbered(planned: Mapping[str, Value], prefix: str) -> list[dict[str, Value]]:
    found: dict[int, dict[str, Value]] = {}
    for name, one in _under(planned, prefix).items():
        number, _, rest = name.partition(".")
        if number.isdecimal():
            found.setdefault(int(number), {})[rest] = one
    return [found[number] for number in sorted(found)]


def _supply(circuit: Mapping[str, Value]) -> str:
    words = [f"{_number(circuit.get('voltage_v'))} V {'DC' if circuit.get('is_dc') else 'AC'}"]
    if "breaker_a" in circuit:
        words.append(f"breaker {_number(circuit['breaker_a'])} A")
    if "has_neutral" in circuit:
        words.append("neutral in the box" if circuit["has_neutral"] else "no neutral in the box")
    if "ambient_c" in circuit:
        words.append(f"up to {_number(circuit['ambient_c'])} °C around it")
    return ", ".join(words)


def _conductors(values: Mapping[str, Value], prefix: str) -> str | None:
    size = _under(values, prefix)
    if "mm2" in size:
        return f"{_number(size['mm2'])} mm²"
    return f"{size['awg']} AWG" if "awg" in size else None


def _load(load: Mapping[str, Value]) -> str:
    name = str(load.get("name") or load.get("kind", "load"))
    count = load.get("count", 1)
    if "strip_w_per_m" in load:
        power = f"{_number(load.get('strip_m'))} m of {_number(load['strip_w_per_m'])} W/m"
    else:
        power = f"{_number(load.get('power_w'))} W" if count == 1 else f"{count} × {_number(load.get('power_w'))} W"
    kind = f" ({load['kind']})" if "name" in load and "kind" in load else ""
    more = [word for key, word in _LOAD_WORDS.items() if load.get(key)]
    hazard = [_HAZARD_WORDS.get(str(load["hazard"]), str(load["hazard"]))] if "hazard" in load else []
    return ", ".join([f"{name}{kind}: {power}", *more, *hazard])


def _box(box: Mapping[str, Value]) -> str:
    words = [f"{_number(box.get('volume_cm3'))} cm³"]
    for inside in _numbered(box, "conductors."):
        count = inside.get("count", 0)
        conductors = "conductor" if count == 1 else "conductors"
        words.append(f"{count} {conductors} of {_conductors(inside, '') or 'unknown size'}")
    if "module_cm3" in box:
        words.append(f"module {_number(box['module_cm3'])} cm³")
    return ", ".join(words)


def _number(value: Value | None) -> str:
    """Return a number as it is written; what is none as it is, for what was kept may be of another version."""
    if value is None:
        return "?"
    return f"{value:g}" if isinstance(value, int | float) and not isinstance(value, bool) else str(value)


_LOAD_WORDS = {
    "is_continuous": "continuous",
    "is_potential_free": "potential-free contact",
    "is_extra_low_voltage": "extra-low voltage",
}
_HAZARD_WORDS = {"heats": "it heats", "pumps": "it pumps", "moves": "it moves"}
_SEPARATION_WORDS = {
    "barrier": "kept apart by a barrier",
    "distance": "kept apart by distance",
    "insulation": "kept apart by insulation",
    "none": "not kept apart",
}
