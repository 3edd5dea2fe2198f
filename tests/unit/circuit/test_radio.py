"""Radio margin: levels with their uncertainty, the plate, and verdicts that say how sure they are."""

import random

import pytest

from pattress.circuit.radio import indoor_loss_db, judge_radio, level, plate_loss

SEED = 20261125


def fading(mean_dbm: float, spread_db: float, correlation: float, count: int, numbers: random.Random) -> list[float]:
    """Samples of a first-order autoregressive fading, counted in whole dB."""
    away, samples = numbers.gauss(0, 1), []
    for _ in range(count):
        samples.append(float(round(mean_dbm + spread_db * away)))
        away = correlation * away + (1 - correlation**2) ** 0.5 * numbers.gauss(0, 1)
    return samples


@pytest.mark.parametrize(("spread_db", "correlation"), [(2.0, 0.0), (2.0, 0.5), (4.0, 0.7), (0.3, 0.0), (0.1, 0.0)])
def test_the_interval_of_the_mean_holds_the_truth_about_nine_times_in_ten(spread_db: float, correlation: float) -> None:
    numbers = random.Random(f"{SEED} {spread_db} {correlation}")
    held = 0

    for _ in range(500):
        mean_dbm = numbers.uniform(-80, -50)
        seen = level(fading(mean_dbm, spread_db, correlation, 40, numbers))
        held += seen is not None and seen.low_dbm <= mean_dbm <= seen.high_dbm

    assert 0.84 <= held / 500 <= 0.97


def test_samples_that_resemble_their_neighbours_are_worth_fewer() -> None:
    alternating, in_blocks = level([-60.0, -62.0] * 20), level(([-60.0] * 10 + [-62.0] * 10) * 2)

    assert alternating is not None
    assert in_blocks is not None
    assert alternating.effective == 40
    assert in_blocks.effective < 8
    assert in_blocks.high_dbm - in_blocks.low_dbm > 2 * (alternating.high_dbm - alternating.low_dbm)


def test_samples_all_alike_know_no_more_than_their_step() -> None:
    seen = level([-68.0] * 100)

    assert seen is not None
    assert seen.high_dbm - seen.low_dbm == pytest.approx(2 * 1.66 * 12**-0.5, rel=0.01)


def test_readings_that_stand_for_not_known_are_left_out_and_counted() -> None:
    seen = level([-60.0, 0.0, -61.0, -127.0, -60.0, -62.0, -61.0, -60.0])

    assert seen is not None
    assert (seen.samples, seen.unusable) == (6, 2)
    assert level([-60.0] * 5) is None


def test_the_plate_takes_the_difference_of_the_two_levels() -> None:
    numbers = random.Random(SEED)
    off, on = level(fading(-58, 2, 0.3, 40, numbers)), level(fading(-66, 2, 0.3, 40, numbers))

    assert off is not None
    assert on is not None
    loss = plate_loss(off, on)

    assert loss.loss_db == pytest.approx(8, abs=1.5)
    assert loss.low_db < 8 < loss.high_db


@pytest.mark.parametrize(
    ("mean_dbm", "outcome", "said"),
    [
        (-55, "met", "not less than the -67 dBm needed (-70 dBm and a margin of 3 dB)"),
        (-67, "unverified", "too near to the -67 dBm needed"),
        (-69, "broken", "less than the -67 dBm needed"),
        (-80, "broken", "below the least level of -70 dBm"),
    ],
)
def test_the_verdict_follows_the_interval_and_says_so(mean_dbm: float, outcome: str, said: str) -> None:
    samples = [mean_dbm - 1.0, mean_dbm + 1.0, mean_dbm + 0.0] * 8

    verdict = judge_radio(samples, [value + 7 for value in samples])

    assert verdict.outcome == outcome
    assert said in verdict.sentence
    assert "with 90 %" in verdict.sentence
    assert "the plate takes 7.0 dB" in verdict.sentence
    assert verdict.margin_db == pytest.approx(mean_dbm + 70)


def test_a_verdict_is_rarely_wrong_near_the_limit_and_mostly_given_away_from_it() -> None:
    numbers = random.Random(SEED)
    outcomes = {
        mean_dbm: [judge_radio(fading(mean_dbm, 2, 0.5, 30, numbers)).outcome for _ in range(400)]
        for mean_dbm in (-71, -67.2, -66.8, -63)
    }

    assert outcomes[-71].count("broken") > 380
    assert outcomes[-71].count("met") == 0
    assert outcomes[-67.2].count("met") < 0.08 * 400
    assert outcomes[-66.8].count("broken") < 0.08 * 400
    assert outcomes[-63].count("met") > 380


def test_too_few_samples_are_unverified_with_the_reason() -> None:
    verdict = judge_radio([-60.0, -61.0, 0.0])

    assert verdict.outcome == "unverified"
    assert verdict.sentence == "2 of 3 samples with the plate on can be used, at least 6 are needed"
    assert verdict.margin_db is None


def test_without_samples_of_the_open_box_the_plate_is_not_spoken_of() -> None:
    verdict = judge_radio([-55.0, -56.0] * 10)

    assert verdict.outcome == "met"
    assert verdict.plate is None
    assert "takes" not in verdict.sentence


@pytest.mark.parametrize(
    ("shares", "outcome", "said"),
    [
        ({"lost_share": 0.25}, "broken", "25% questions without an answer, at most 2% may be"),
        ({"retry_share": 0.5}, "broken", "50% frames sent again, at most 20% may be"),
        ({"lost_share": 0.01, "retry_share": 0.1}, "met", "-55.5 dBm"),
    ],
)
def test_lost_questions_count_whatever_the_level(shares: dict[str, float], outcome: str, said: str) -> None:
    verdict = judge_radio([-55.0, -56.0] * 10, **shares)

    assert verdict.outcome == outcome
    assert said in verdict.sentence


@pytest.mark.parametrize(("distance_m", "frequency_hz"), [(0.5, 2.4e9), (10, 100e6), (10, 200e9)])
def test_the_indoor_model_is_refused_where_it_does_not_hold(distance_m: float, frequency_hz: float) -> None:
    with pytest.raises(ValueError, match="from 1 m on"):
        indoor_loss_db(distance_m, frequency_hz)
