"""What is planned of a point can be kept as plain values, and is read from them in words."""

import json
from dataclasses import replace

from pattress.model.circuit import Box, Circuit, Conductors, Load
from pattress.model.plan import Point
from pattress.report.planned import circuit_lines, hazards_of, planned_facts, planned_steps
from unit.report.certificates import PLANNED, POINT, STEPS

PLAIN = Point(name="attic-fan", room="Attic", kind="k")


def test_a_circuit_is_read_from_its_values_in_words() -> None:
    assert circuit_lines(PLANNED) == [
        ("Supply", "230 V AC, breaker 16 A, neutral in the box, up to 30 °C around it"),
        ("Conductors", "1.5 mm², 18 m"),
        ("On output.1", "six downlights (led-lamp): 6 × 9 W"),
        ("On output.2", "the fan (motor): 30 W, it moves"),
        ("Box", "295 cm³, 5 conductors of 1.5 mm², module 40 cm³"),
        ("Input 2 drives", "output.1 at yard-lights"),
    ]


def test_values_survive_json_and_keep_their_words() -> None:
    assert circuit_lines(json.loads(json.dumps(PLANNED))) == circuit_lines(PLANNED)


def test_a_strip_and_american_wire_are_said_too() -> None:
    circuit = Circuit(
        voltage_v=24.0, is_dc=True, conductors=Conductors(awg=14), has_neutral=False, separation="barrier",
        loads=(Load(channel="led.1", kind="led-strip", strip_w_per_m=14.4, strip_m=5.0, is_extra_low_voltage=True),),
    )  # fmt: skip
    planned = planned_facts("Larkspur Mill", Point(name="shelf", room="Hall", kind="k", circuit=circuit), None)

    assert circuit_lines(planned) == [
        ("Supply", "24 V DC, no neutral in the box"),
        ("Conductors", "14 AWG"),
        ("On led.1", "led-strip: 5 m of 14.4 W/m, extra-low voltage"),
        ("In one box", "mains and extra-low voltage, kept apart by a barrier"),
    ]
    assert hazards_of(planned) == {"mixed"}


def test_one_conductor_is_one() -> None:
    box = Box(volume_cm3=295, conductors=(Conductors(mm2=1.5, count=4), Conductors(mm2=2.5, count=1)))
    planned = planned_facts("Larkspur Mill", replace(PLAIN, circuit=Circuit(voltage_v=230, box=box)), None)

    assert circuit_lines(planned)[-1] == ("Box", "295 cm³, 4 conductors of 1.5 mm², 1 conductor of 2.5 mm²")


def test_what_nobody_planned_is_absent() -> None:
    planned = planned_facts("Larkspur Mill", PLAIN, None)

    assert planned == {"site": "Larkspur Mill", "room": "Attic", "kind": "k"}
    assert circuit_lines(planned) == []
    assert hazards_of(planned) == frozenset()
    assert planned_steps(planned) == {}


def test_hazards_and_steps_are_found_again() -> None:
    planned = planned_facts("Larkspur Mill", POINT, None, STEPS)

    assert hazards_of(planned) == {"moves"}
    assert planned_steps(planned) == STEPS
