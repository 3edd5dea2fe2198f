"""The text of the wiring says what the wiring is."""

from pattress.lab.circuits import larkspur_wiring
from pattress.lab.misfits import MISFITS, wiring_with
from pattress.lab.wiring import Wiring, wiring_text
from pattress.model.circuit import Box, Circuit, Conductors, Drive, Load
from pattress.site.files import parse_toml
from pattress.site.names import Known
from pattress.site.points_file import Ground, plan_of

EVERYTHING = Wiring(
    circuit=Circuit(
        voltage_v=24.5,
        is_dc=True,
        breaker_a=6,
        conductors=Conductors(awg=14),
        length_m=3.5,
        has_neutral=False,
        ambient_c=41,
        separation="distance",
        loads=(
            Load(
                channel="output.1",
                kind="led-strip",
                name="a strip",
                count=2,
                power_factor=0.9,
                is_continuous=True,
                is_potential_free=True,
                is_extra_low_voltage=True,
                hazard="pumps",
                is_lighting_outlet=True,
                strip_w_per_m=4.8,
                strip_m=2,
                lead_mm2=0.5,
                lead_m=1,
                supply_w=40,
            ),
            Load(channel="dimmer.1", kind="led-lamp", power_w=8, dimmed_by="trailing"),
        ),
        box=Box(
            volume_cm3=300,
            conductors=(Conductors(awg=14, count=3, grounds=1), Conductors(mm2=1.5, count=2)),
            clamps=1,
            yokes=2,
            fittings=3,
            module_cm3=20,
        ),
    ),
    drives=(Drive(input=1, channel="output.1"), Drive(input=2, channel="dimmer.1", point="hall-lights")),
)


def test_each_wiring_is_read_back_as_it_is() -> None:
    wirings = (EVERYTHING, *larkspur_wiring().values(), *wiring_with(MISFITS).values())
    lines = []
    for number, wiring in enumerate(wirings):
        lines += ["[[point]]", f'name = "point-{number}"', 'room = "Room"', 'kind = "any"', *wiring_text(wiring)]
    names = "\n".join(f'[[point]]\nname = "{name}"\nroom = "Room"\nkind = "any"' for name in larkspur_wiring())
    file = parse_toml("\n".join([*lines, names]).encode(), "points.toml")

    plan = plan_of(file, Ground(kinds=Known(names=frozenset({"any"}))))

    assert file.faults == []
    for point, wiring in zip(plan.points, wirings, strict=False):
        assert (point.circuit, point.drives) == (wiring.circuit, wiring.drives)


def test_a_motor_of_a_shutter_is_a_hazard_of_all_outputs() -> None:
    wiring = larkspur_wiring()

    assert wiring["mill-room-blind"].hazards(2) == {1, 2}
    assert wiring["boiler-call"].hazards(1) == {1}
    assert wiring["hall-lights"].hazards(2) == frozenset()
