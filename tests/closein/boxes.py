"""Boxes of the emulated house, one for each class of module, wired as the plan of the house says."""

from dataclasses import dataclass

from pattress.lab.circuits import larkspur_wiring
from pattress.lab.run import EmulatedHouse
from pattress.lab.wiring import Wiring
from pattress.lab.world import World

CONTROL_W = 1.0  # what a control input takes of a contact; nobody plans that


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A point of the house, with what its plan says of its wiring."""

    point: str
    wiring: Wiring

    def wire(self, house: EmulatedHouse, *, has_automation: bool) -> World:
        """Connect what is planned to the module, set the automation up, and return the world at the box."""
        world = house.world(self.point)
        for load in self.wiring.circuit.loads:
            group, _, number = load.channel.partition(".")
            for output in (1, 2) if group == "shutter" else (int(number),):
                world.connect_load(output, load.total_w or CONTROL_W, load.power_factor or 1.0)
        for drive in self.wiring.drives if has_automation else ():
            house.automate(self.point, drive.input, drive.channel, to=drive.point)
        return world


def box(point: str) -> Box:
    """Return the box of a point."""
    return Box(point=point, wiring=larkspur_wiring()[point])


HALL = box("hall-lights")
"""Two circuits of lamps, 57.6 and 12 W, each turned over by a wall switch of its own."""

KITCHEN = box("kitchen-worktop")
"""Metered sockets, 640 W, with a push that only reports."""

BOILER = box("boiler-call")
"""A contact free of potential, that calls for heat; a timer in the module ends that after two minutes."""

BLIND = box("mill-room-blind")
"""A shutter on the broker, with two pushes that only report."""

WHEEL_ROOM = box("wheel-room-blind")
"""A shutter over HTTP, whose module could be set up as two relays."""

DINING = box("dining-room-lights")
"""Dimmed lamps, and a push that drives the lights of the yard."""

SHELF = box("bar-shelf-strip")
"""Three strips of light, on a controller for four."""
