"""Boxes of the emulated house, one for each class of module, wired as the plan of the house says."""

from dataclasses import dataclass, field, replace

from pattress.lab.circuits import larkspur_wiring
from pattress.lab.run import EmulatedHouse
from pattress.lab.wiring import Wiring
from pattress.lab.world import World
from pattress.model.circuit import Circuit, Load
from pattress.model.vocabulary import Value

CONTROL_W = 1.0  # what a control input takes of a contact; nobody plans that


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A point of the house, with what its plan says of its wiring.

    `settings` are set in the module, and planned, otherwise than the house has them.
    """

    point: str
    wiring: Wiring
    settings: dict[str, Value] = field(default_factory=dict)

    @property
    def planned(self) -> Wiring:
        """The wiring, with the settings that are planned otherwise."""
        return replace(self.wiring, settings={**self.wiring.settings, **self.settings})

    def wire(self, house: EmulatedHouse, *, has_automation: bool) -> World:
        """Connect what is planned to the module, set the automation up, and return the world at the box."""
        world = house.world(self.point)
        for load in self.wiring.circuit.loads:
            group, _, number = load.channel.partition(".")
            for output in (1, 2) if group == "shutter" else (int(number),):
                world.connect_load(output, load.total_w or CONTROL_W, load.power_factor or 1.0)
        for name, value in self.settings.items():
            world.change_setting(name, value)
        for drive in self.wiring.drives if has_automation else ():
            house.automate(self.point, drive.input, drive.channel, to=drive.point)
        return world


def _with(circuit: Circuit, load: Load) -> Circuit:
    return replace(circuit, loads=(*circuit.loads, load))


def box(point: str, **settings: Value) -> Box:
    """Return the box of a point."""
    changed = {name.replace("__", "."): value for name, value in settings.items()}
    return Box(point=point, wiring=larkspur_wiring()[point], settings=changed)


HALL = box("hall-lights")
"""Two circuits of lamps, 57.6 and 12 W, each turned over by a wall switch of its own."""

KITCHEN = box("kitchen-worktop")
"""Metered sockets, 640 W, with a push that only reports."""

BOILER = box("boiler-call", output__1__off_after_s=0)
"""A contact free of potential, that calls for heat."""

BLIND = box("mill-room-blind")
"""A shutter on the broker, with two pushes that only report."""

WHEEL_ROOM = box("wheel-room-blind")
"""A shutter over HTTP, whose module could be set up as two relays."""

DINING = box("dining-room-lights")
"""Dimmed lamps, and a push that drives the lights of the yard."""

_THREE = box("bar-shelf-strip")
_SHORT = replace(_THREE.wiring.circuit.loads[0], channel="led.4", name="strip 4", strip_m=1.0)
SHELF = replace(_THREE, wiring=replace(_THREE.wiring, circuit=_with(_THREE.wiring.circuit, _SHORT)))
"""Four channels of LED strip: the three of the house, and a metre on the fourth."""
