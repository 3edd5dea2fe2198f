"""What the emulated house's plan says of wiring: the noun, and its text in `points.toml`.

What belongs here: writing TOML of it. What does not: who is wired how (`circuits`), and what is planted (`misfits`).
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, fields

from pattress.model.circuit import Box, Circuit, Conductors, Drive, Load
from pattress.model.vocabulary import Value

_OTHER_KEYS = {
    "is_continuous": "continuous",
    "is_potential_free": "potential_free",
    "is_extra_low_voltage": "extra_low_voltage",
    "is_lighting_outlet": "lighting_outlet",
}
"""Fields of a load that go by another key in the file."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Wiring:
    """What the plan says of one point's circuit and drives. `settings` are planned otherwise than the module is set."""

    circuit: Circuit
    drives: tuple[Drive, ...] = ()
    settings: Mapping[str, Value] = field(default_factory=dict)

    def hazards(self, outputs: int) -> frozenset[int]:
        """Return the outputs, of so many, that feed what must not come on by itself; a shutter's motor is on all."""
        numbers: set[int] = set()
        for load in self.circuit.loads:
            if load.hazard is not None:
                _, _, number = load.channel.partition(".")
                numbers.update([int(number)] if number else range(1, outputs + 1))
        return frozenset(numbers)


def wiring_text(wiring: Wiring) -> Iterator[str]:
    """Yield the tables of a point's wiring, line by line."""
    yield ""
    yield "[point.circuit]"
    yield from _circuit(wiring.circuit)
    for load in wiring.circuit.loads:
        yield ""
        yield "[[point.load]]"
        yield from _load(load)
    if wiring.circuit.box is not None:
        yield ""
        yield "[point.box]"
        yield from _box(wiring.circuit.box)
    for drive in wiring.drives:
        yield ""
        yield "[[point.drive]]"
        yield f"input = {drive.input}"
        yield f"channel = {toml_value(drive.channel)}"
        if drive.point is not None:
            yield f"point = {toml_value(drive.point)}"


def _circuit(circuit: Circuit) -> Iterator[str]:
    yield f"voltage_v = {toml_value(circuit.voltage_v)}"
    if circuit.is_dc:
        yield "dc = true"
    sizes = circuit.conductors or Conductors()
    others = {
        "breaker_a": circuit.breaker_a,
        "conductor_mm2": sizes.mm2,
        "conductor_awg": sizes.awg,
        "length_m": circuit.length_m,
        "neutral": circuit.has_neutral,
        "ambient_c": circuit.ambient_c,
        "separation": circuit.separation,
    }
    for key, value in others.items():
        if value is not None:
            yield f"{key} = {toml_value(value)}"


def _load(load: Load) -> Iterator[str]:
    for one in fields(Load):
        value = getattr(load, one.name)
        if value != one.default:
            yield f"{_OTHER_KEYS.get(one.name, one.name)} = {toml_value(value)}"


def _box(box: Box) -> Iterator[str]:
    for one in fields(Box):
        value = getattr(box, one.name)
        if one.name != "conductors" and value != one.default:
            yield f"{one.name} = {toml_value(value)}"
    for conductors in box.conductors:
        yield ""
        yield "[[point.box.conductors]]"
        for name in ("mm2", "awg"):
            if getattr(conductors, name) is not None:
                yield f"{name} = {getattr(conductors, name)}"
        yield f"count = {conductors.count}"
        yield f"grounds = {conductors.grounds}"


def toml_value(value: Value) -> str:
    """Return a value as TOML writes it. The texts here are plain, and a JSON string of those is a TOML string."""
    return json.dumps(value)
