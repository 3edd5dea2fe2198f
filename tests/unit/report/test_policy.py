"""A policy as people see it: one rule in full, all of them in lines, and how much can be judged."""

from dataclasses import replace
from datetime import UTC, datetime

from pattress.model.finding import Finding, Subject
from pattress.model.plan import Plan
from pattress.model.rules import Beyond, Override, Policy, Rule
from pattress.policy.coverage import coverage
from pattress.report.policy import Shown, coverage_text, policy_text, trial_text
from pattress.report.policy_document import policy_document
from pattress.report.text import Style
from unit.policy.examples import KITCHEN, NETWORKS, TWIN, need, policy, rule

WIDE = Style(width=120)
SIGNAL = rule(
    "signal",
    need("net.rssi_dbm", "at_least", -70),
    title="The signal is strong",
    because="Weak ones drop off.",
    fix="Add an access point.",
    cites=("common practice",),
    file="base.toml",
)
TLS = rule("tls", need("mqtt.tls"), title="TLS is on", file="base.toml")
BUILT_IN = rule("device-present", title="The module is there")
CHANGED = Override(rule="signal", file="house.toml", fields=("severity", "require"), reason="Thick walls.")
DROPPED = Override(rule="tls", file="house.toml", reason="No \x1b[31mred.", dropped=TLS)


def mine(*rules: Rule) -> Policy:
    return replace(policy(*rules), overridden=(CHANGED, DROPPED), files=("base.toml", "house.toml"))


def shown(*rules: Rule, dropped: tuple[Override, ...] = (DROPPED,)) -> Shown:
    return Shown(policy=mine(SIGNAL), rules=rules, dropped=dropped)


def test_the_list_has_a_line_for_each_rule_and_marks_what_was_changed_and_dropped() -> None:
    lines = policy_text(shown(SIGNAL, BUILT_IN), WIDE).splitlines()

    assert lines[:2] == ["test: Test", "1 rule (00000000) of base.toml, house.toml"]
    assert lines[3:6] == [
        "* signal          fault   The signal is strong",
        "  device-present  fault   The module is there  (in every audit)",
        "- tls             dropped by house.toml: No <U+001B>[31mred.",
    ]


def test_one_rule_is_told_in_full() -> None:
    assert policy_text(shown(SIGNAL, dropped=()), WIDE).splitlines() == [
        "signal (fault)",
        "The signal is strong",
        "  Applies to: every device",
        "  Requires:   net.rssi_dbm must be at least -70 dBm",
        "  Because:    Weak ones drop off.",
        "  To do:      Add an access point.",
        "  Source:     common practice",
        "  Stands in:  base.toml",
        "  Overridden: severity, require by house.toml: Thick walls.",
    ]


def test_a_dropped_rule_says_by_whom_and_why() -> None:
    text = policy_text(shown(), WIDE)

    assert text.splitlines()[:3] == ["tls (dropped)", "TLS is on", "  Dropped:    by house.toml: No <U+001B>[31mred."]


def test_a_built_in_rule_holds_whatever_the_policy() -> None:
    assert "  Applies to: holds in every audit, whatever the policy" in policy_text(shown(BUILT_IN, dropped=()), WIDE)


def test_the_document_of_a_policy_has_the_rule_in_parts_and_in_words() -> None:
    document = policy_document(shown(SIGNAL))

    [one] = document["rules"]
    assert one["requirements"] == [
        {
            "setting": "net.rssi_dbm",
            "comparison": "at_least",
            "operand_from": "rule",
            "operand": -70,
            "field": None,
            "where_silent": None,
            "within_pct": None,
            "words": "net.rssi_dbm must be at least -70 dBm",
        }
    ]
    assert one["overridden"] == [{"file": "house.toml", "fields": ["severity", "require"], "reason": "Thick walls."}]
    assert [(gone["rule"]["id"], gone["file"]) for gone in document["dropped"]] == [("tls", "house.toml")]


def test_coverage_tells_gaps_nearest_names_idle_rules_and_provisions() -> None:
    beyond = (Beyond(provision="Some Standard provision 7 (M)", why="It asks for a paper."),)
    rules = (
        rule("cloud", need("cloud.enabled"), cites=("Some Standard provision 1 (R)",)),
        rule("link", need("cloud.connected", "equal", False)),
        rule("zone", need("time.zone", "present")),
    )

    text = coverage_text(
        "The Mill", coverage(replace(policy(*rules), beyond=beyond), NETWORKS, Plan(points=(KITCHEN,)), [TWIN]), WIDE
    )

    lines = text.splitlines()
    assert lines[0] == "The Mill: 3 rules of test at 1 point"
    assert lines[3] == "  cloud  fault     1 point          0  twin"
    assert lines[4] == "  link   fault     0 points         1"
    assert "  link, cloud.connected at 1 point: twin does not report it" in lines
    assert "  cloud.connected (link); most like it: cloud.enabled" in lines
    assert lines[lines.index("RULES THAT APPLY TO NOTHING HERE") + 1] == "  zone"
    assert "  Some Standard 1: cloud" in lines
    assert lines[-1] == "  Some Standard 7: It asks for a paper."


def test_a_trial_says_how_old_its_settings_are_and_what_was_never_read() -> None:
    first, last = datetime(2026, 11, 24, 12, tzinfo=UTC), datetime(2026, 11, 25, 12, tzinfo=UTC)
    findings = [Finding(SIGNAL, Subject(point="hall", room="Hall"), "net.rssi_dbm", "broken", "at least -70 dBm", -80)]

    text = trial_text("The Mill", mine(SIGNAL), findings, {"hall": last, "attic": first, "cellar": None}, WIDE)

    lines = text.splitlines()
    assert lines[0] == "The Mill: test tried; no device was asked"
    assert lines[1] == (
        f"1 rule (00000000), settings of {first.astimezone():%Y-%m-%d %H:%M} to {last.astimezone():%Y-%m-%d %H:%M}, "
        "1 point never read"
    )
    assert "BROKEN: 1" in lines
    assert lines[-1] == "MET: 0 of 1 checks"


def test_a_trial_without_any_reading_says_so() -> None:
    assert trial_text("The Mill", mine(SIGNAL), [], {"hall": None}, WIDE).splitlines()[1] == (
        "1 rule (00000000), no settings, 1 point never read"
    )
