"""A right waivers file, piece by piece."""

from datetime import date, timedelta
from pathlib import Path

import pytest

from pattress.model.rules import Waiver
from pattress.site.files import parse_toml, read_toml
from pattress.site.names import UNKNOWN, Known
from pattress.site.waivers_file import Waivable, waivers_of

TODAY = date(2026, 11, 25)
ANYTHING = Waivable(rules=UNKNOWN, severities={}, points=UNKNOWN)


def test_a_right_file_becomes_the_waivers_it_says(house: Path) -> None:
    file = read_toml(house / "waivers.toml", "waivers.toml")
    waivable = Waivable(
        rules=Known(names=frozenset({"over-temperature", "duplicate-identity"})),
        severities={"over-temperature": "danger"},
        points=Known(names=frozenset({"hall-lights"})),
    )

    waivers = waivers_of(file, waivable, today=TODAY)

    assert file.faults == []
    assert waivers == (
        Waiver(
            rule="over-temperature",
            reason="Its successor is ordered.",
            who="R. Fitter",
            until=date(2027, 3, 1),
            point="hall-lights",
            safe_because="The circuit feeds one lamp of 5 W.",
        ),
        Waiver(
            rule="duplicate-identity",
            reason="Two modules of one batch.",
            who="R. Fitter",
            until=date(2026, 12, 24),
            device="02:00:5e:00:53:02",
        ),
    )


@pytest.mark.parametrize(("days", "fault_count"), [(-400, 0), (0, 0), (366, 0), (367, 1)])
def test_a_waiver_may_have_ended_but_lasts_no_longer_than_a_year(days: int, fault_count: int) -> None:
    until = (TODAY + timedelta(days=days)).isoformat()
    text = f'[[waiver]]\nrule = "r"\npoint = "p"\nreason = "x"\nwho = "y"\nuntil = {until}\n'
    file = parse_toml(text.encode(), "waivers.toml")

    waivers_of(file, ANYTHING, today=TODAY)

    assert len(file.faults) == fault_count


def test_twelve_digits_without_a_separator_may_be_a_serial_and_stay_as_they_are() -> None:
    text = '[[waiver]]\nrule = "r"\ndevice = "02005E005301"\nreason = "x"\nwho = "y"\nuntil = 2027-01-01\n'
    file = parse_toml(text.encode(), "waivers.toml")

    waivers = waivers_of(file, ANYTHING, today=TODAY)

    assert [waiver.device for waiver in waivers] == ["02005E005301"]


def test_a_built_in_rule_of_danger_needs_a_reason_why_it_is_safe() -> None:
    text = '[[waiver]]\nrule = "outside"\npoint = "p"\nreason = "x"\nwho = "y"\nuntil = 2027-01-01\n'
    file = parse_toml(text.encode(), "waivers.toml")

    waivers_of(file, Waivable(rules=UNKNOWN, severities={"outside": "danger"}, points=UNKNOWN), today=TODAY)

    assert [fault.place for fault in file.faults] == ["waiver 1, safe_because"]
