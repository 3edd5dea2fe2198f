"""Drift: what has changed since a reading was signed off."""

from datetime import UTC, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.finding import Subject
from pattress.model.kept import SignOff
from pattress.model.reading import Unreadable
from pattress.model.vocabulary import definition_of
from pattress.policy.drift import drift, settings_of
from unit.policy.examples import MAC, NOON, snapshot

SUBJECT = Subject(device=f"mac:{MAC}", point="kitchen-lamps", room="Kitchen")
AGREED = {"cloud.enabled": False, "input.1.action": "reports", "mqtt.port": 1883, "mac": MAC}
SIGNATURE = f"as signed off on {NOON.astimezone():%Y-%m-%d} by A. Fitter"


def signed(values: dict[str, Any]) -> SignOff:
    return SignOff(device=f"mac:{MAC}", point="kitchen-lamps", at=NOON, who="A. Fitter", why="fitted", values=values)


def told(values: dict[str, Any], errors: dict[str, str] | None = None) -> list[tuple[str | None, str, str]]:
    findings = drift(signed(AGREED), snapshot(values, errors), SUBJECT)
    return [(one.setting, one.outcome, one.sentence) for one in findings]


def test_nothing_changed_is_one_finding_that_is_met() -> None:
    [(setting, outcome, sentence)] = told(AGREED)

    assert (setting, outcome) == (None, "met")
    assert sentence == f"Everything is set as it was signed off: 4 settings are {SIGNATURE}."


def test_a_changed_setting_is_shown_as_then_and_now() -> None:
    assert told({**AGREED, "input.1.action": "copies"}) == [
        (
            "input.1.action",
            "broken",
            f'input.1.action: "reports" \N{RIGHTWARDS ARROW} "copies", but must be "reports", {SIGNATURE}.',
        )
    ]


def test_a_setting_that_could_not_be_read_is_unverified_and_not_drift() -> None:
    values = {name: value for name, value in AGREED.items() if name != "mqtt.port"}

    with_error = told(values, {"mqtt.port": 'found text "1883", expected a whole number'})
    without = told(values)

    assert [one[:2] for one in with_error] == [("mqtt.port", "unverified")]
    assert 'found text "1883"' in with_error[0][2]
    assert "the device does not report it any more" in without[0][2]


def test_a_setting_that_was_not_there_at_sign_off_is_drift() -> None:
    assert told({**AGREED, "access.remote_debug": True}) == [
        (
            "access.remote_debug",
            "broken",
            f"access.remote_debug is true, but must be not reported, {SIGNATURE}.",
        )
    ]


@pytest.mark.parametrize("name", ["net.rssi_dbm", "output.1.on", "health.uptime_s", "net.address", "cloud.connected"])
def test_what_changes_by_nature_never_drifts(name: str) -> None:
    definition = definition_of(name)
    assert definition is not None
    value: Any = {"number": -60, "boolean": True, "text": "192.0.2.9"}[definition.type]

    assert [one[1] for one in told({**AGREED, name: value})] == ["met"]


@pytest.mark.parametrize(("then", "now", "drifts"), [(30, 30.0, False), (1, True, True), (0, False, True)])
def test_one_number_in_two_writings_is_no_drift_but_a_truth_value_is_no_number(
    then: Any, now: Any, drifts: bool
) -> None:
    findings = list(drift(signed({"output.1.off_after_s": then}), snapshot({"output.1.off_after_s": now}), SUBJECT))

    assert (findings[0].outcome == "broken") is drifts


def test_a_device_that_was_not_read_is_unverified() -> None:
    unread = Unreadable(device=f"mac:{MAC}", kind="twin", taken_at=datetime.now(UTC), reason="no answer")

    [finding] = drift(signed(AGREED), unread, SUBJECT)

    assert (finding.outcome, finding.reason) == ("unverified", "no answer")


@given(st.dictionaries(st.sampled_from(["cloud.enabled", "mqtt.tls", "net.rssi_dbm"]), st.just(False)))
def test_a_reading_never_drifts_from_itself(values: dict[str, Any]) -> None:
    reading = snapshot(values)

    findings = list(drift(signed(settings_of(reading)), reading, SUBJECT))

    assert [finding.outcome for finding in findings] == ["met"]
