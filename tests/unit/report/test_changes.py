"""What has changed from one audit to a later one."""

from pattress.model.finding import Finding, Outcome, Subject
from pattress.model.rules import Rule
from pattress.report.changes import changes, key_of

RULE = Rule(id="cloud-off", title="t", severity="danger", because="b", fix="f")


def finding(outcome: Outcome, point: str = "hall") -> Finding:
    return Finding(RULE, Subject(point=point), "cloud.enabled", outcome, "false", outcome != "met", "r")


def test_what_was_found_before_is_unchanged() -> None:
    found = changes([finding("broken")], {key_of(finding("broken")): "broken"})

    assert (found.new, found.over, found.unchanged) == ((), (), 1)


def test_what_was_not_found_before_is_new() -> None:
    assert changes([finding("broken")], {}).new == (finding("broken"),)


def test_another_outcome_is_new() -> None:
    found = changes([finding("unverified")], {key_of(finding("broken")): "broken"})

    assert [one.outcome for one in found.new] == ["unverified"]
    assert found.over == ()


def test_what_is_met_again_or_not_looked_at_any_more_is_over() -> None:
    earlier: dict[tuple[str, str, str, str], Outcome] = {
        key_of(finding("broken")): "broken",
        key_of(finding("broken", "attic")): "unverified",
    }

    found = changes([finding("met")], earlier)

    assert [(key[0], outcome) for key, outcome in found.over] == [("attic", "unverified"), ("hall", "broken")]
    assert (found.new, found.unchanged) == ((), 0)
