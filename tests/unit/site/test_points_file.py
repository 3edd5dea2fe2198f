"""A right points file, piece by piece."""

from ipaddress import ip_network
from pathlib import Path

import pytest

from pattress.model.circuit import Box, Circuit, Conductors, Drive, Load
from pattress.model.plan import OtherDevice, Plan, Point
from pattress.site.files import parse_toml, read_toml
from pattress.site.names import Known
from pattress.site.points_file import Ground, plan_of, point_names

GROUND = Ground(kinds=Known(names=frozenset({"quill-duo"})), networks=(ip_network("192.0.2.0/24"),))

ATTIC = Circuit(
    voltage_v=230,
    breaker_a=10,
    conductors=Conductors(mm2=1.5),
    length_m=18,
    has_neutral=True,
    ambient_c=35,
    loads=(
        Load(
            channel="output.1",
            kind="led-lamp",
            name="six downlights",
            power_w=9,
            count=6,
            power_factor=0.9,
            is_continuous=True,
            is_lighting_outlet=True,
        ),
        Load(
            channel="output.2",
            kind="led-strip",
            strip_w_per_m=14.4,
            strip_m=5,
            lead_mm2=0.75,
            lead_m=3,
            supply_w=100,
        ),
    ),
    box=Box(
        volume_cm3=pytest.approx(294.967152),  # 18 cubic inches of 25.4 mm
        conductors=(Conductors(awg=12, count=4, grounds=2),),
        clamps=1,
        yokes=1,
        module_cm3=40,
    ),
)


def test_a_right_file_becomes_the_plan_it_says(house: Path) -> None:
    file = read_toml(house / "points.toml", "points.toml")

    plan = plan_of(file, GROUND)

    assert file.faults == []
    assert plan == Plan(
        points=(
            Point(
                name="hall-lights",
                room="Hall",
                kind="quill-duo",
                mac="02:00:5e:00:53:01",
                address="192.0.2.17",
                settings={
                    "input.1.contact": "maintained",
                    "input.1.action": "reports",
                    "output.1.at_power_up": "off",
                    "output.2.off_after_s": 300,
                    "firmware.version": "2.1.0",
                },
                certificate_sha256="00112233445566778899aabbccddeeff" * 2,
                remark="Behind the coat hooks.",
            ),
            Point(name="cellar-heater", room="Cellar", kind="quill-duo"),
            Point(
                name="attic-lamps",
                room="Attic",
                kind="quill-duo",
                circuit=ATTIC,
                drives=(Drive(input=1, channel="output.1"), Drive(input=2, channel="output.2", point="hall-lights")),
            ),
        ),
        others=(OtherDevice(name="door-bridge", reason="Rings the bell.", serial="B-0077"),),
    )


def test_an_empty_file_is_an_empty_plan() -> None:
    file = parse_toml(b"# nothing yet\n", "points.toml")

    plan = plan_of(file, GROUND)

    assert (plan, file.faults) == (Plan(), [])


def test_a_name_in_letters_of_any_script_is_a_name() -> None:
    file = parse_toml('[[point]]\nname = "küche-1"\nroom = "Küche"\nkind = "quill-duo"\n'.encode(), "points.toml")

    plan = plan_of(file, GROUND)

    assert [point.name for point in plan.points] == ["küche-1"]
    assert file.faults == []


def test_without_known_networks_no_address_is_outside_them() -> None:
    text = '[[point]]\nname = "a"\nroom = "b"\nkind = "quill-duo"\naddress = "10.0.0.1"\n'
    file = parse_toml(text.encode(), "points.toml")

    plan_of(file, Ground(kinds=GROUND.kinds))

    assert file.faults == []


def test_names_are_not_complete_where_one_is_there_twice_or_of_a_wrong_form() -> None:
    right, twice, wrong = (
        point_names(parse_toml(text, "points.toml"))
        for text in (
            b'[[point]]\nname = "a"\n[[point]]\nname = "b"\n',
            b'[[point]]\nname = "a"\n[[point]]\nname = "a"\n',
            b'[[point]]\nname = "a"\n[[point]]\nname = "b b"\n',
        )
    )

    assert (right.is_complete, twice.is_complete, wrong.is_complete) == (True, False, False)
