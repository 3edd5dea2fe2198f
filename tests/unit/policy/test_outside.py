"""What watching the way to the outside comes to in an audit."""

from datetime import UTC, datetime, timedelta
from typing import Any

import pytest

from pattress.model.encounter import Encounter, EncounterKind, Hearing, Verdict
from pattress.model.finding import Finding, Subject
from pattress.model.reading import Reading, Reported, Snapshot
from pattress.model.watching import WatchKind, WatchSource
from pattress.policy.outside import Outlook, coverage_of, device_findings, encounters_words, source_findings

NIGHT = datetime(2026, 3, 2, 3, 10, tzinfo=UTC)
DAY = timedelta(days=1)
HOUR = timedelta(hours=1)
LAMP = Subject(device="mac:1", device_title="lamp", point="hall-lights", room="Hall", kind="k")
MIDNIGHT = NIGHT.replace(hour=0, minute=0)


BOTH: dict[str, Verdict] = {"drop": "dropped", "pass": "let-through"}


def source(kind: WatchKind = "flows", name: str = "router", **more: Any) -> WatchSource:
    return WatchSource(name=name, kind=kind, silent_after_s=3600.0, **more)


def hearings(name: str = "router", *, silent_hours: int = 0, lost: int = 0) -> list[Hearing]:
    """The hours of a day and a night, some of which nothing was heard in."""
    first = (NIGHT - DAY).replace(minute=0)
    return [
        Hearing(source=name, hour=first + number * HOUR, listened_s=3600.0,
                heard=0 if number < silent_hours else 40, lost=lost)
        for number in range(25)
    ]  # fmt: skip


def encounter(kind: EncounterKind = "reached", device: str = "mac:1", remote: str = "203.0.113.9") -> Encounter:
    return Encounter(
        kind=kind, device=device, remote=remote, first_at=MIDNIGHT, last_at=MIDNIGHT, protocol=6, port=443, count=3,
        octets_out=500, octets_in=700, sources=("router",), name="cloud.example",
    )  # fmt: skip


def outlook(*encounters: Encounter, **more: object) -> Outlook:
    values = {"sources": [source()], "hearings": hearings(), **more}
    return Outlook(since=NIGHT - DAY, until=NIGHT, encounters=encounters, **values)  # type: ignore[arg-type]


def judged(seen: Outlook, reading: Reading | None = None, *, is_planned: bool = True) -> dict[str, Finding]:
    found = device_findings(seen, LAMP, ["mac:1", "serial:None"], reading, is_planned=is_planned)
    return {one.rule.id: one for one in found}


def reading(*, is_on: bool) -> Snapshot:
    values = {"cloud.enabled": Reported(value=is_on, origin="settings")}
    return Snapshot(device="mac:1", kind="k", taken_at=NIGHT, duration_s=0.1, values=values)


@pytest.mark.parametrize(
    ("kind", "rule"),
    [
        ("reached", "stays-inside"),
        ("approached", "stays-inside"),
        ("tried", "asks-nothing-outside"),
        ("asked", "asks-nothing-outside"),
    ],
)
def test_an_encounter_breaks_the_rule_that_it_is_about_and_no_other(kind: EncounterKind, rule: str) -> None:
    found = judged(outlook(encounter(kind)))

    assert {one.rule.id: one.outcome for one in found.values()} == {
        "stays-inside": "met",
        **({} if kind == "reached" else {"asks-nothing-outside": "met"}),  # who got outside was not seen to hold back
        rule: "broken",
    }
    assert "203.0.113.9 (cloud.example) on TCP port 443, 3 times, 1200 octets, first at 2026-03-0" in (
        found[rule].found or ""
    )


def test_a_quiet_day_on_which_the_source_was_heard_is_met_and_says_how_well() -> None:
    found = judged(outlook())

    assert [one.outcome for one in found.values()] == ["met", "met"]
    assert found["stays-inside"].found == "nothing was seen; router was heard in 24.0 of 24.0 h"


def test_what_other_devices_did_is_not_this_ones() -> None:
    assert [one.outcome for one in judged(outlook(encounter(device="mac:2"))).values()] == ["met", "met"]


