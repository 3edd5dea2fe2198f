"""What can be wrong with the plan of Larkspur Mill: circuits that do not suit their modules, each with what is found.

What belongs here: the list, and planting from it. What does not: faults of modules (`faults`), and judging (`policy`).
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from typing import Any

from pattress.lab.circuits import larkspur_wiring
from pattress.lab.wiring import Wiring
from pattress.model.circuit import Box, Conductors, Drive, Load
from pattress.model.errors import UsageError
from pattress.model.finding import Outcome

Change = Callable[[Wiring], Wiring]


@dataclass(frozen=True, slots=True, kw_only=True)
class Misfit:
    """One thing that is wrong at a point of the plan.

    `found` holds the rules and outcomes that it leads to, besides what is met; `words` must stand in the sentence of
    the first of them: the numbers that it rests on.
    """

    name: str
    what: str
    point: str
    change: Change
    found: tuple[tuple[str, Outcome], ...]
    words: tuple[str, ...]


def wiring_with(names: Iterable[str]) -> Mapping[str, Wiring]:
    """Return the wiring of the house with these misfits planted, in the order of the list.

    Raises:
        UsageError: If there is no misfit of a name.
    """
    wanted = set(names)
    unknown = sorted(wanted - MISFITS.keys())
    if unknown:
        near = get_close_matches(unknown[0], MISFITS, n=1)
        raise UsageError(
            f"there is no misfit {unknown[0]!r}",
            where="emulated house",
            next_step=f"Did you mean {near[0]}?" if near else f"Use one of: {', '.join(MISFITS)}.",
        )
    wiring = dict(larkspur_wiring())
    for misfit in ALL_MISFITS:
        if misfit.name in wanted:
            wiring[misfit.point] = misfit.change(wiring[misfit.point])
    return wiring


def _circuit(**changes: Any) -> Change:
    return lambda wiring: replace(wiring, circuit=replace(wiring.circuit, **changes))


def _loads(*changed: Load) -> Change:
    """Put loads in the place of those at the same channels."""

    def change(wiring: Wiring) -> Wiring:
        channels = {load.channel for load in changed}
        others = tuple(load for load in wiring.circuit.loads if load.channel not in channels)
        return replace(wiring, circuit=replace(wiring.circuit, loads=(*changed, *others)))

    return change


def _first_load(**changes: Any) -> Change:
    def change(wiring: Wiring) -> Wiring:
        first, *others = wiring.circuit.loads
        return replace(wiring, circuit=replace(wiring.circuit, loads=(replace(first, **changes), *others)))

    return change


def _both(*changes: Change) -> Change:
    def change(wiring: Wiring) -> Wiring:
        for one in changes:
            wiring = one(wiring)
        return wiring

    return change


def _load(channel: str, kind: Any, name: str, power_w: float, count: int = 1) -> Load:
    return Load(channel=channel, kind=kind, name=name, power_w=power_w, count=count)


ALL_MISFITS: tuple[Misfit, ...] = (
    Misfit(
        name="too-many-watts",
        what="A dryer within the relay's amperes, and beyond its watts at this voltage.",
        point="laundry-socket",
        change=_loads(_load("output.1", "resistive", "tumble dryer", 3600)),
        found=(("fit-rating", "broken"),),
        words=("3600 W resistive at 230 V", "15.65 A against 15.22 A usable", "by its 3500 W"),
    ),
    Misfit(
        name="too-many-amperes",
        what="A heater beyond what one circuit of a dual relay carries.",
        point="landing-lights",
        change=_both(
            _loads(_load("output.2", "resistive", "stair heater", 2500)),
            _circuit(breaker_a=16, conductors=Conductors(mm2=2.5)),
        ),
        found=(("fit-rating", "broken"),),
        words=("2500 W resistive at 230 V", "10.87 A against 10 A usable"),
    ),
    Misfit(
        name="too-much-in-all",
        what="Two heaters, each within its circuit of a dual relay, and together beyond the module.",
        point="cellar-lights",
        change=_both(
            _loads(
                _load("output.1", "resistive", "vault heater", 2000),
                _load("output.2", "resistive", "wine cellar heater", 1900),
            ),
            _circuit(breaker_a=20, conductors=Conductors(mm2=2.5)),
        ),
        found=(("fit-total", "broken"),),
        words=("8.696 A + 8.261 A = 16.96 A", "16 A that the module carries in all"),
    ),
    Misfit(
        name="dimmer-overloaded",
        what="More lamps than the 200 W of the dimmer.",
        point="dining-room-lights",
        change=_first_load(count=8),
        found=(("fit-dimmer-load", "broken"),),
        words=("8 × 30 W halogen", "240 W"),
    ),
    Misfit(
        name="dimmer-starved",
        what="One small lamp, less than the dimmer needs.",
        point="loft-room-lights",
        change=_first_load(power_w=2, count=1),
        found=(("fit-dimmer-load", "broken"),),
        words=("2 W are less than the 3 W that the dimmer needs",),
    ),
    Misfit(
        name="wrong-edge",
        what="LED lamps on a dimmer that cuts the leading edge.",
        point="library-lights",
        change=_first_load(kind="led-lamp", power_w=8, count=4),
        found=(("fit-dimmer-edge", "broken"),),
        words=("cuts the leading edge", "trailing edge"),
    ),
    Misfit(
        name="live-contact",
        what="A door opener's input at a relay whose contact is live.",
        point="yard-lights",
        change=_loads(Load(channel="output.2", kind="electronic", name="door opener's input", is_potential_free=True)),
        found=(("fit-contact", "broken"),),
        words=("door opener's input", "wants a contact free of potential", "carries its supply's voltage"),
    ),
    Misfit(
        name="no-neutral",
        what="A box without the neutral that the module needs.",
        point="hall-lights",
        change=_circuit(has_neutral=False),
        found=(("fit-neutral", "broken"),),
        words=("needs a neutral, and none is in the box",),
    ),
    Misfit(
        name="strip-too-long",
        what="Eleven metres of strip on one channel.",
        point="bar-shelf-strip",
        change=_first_load(strip_m=11, lead_mm2=2.5),
        found=(("fit-led-current", "broken"), ("fit-led-supply", "broken")),
        words=("9.6 W/m × 11 m", "4.4 A are more than the 4 A"),
    ),
    Misfit(
        name="leads-too-thin",
        what="Long thin leads to a strip at 12 V.",
        point="stair-strip",
        change=_first_load(lead_m=12, lead_mm2=0.75),
        found=(("fit-led-drop", "broken"),),
        words=("12 m of 0.75 mm²", "1.6 A at 12 V drop 0.9984 V (8.32 %)", "0.6 V (5 %)"),
    ),
    Misfit(
        name="box-too-full",
        what="A shallow box with two cables and the module.",
        point="mill-room-blind",
        change=lambda wiring: replace(
            wiring,
            circuit=replace(wiring.circuit, box=replace(wiring.circuit.box or Box(volume_cm3=1), volume_cm3=200)),
        ),
        found=(("fit-box-room", "broken"),),
        words=("of its 200 cm³", "are missing"),
    ),
    Misfit(
        name="supply-too-low",
        what="A supply of 9 V for a relay that takes 12 to 48 V.",
        point="gate-release",
        change=_circuit(voltage_v=9),
        found=(("fit-supply", "broken"),),
        words=("9 V DC is outside", "12 to 48 V"),
    ),
    Misfit(
        name="heater-comes-back",
        what="The boiler's call for heat is planned to close by itself after a power cut.",
        point="boiler-call",
        change=lambda wiring: replace(wiring, settings={**wiring.settings, "output.1.at_power_up": "on"}),
        found=(("hazard-stays-off", "broken"),),
        words=("call for heat heats", 'output.1.at_power_up is planned "on"'),
    ),
    Misfit(
        name="mains-beside-bell",
        what="The wires of a bell share a box with mains.",
        point="wheel-room-blind",
        change=_circuit(separation="none"),
        found=(("fit-separation", "broken"),),
        words=("Extra-low voltage and 230 V are in one box, and nothing keeps them apart",),
    ),
    Misfit(
        name="breaker-too-large",
        what="A breaker that does not protect its conductor.",
        point="kitchen-worktop",
        change=_circuit(breaker_a=32),
        found=(("fit-breaker", "broken"),),
        words=("32 A does not protect 2.5 mm²",),
    ),
    Misfit(
        name="hot-roof",
        what="A room that gets warmer than the module stands.",
        point="bakehouse-lights",
        change=_circuit(ambient_c=52),
        found=(("fit-ambient", "broken"),),
        words=("52 °C warm, above the 40 °C",),
    ),
    Misfit(
        name="switch-drives-nothing",
        what="A switch that only reports is to drive a channel through which nothing is wired.",
        point="guest-bath-fan",
        change=lambda wiring: replace(wiring, drives=(Drive(input=1, channel="led.4", point="bar-shelf-strip"),)),
        found=(("switch-has-relay", "broken"),),
        words=("input.1 only reports and is to drive led.4 of bar-shelf-strip, and nothing is wired through it",),
    ),
)
MISFITS: Mapping[str, Misfit] = {misfit.name: misfit for misfit in ALL_MISFITS}
