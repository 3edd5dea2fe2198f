"""Whatever numbers a question is asked with: an answer of finite numbers, or an error in words."""

import math
from collections.abc import Callable

from hypothesis import given, settings
from hypothesis import strategies as some

from pattress.circuit.box_fill import box_answer
from pattress.circuit.conductors import conductor_answer, size_named
from pattress.circuit.derating import inrush_answer, module_answer
from pattress.circuit.dimmer import dimmer_answer
from pattress.circuit.led import class2_answer, strip_answer, strip_drop_answer, supply_size_answer
from pattress.circuit.load import breaker_answer, draw_of, load_answer, rating_answer
from pattress.circuit.supply import channels_answer, supply_answer
from pattress.circuit.voltage_drop import drop_answer, run_answer
from pattress.circuit.working import Answer
from pattress.model.circuit import LOAD_KINDS, Box, Conductors, Load
from pattress.model.errors import CircuitError
from pattress.site.tables_file import shipped_tables

TABLES = shipped_tables("nec")
SIZE = size_named("14 AWG", TABLES)
NUMBERS = some.one_of(
    some.floats(),  # with NaN, the infinities, and the smallest and largest there are
    some.floats(min_value=1e-9, max_value=1e9),
    some.sampled_from([0.0, 1e-9, 1e9, -1.0]),
)
Question = Callable[[list[float], Load], Answer]
QUESTIONS: list[Question] = [
    lambda n, load: load_answer(load, n[0], TABLES),
    lambda n, load: rating_answer(n[0], n[1], n[2]),
    lambda n, load: module_answer(load, n[0], TABLES, rated_current_a=n[1], rated_power_w=n[2]),
    lambda n, load: inrush_answer(load.kind, n[0], n[1], TABLES),
    lambda n, load: breaker_answer([draw_of(load, n[0], TABLES)], n[1], TABLES, size=SIZE),
    lambda n, load: supply_answer(n[0], TABLES, supply_ac_v=(n[1], n[2]), supply_dc_v=None),
    lambda n, load: channels_answer({"output.1": n[0]}, n[1], rated_current_a=n[2], breaker_a=n[3]),
    lambda n, load: dimmer_answer(load, n[0], TABLES, rated_power_w=n[1], minimum_load_w=n[2]),
    lambda n, load: conductor_answer(SIZE, TABLES, temperature_c=n[0]),
    lambda n, load: drop_answer(n[0], n[1], SIZE, n[2], TABLES, allowed=n[3]),
    lambda n, load: run_answer(n[0], SIZE, n[1], TABLES),
    lambda n, load: strip_answer(n[0], n[1], n[2], rated_channel_a=n[3]),
    lambda n, load: supply_size_answer(n[0], TABLES, supply_w=n[1]),
    lambda n, load: strip_drop_answer(
        n[0], n[1], TABLES, lead_mm2=n[2], lead_m=n[3], strip_m=n[4], strip_ohm_per_m=n[5]
    ),
    lambda n, load: class2_answer(n[0], n[1], TABLES),
    lambda n, load: box_answer(
        Box(volume_cm3=n[0], conductors=(Conductors(awg=14, count=2),), module_cm3=n[1]), TABLES
    ),
]


@settings(max_examples=600)
@given(
    some.sampled_from(QUESTIONS),
    some.lists(NUMBERS, min_size=7, max_size=7),
    some.sampled_from(LOAD_KINDS),
    some.integers(min_value=-1, max_value=20_000),
)
def test_an_answer_has_finite_numbers_or_there_is_none(
    question: Question, numbers: list[float], kind: str, count: int
) -> None:
    load = Load(channel="output.1", kind=kind, power_w=numbers[6], count=count)  # type: ignore[arg-type]

    try:
        answer = question(numbers, load)
    except CircuitError:
        return  # any other error, such as a division by nought, fails the test

    assert all(math.isfinite(value) for value in answer.values.values())
    assert all(line.result is None or math.isfinite(line.result) for line in answer.lines)
    assert "nan" not in answer.sentence
    assert answer.sentence.endswith(".")