@pytest.mark.parametrize(
    ("heard", "words"),
    [
        (hearings(silent_hours=3), "router was heard in 21.2 of 24.0 h"),
        ([], "router was heard in 0.0 of 24.0 h"),
        (hearings(lost=10), "router was heard in 24.0 of 24.0 h, 250 records lost"),
        ([Hearing(source="router", hour=MIDNIGHT, listened_s=60.0, heard=3)], "router was heard in 0.0 of 24.0 h"),
    ],
)
def test_silence_and_losses_of_the_source_leave_it_unverified(heard: list[Hearing], words: str) -> None:
    seen = outlook(hearings=heard)

    found = judged(seen)

    assert {one.outcome for one in found.values()} == {"unverified"}
    assert found["stays-inside"].reason == words
    assert [one.outcome for one in source_findings(seen)] == ["unverified"]


def test_silence_hides_nothing_that_was_seen() -> None:
    assert judged(outlook(encounter(), hearings=[]))["stays-inside"].outcome == "broken"


def test_one_source_that_was_heard_whole_is_enough_for_what_it_can_see() -> None:
    both = outlook(sources=[source(), source("firewall", "log", verdicts=BOTH)], hearings=hearings("log"))

    assert judged(both)["stays-inside"].outcome == "met"
    assert [one.outcome for one in source_findings(both)] == ["unverified", "met"]


def test_a_log_of_names_alone_proves_nothing_about_traffic() -> None:
    found = judged(outlook(sources=[source("names", "resolver")], hearings=hearings("resolver")))

    assert found["stays-inside"].outcome == "unverified"
    assert (found["stays-inside"].reason or "").startswith("no source tells of what is let through")
    assert found["asks-nothing-outside"].outcome == "met"


@pytest.mark.parametrize(
    ("only", "stays", "asks"),
    [
        (source("firewall", verdicts={"drop": "dropped"}), "unverified", "met"),
        (source("firewall", verdicts={"pass": "let-through"}), "met", "unverified"),
        (source("firewall", verdicts=BOTH), "met", "met"),
        (source("connections"), "met", "unverified"),
        (source("flows", is_after_filter=True), "met", "unverified"),
        (source("flows"), "met", "met"),
    ],
    ids=["drops", "passes", "both", "connections", "after the filter", "before the filter"],
)
def test_a_source_proves_nothing_about_what_it_cannot_show(only: WatchSource, stays: str, asks: str) -> None:
    found = judged(outlook(sources=[only]))

    assert (found["stays-inside"].outcome, found["asks-nothing-outside"].outcome) == (stays, asks)


def test_where_nothing_watches_nothing_is_judged() -> None:
    assert judged(outlook(encounter(), sources=[])) == {}


def test_of_a_device_that_is_not_planned_only_what_is_wrong_is_told() -> None:
    assert judged(outlook(), is_planned=False) == {}
    assert judged(outlook(encounter()), is_planned=False)["stays-inside"].outcome == "broken"


def test_a_cloud_that_is_off_and_calls_does_not_tell_the_truth() -> None:
    for kind in ("tried", "reached"):
        found = judged(outlook(encounter(kind)), reading(is_on=False))  # type: ignore[arg-type]
        assert found["setting-true"].outcome == "broken"
        assert found["setting-true"].setting == "cloud.enabled"
    assert "setting-true" not in judged(outlook(encounter("tried")), reading(is_on=True))
    assert "setting-true" not in judged(outlook(encounter("asked")), reading(is_on=False))
    assert "setting-true" not in judged(outlook(), reading(is_on=False))


def test_a_device_that_is_unlike_before_is_broken() -> None:
    found = judged(outlook(unlike={"mac:1": "it called 30 hosts"}))

    assert found["unlike-before"].outcome == "broken"
    assert found["unlike-before"].found == "it called 30 hosts"
    assert "unlike-before" not in judged(outlook(unlike={"mac:2": "it called 30 hosts"}))


