"""The audit as text for people."""

from dataclasses import replace
from datetime import UTC, date, datetime

from pattress.model.finding import Finding, Subject
from pattress.model.rules import Override, Rule, Waiver
from pattress.report.places import MAX_PLACES
from pattress.report.text import Heading, Style, audit_text

CLOUD = Rule(
    id="cloud-off", title="Cloud is off", severity="danger", because="Because.", fix="Turn it off.", cites=("X 1",)
)
SIGNAL = Rule(id="signal", title="Signal", severity="advice", because="Weak.", fix="Move it.")
HALL = Subject(device="mac:1", device_title="Relay", point="hall-lights", room="Hall", kind="k")
ATTIC = Subject(device="mac:2", device_title="Relay", point="attic-fan", room="Attic", kind="k")
STRANGER = Subject(device="mac:3", device_title="Thing \x1b[31m", kind="k")
OVERRIDDEN = (
    Override(rule="signal", file="house.toml", fields=("severity", "require"), reason="thick walls"),
    Override(rule="cloud-off", file="house.toml", reason="nothing of the kind here", dropped=CLOUD),
)
HEADING = Heading(
    site="House",
    run=7,
    started_at=datetime(2026, 11, 25, 3, 10, tzinfo=UTC),
    duration_s=4.25,
    policy="test",
    policy_digest="0123456789abcdef",
    points=2,
    devices=3,
)


def text(*findings: Finding, style: Style | None = None) -> str:
    return audit_text(HEADING, findings, style or Style())


def broken(subject: Subject = HALL, rule: Rule = CLOUD) -> Finding:
    return Finding(rule, subject, "cloud.enabled", "broken", "false", True)


def gap(setting: str, reason: str = "no answer") -> Finding:
    return Finding(CLOUD, ATTIC, setting, "unverified", "false", remark=reason)


WAIVER = Waiver(rule="signal", reason="ok", who="me", until=date(2027, 1, 1), point="hall-lights")
MET = Finding(CLOUD, HALL, "cloud.enabled", "met", "false", False)


def test_broken_comes_first_then_what_could_not_be_checked_then_the_count_of_what_is_met() -> None:
    waived = Finding(SIGNAL, HALL, "s", "waived", "x", 1, waiver=WAIVER)

    shown = text(MET, waived, gap("a"), broken())

    places = [
        shown.index(word) for word in ("BROKEN: 1", "COULD NOT BE CHECKED: 1", "ACCEPTED: 1", "MET: 1 of 4 checks")
    ]
    assert places == sorted(places)


def test_what_a_file_overrode_of_the_policy_is_said_at_the_end() -> None:
    text = audit_text(replace(HEADING, overridden=OVERRIDDEN), [MET], Style())

    assert text.split("\n\n")[-1].splitlines() == [
        "OVERRIDDEN: 2 rules of the policy",
        "  signal: severity, require changed by house.toml: thick walls",
        "  cloud-off: dropped by house.toml: nothing of the kind here",
    ]
    assert "OVERRIDDEN" not in audit_text(HEADING, [MET], Style())


def test_an_audit_that_is_not_kept_has_no_number() -> None:
    text = audit_text(replace(HEADING, run=0), [MET], Style())

    assert text.splitlines()[0].startswith("House: audit that is not kept of 2026-")


def test_findings_stand_under_their_room_and_point() -> None:
    lines = text(broken(), broken(ATTIC)).splitlines()

    attic, hall = lines.index("  Attic"), lines.index("  Hall")
    assert attic < hall
    assert lines[hall + 1] == "    hall-lights"
    assert lines[hall + 2] == "      danger: cloud.enabled is true, but must be false."


def test_a_rule_is_explained_once_however_often_it_is_broken() -> None:
    shown = text(broken(), broken(ATTIC))

    assert shown.count("Because. [X 1]") == 1
    assert shown.count("To do: Turn it off.") == 1


def test_many_checks_that_fail_for_one_reason_are_one_line() -> None:
    shown = text(*(gap(name) for name in ("a", "b", "c", "d", "e")))

    assert "      no answer: a, b, c and 2 more" in shown.splitlines()


def test_an_audit_in_which_all_is_met_says_only_that() -> None:
    shown = text(MET)

    assert shown.splitlines()[2:] == ["", "MET: 1 of 1 checks"]


def test_no_control_character_of_a_device_reaches_the_terminal() -> None:
    shown = text(broken(STRANGER))

    assert "\x1b" not in shown
    assert "Thing <U+001B>[31m" in shown


def test_colour_is_used_only_where_it_may_be() -> None:
    assert "\x1b[1;31mBROKEN: 1\x1b[0m" in text(broken(), style=Style(has_colour=True))
    assert "\x1b" not in text(broken())


def test_a_flood_of_strangers_does_not_bury_the_report() -> None:
    strangers = [broken(Subject(device=f"name:{number}", device_title=f"fake {number:04}")) for number in range(1_000)]

    lines = text(*strangers, broken()).splitlines()

    assert f"    and {1_000 - MAX_PLACES} more, all of them in the report as JSON" in lines
    assert "BROKEN: 1001" in lines
    assert len(lines) < 2 * MAX_PLACES + 30


def test_lines_keep_to_the_width() -> None:
    long = Finding(CLOUD, HALL, "mqtt.host", "broken", "an address in 192.0.2.0/24 " * 8, "broker.example.net")

    assert max(len(line) for line in text(long, style=Style(width=60)).splitlines()) <= 60
