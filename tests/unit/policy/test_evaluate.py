"""Outcomes: what was not read is never met."""

from hypothesis import given
from hypothesis import strategies as st

from pattress.model.finding import Subject
from pattress.model.reading import Unreadable
from pattress.policy.compiled import Check, CompiledPolicy
from pattress.policy.evaluate import evaluate
from unit.policy.examples import KITCHEN, MAC, NETWORKS, NOON, TWIN, need, policy, rule, snapshot

SUBJECT = Subject(device=f"mac:{MAC}", point="kitchen-lamps", room="Kitchen")
RULES = (
    rule("cloud-off", need("cloud.enabled", "equal", False)),
    rule("power-up", need("output.*.at_power_up", is_planned=True)),
    rule("actions", need("input.*.action", is_planned=True)),
    rule("no-zone", need("mqtt.tls", "absent")),
)


def checks() -> tuple[Check, ...]:
    return CompiledPolicy(policy(*RULES), NETWORKS).checks(TWIN, KITCHEN)


def test_each_check_has_one_finding_and_the_outcome_that_it_deserves() -> None:
    reading = snapshot(
        {"cloud.enabled": True, "output.1.at_power_up": "off"},
        errors={"output.2.at_power_up": "found 7, expected text"},
    )

    findings = evaluate(checks(), SUBJECT, reading)

    assert [(one.setting, one.outcome, one.found, one.reason) for one in findings] == [
        ("cloud.enabled", "broken", "true", None),
        ("output.1.at_power_up", "met", '"off"', None),
        ("output.2.at_power_up", "unverified", None, "found 7, expected text"),
        ("input.1.action", "unverified", None, "the plan of kitchen-lamps does not say it"),
        ("input.2.action", "unverified", None, "the plan of kitchen-lamps does not say it"),
        ("mqtt.tls", "met", "not there", None),
    ]


def test_a_finding_explains_itself_in_one_sentence() -> None:
    [broken, *_] = evaluate(checks(), SUBJECT, snapshot({"cloud.enabled": True}))

    assert broken.sentence == "cloud.enabled is true, but must be false."
    assert broken.origin == "GET /, cloud.enabled"


def test_what_the_device_does_not_report_is_unverified() -> None:
    findings = evaluate(checks(), SUBJECT, snapshot({}))

    assert findings[0].outcome == "unverified"
    assert findings[0].reason == "the device does not report it"


def test_a_setting_that_must_be_absent_and_could_not_be_read_is_unverified() -> None:
    reading = snapshot({}, errors={"mqtt.tls": "the document could not be fetched"})

    assert evaluate(checks(), SUBJECT, reading)[-1].outcome == "unverified"


def test_a_verdict_that_cannot_tell_is_unverified() -> None:
    compiled = CompiledPolicy(
        policy(rule("firmware", need("firmware.version", "version_at_least", is_planned=True))), NETWORKS
    )

    [finding] = evaluate(compiled.checks(TWIN, KITCHEN), SUBJECT, snapshot({"firmware.version": "newest"}))

    assert finding.outcome == "unverified"
    assert finding.reason == '"newest" is no version that can be ordered'


@given(st.text(min_size=1))
def test_an_unreadable_device_is_unverified_in_every_check_and_never_met(reason: str) -> None:
    reading = Unreadable(device=f"mac:{MAC}", kind="twin", taken_at=NOON, reason=reason)

    findings = evaluate(checks(), SUBJECT, reading)

    assert len(findings) == len(checks())
    assert {(one.outcome, one.reason) for one in findings} == {("unverified", reason)}