def test_many_places_are_counted_and_the_gravest_come_first() -> None:
    many = [encounter("tried", remote=f"203.0.113.{number}") for number in range(5)]

    words = encounters_words([*many, encounter("reached", remote="198.51.100.1")])

    assert words.startswith("it reached 198.51.100.1")
    assert words.endswith(", and 3 more")


def at(minutes: float) -> datetime:
    return MIDNIGHT + timedelta(minutes=minutes)


def listened(begin: float, end: float, *, gap: float = 0, **more: Any) -> Hearing:
    """Somebody listened between two minutes of the first hour, but for a gap of so many."""
    return Hearing(
        source="router", hour=MIDNIGHT, listened_s=(end - begin - gap) * 60, listened_from=at(begin),
        listened_until=at(end), **{"heard_at": at(end), "heard": 1, **more},
    )  # fmt: skip


def test_the_edges_of_the_window_count_by_the_second() -> None:
    seen = Outlook(
        since=at(30), until=at(90), sources=[source()],
        hearings=[listened(20, 40), Hearing(source="router", hour=MIDNIGHT + HOUR, listened_s=3600.0, heard=1)],
    )  # fmt: skip

    [one] = coverage_of(seen)

    assert (one.quiet_s, one.whole_s) == (1200.0, 3600.0)


@pytest.mark.parametrize(
    ("hearing", "least_s"),
    [
        (listened(20, 40), 600.0),
        (listened(20, 40, gap=4), 360.0),  # the gap may lie in the half that is looked at
        (listened(35, 40), 300.0),
        (listened(5, 25), 0.0),
        (Hearing(source="router", hour=MIDNIGHT, listened_s=3000.0), 1200.0),  # nobody knows where the gap is
        (Hearing(source="router", hour=MIDNIGHT, listened_s=600.0), 0.0),
        (Hearing(source="router", hour=MIDNIGHT, listened_s=0.0), 0.0),
    ],
)
def test_what_was_listened_to_between_two_moments_is_never_overstated(hearing: Hearing, least_s: float) -> None:
    assert hearing.listened_within_s(at(30), at(60)) == least_s


def close(*hearings: Hearing, since: float = 30, until: float = 45, **more: Any) -> Outlook:
    return Outlook(
        since=at(since), until=at(until), is_close=True, hearings=hearings,
        **{"sources": [source("flows")], **more},
    )  # fmt: skip


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        (close(listened(20, 45)), "router was heard in 15.0 of 15.0 min"),
        (close(listened(20, 45, heard=0, heard_at=None), listened(0, 10)), "router was heard in 15.0 of 15.0 min"),
        (close(listened(20, 50, gap=0.08)), "router was heard in 14.9 of 15.0 min"),
    ],
)
def test_a_close_look_is_met_where_somebody_listened_all_the_time(seen: Outlook, words: str) -> None:
    found = judged(seen)

    assert {one.outcome for one in found.values()} == {"met"}
    assert found["stays-inside"].found == f"nothing was seen; {words}"


@pytest.mark.parametrize(
    ("seen", "words"),
    [
        (close(listened(0, 40)), "router was heard in 10.0 of 15.0 min"),
        (close(listened(31, 45)), "router was heard in 14.0 of 15.0 min"),
        (close(listened(20, 50, gap=1)), "router was heard in 14.0 of 15.0 min"),
        (close(listened(20, 45, lost=1)), "router was heard in 15.0 of 15.0 min, 1 records lost"),
        (close(listened(20, 45, heard=0, heard_at=None)), "router was heard in 0.0 of 15.0 min"),
        (
            close(listened(20, 45), sources=[WatchSource(name="router", kind="flows", silent_after_s=60.0)],
                  since=30, until=50),
            "router was heard in 0.0 of 20.0 min",
        ),
        (close(), "router was heard in 0.0 of 15.0 min"),
    ],
)  # fmt: skip
def test_a_close_look_is_not_believed_where_a_minute_is_missing(seen: Outlook, words: str) -> None:
    found = judged(seen)

    assert {one.outcome for one in found.values()} == {"unverified"}
    assert found["stays-inside"].reason == words
