"""A small example of a close-in check. No tests here."""

from collections.abc import Mapping, Sequence
from datetime import timedelta

from pattress.model.closein import Sample, StepOutcome, StepResult
from pattress.model.vocabulary import Value
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, minutes

PLANNED: dict[str, Value] = {"site": "Larkspur Mill", "circuit.voltage_v": 230.0, "circuit.has_neutral": True}


def sample(name: str = "health.temperature_c", value: Value = 31.5, *, minute: float = 0) -> Sample:
    return Sample(at=minutes(minute), name=name, value=value)


def warming(count: int, *, minute: float = 0) -> list[Sample]:
    """Temperatures of so many seconds."""
    return [sample(value=30 + second / 8, minute=minute + second / 60) for second in range(count)]


def result(
    step: str = "heat",
    outcome: StepOutcome = "met",
    *,
    minute: float = 0,
    sentence: str = "settles at 61 °C, 34 K under the limit",
    facts: Mapping[str, Value] | None = None,
    samples: Sequence[Sample] = (),
    number: int = 1,
) -> StepResult:
    return StepResult(
        step=step,
        title="Heat under load",
        outcome=outcome,
        sentence=sentence,
        began_at=minutes(minute),
        ended_at=minutes(minute + 8),
        facts={"settles_c": 61.0, "is_decided": True} if facts is None else facts,
        samples=tuple(samples),
        number=number,
    )


async def keep_a_check(store: Store) -> int:
    """A check of the hall's lights that was signed off: two steps, one of them at its second try."""
    number = await store.begin_close_in("hall-lights", "Wren Okafor", NIGHT, HALL, planned=PLANNED)
    await store.keep_step(number, result("input.1", "broken"))
    await store.keep_step(
        number, result("input.1", samples=[sample("input.1.closed", True), sample("net.ssid", "é\n")])
    )
    await store.keep_samples(number, "heat", warming(100, minute=1))
    await store.keep_step(number, result(minute=1, samples=warming(120, minute=1)))
    await store.end_close_in(number, NIGHT + timedelta(minutes=20), is_signed_off=True)
    return number
