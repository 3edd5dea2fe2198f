"""What a kind of load leaves of a contact's rating."""

from dataclasses import replace

import pytest
from hypothesis import given as of
from hypothesis import strategies as some

from pattress.circuit.derating import ARC, MAKER_FIRST, inrush_answer, module_answer, stated_limits, usable_share
from pattress.model.circuit import LOAD_KINDS, Load, LoadKind
from pattress.model.profile import DataSheet
from pattress.model.tables import Figure
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")


def load(kind: LoadKind, watts: float, *, continuous: bool = False) -> Load:
    return Load(channel="output.1", kind=kind, power_w=watts, power_factor=1.0, is_continuous=continuous)


@pytest.mark.parametrize("kind", LOAD_KINDS)
def test_no_factor_is_silent(kind: LoadKind) -> None:
    share = usable_share(kind, IEC)
    volts = 24 if kind == "led-strip" else 230
    answer = module_answer(load(kind, 100), volts, IEC, rated_current_a=16, rated_power_w=None)

    assert 0 < share.value <= 1
    assert share.source
    assert share.source in [line.source for line in answer.lines]


@pytest.mark.parametrize(
    ("kind", "share"), [("resistive", 1), ("motor", 0.5), ("led-lamp", 0.1), ("incandescent", 10 / 12)]
)
def test_the_lower_of_inrush_and_opening_counts(kind: LoadKind, share: float) -> None:
    assert usable_share(kind, IEC).value == pytest.approx(share)


def test_a_site_that_knows_better_counts() -> None:
    lamps = replace(IEC.kinds["led-lamp"], inrush=Figure(value=20, source="measured"))
    tables = replace(IEC, kinds={**IEC.kinds, "led-lamp": lamps})

    answer = module_answer(load("led-lamp", 600), 230, tables, rated_current_a=10, rated_power_w=None)

    assert answer.verdict == "fits"
    assert module_answer(load("led-lamp", 600), 230, IEC, rated_current_a=10, rated_power_w=None).verdict == "unfit"
    assert any("measured" in line.source for line in answer.lines)


def test_a_misfit_says_the_numbers() -> None:
    answer = module_answer(
        Load(channel="output.1", kind="resistive", name="the towel heater", power_w=2500, is_continuous=True),
        230,
        IEC,
        rated_current_a=10,
        rated_power_w=2300,
    )

    assert answer.verdict == "unfit"
    assert answer.sentence == (
        "the towel heater: 13.59 A counted as continuous against 10 A usable (100 % of 10 A for a resistive load); "
        "at most 1840 W of this kind would fit."
    )


@of(some.sampled_from(LOAD_KINDS), some.floats(min_value=1, max_value=5000), some.booleans())
def test_what_is_said_to_fit_at_most_fits_and_no_more(kind: LoadKind, watts: float, continuous: bool) -> None:
    first = module_answer(load(kind, watts, continuous=continuous), 230, IEC, rated_current_a=16, rated_power_w=3500)
    most = first.values["most_w"]

    just = module_answer(load(kind, most, continuous=continuous), 230, IEC, rated_current_a=16, rated_power_w=3500)
    over = module_answer(
        load(kind, most * 1.01, continuous=continuous), 230, IEC, rated_current_a=16, rated_power_w=3500
    )

    assert (just.verdict, over.verdict) == ("fits", "unfit")
    assert (first.verdict == "fits") == (watts <= most * (1 + 1e-9))


def test_a_strip_on_mains_counts_as_its_supply() -> None:
    strip = Load(channel="output.1", kind="led-strip", strip_w_per_m=14.4, strip_m=20)

    on_mains = module_answer(strip, 230, IEC, rated_current_a=16, rated_power_w=None)
    direct = module_answer(strip, 24, IEC, rated_current_a=16, rated_power_w=None, is_dc=True)

    # 288 W / 0.6 / 230 V = 2.087 A, of which a supply's inrush leaves 16 A x 10 / 100 = 1.6 A; 288 W / 24 V = 12 A
    assert (on_mains.verdict, direct.verdict) == ("unfit", "fits")
    assert "2.087 A against 1.6 A usable (10 % of 16 A for an electronic load)" in on_mains.sentence
    assert direct.values["current_a"] == pytest.approx(12)


@pytest.mark.parametrize("missing", ["rating", "power"])
def test_what_is_not_known_is_undecided(missing: str) -> None:
    rated = None if missing == "rating" else 10.0
    watts = 0.0 if missing == "power" else 100.0

    answer = module_answer(load("resistive", watts), 230, IEC, rated_current_a=rated, rated_power_w=None)

    assert answer.verdict == "undecided"


def test_direct_current_has_a_caution_of_its_own() -> None:
    lamp = load("resistive", 24)

    answer = module_answer(lamp, 24, IEC, rated_current_a=10, rated_power_w=None, is_dc=True)

    assert ARC in answer.cautions
    assert MAKER_FIRST not in answer.cautions


def test_a_contact_is_not_taken_to_break_its_rating_at_a_high_direct_voltage() -> None:
    verdicts = {
        (volts, is_dc): module_answer(
            load("resistive", 100), volts, IEC, rated_current_a=10, rated_power_w=None, is_dc=is_dc
        ).verdict
        for volts in (24, 30, 48, 110)
        for is_dc in (False, True)
    }

    # common practice: full rating up to 30 V of direct current
    assert [verdict for (_, is_dc), verdict in verdicts.items() if is_dc] == ["fits", "fits", "undecided", "undecided"]
    assert {verdict for (_, is_dc), verdict in verdicts.items() if not is_dc} == {"fits"}
    too_much = module_answer(load("resistive", 600), 48, IEC, rated_current_a=10, rated_power_w=None, is_dc=True)
    assert too_much.verdict == "unfit"


def test_a_contact_closes_on_the_first_moment_or_not() -> None:
    borne = inrush_answer("led-lamp", 1.0, 10, IEC)
    welded = inrush_answer("led-lamp", 1.1, 10, IEC)

    assert (borne.verdict, welded.verdict) == ("fits", "unfit")
    assert borne.values["most_a"] == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("kind", "volts", "limits"),
    [
        ("led-strip", 230, (200, None)),  # its supply is what the contact switches
        ("led-strip", 24, (None, None)),
        ("electronic", 230, (200, None)),
        ("motor", 230, (None, 3)),
    ],
)
def test_what_a_data_sheet_states_of_a_load_is_of_what_it_counts_as(
    kind: LoadKind, volts: float, limits: tuple[float | None, float | None]
) -> None:
    sheet = DataSheet(load_w={"electronic": 200}, motor_current_a=3)

    assert stated_limits(sheet, Load(channel="output.1", kind=kind, power_w=100), volts, IEC) == limits
