"""The audit as OpenMetrics text."""

from datetime import timedelta

from pattress.identity import merge
from pattress.model.device import Sighting
from pattress.model.plan import Plan, Point
from pattress.model.reading import Snapshot
from pattress.report.openmetrics import PointState, point_states
from unit.report.examples import ENDED_AT, FINDINGS, STARTED_AT, result, whole

MAC = "02:00:5e:00:53:01"
HALL = Point(name="hall-lights", room="Hall", kind="k", mac=MAC)


def lines() -> list[str]:
    return whole(result(FINDINGS), "metrics").splitlines()


def states(*sightings: Sighting, point: Point = HALL, snapshot: Snapshot | None = None) -> PointState:
    readings = {f"mac:{MAC}": snapshot} if snapshot is not None else {}
    [state] = point_states(Plan(points=(point,)), merge(sightings), readings)
    return state


def test_findings_are_counted_by_outcome_and_severity_and_none_is_left_out() -> None:
    found = [line for line in lines() if line.startswith("pattress_findings{")]

    assert len(found) == 4 * 3
    assert 'pattress_findings{site="Larkspur Mill",outcome="broken",severity="danger"} 1' in found
    assert 'pattress_findings{site="Larkspur Mill",outcome="broken",severity="fault"} 0' in found


def test_a_point_says_whether_its_module_is_there_and_when_it_last_was() -> None:
    labels = 'site="Larkspur Mill",room="Attic",point="attic-fan",kind="k"'

    assert f"pattress_point_present{{{labels}}} 0" in lines()
    seen_at = (STARTED_AT - timedelta(days=2)).timestamp()
    assert f"pattress_point_seen_timestamp_seconds{{{labels}}} {seen_at}" in lines()
    assert not [line for line in lines() if line.startswith("pattress_point_read") and "attic-fan" in line]


def test_the_run_says_when_it_was_and_how_long_it_took() -> None:
    assert 'pattress_audit_duration_seconds{site="Larkspur Mill"} 4.25' in lines()
    assert f'pattress_audit_ended_timestamp_seconds{{site="Larkspur Mill"}} {ENDED_AT.timestamp()}' in lines()


def test_a_silent_source_is_not_heard() -> None:
    assert 'pattress_source_heard{site="Larkspur Mill",source="mDNS on iot0"} 0' in lines()
    assert 'pattress_source_heard{site="Larkspur Mill",source="broker house"} 1' in lines()


def test_it_ends_with_the_mark_of_the_end() -> None:
    assert lines()[-1] == "# EOF"


def test_a_module_that_is_announced_now_is_present() -> None:
    state = states(Sighting(source="mdns", seen_at=STARTED_AT, mac=MAC))

    assert (state.is_present, state.seen_at, state.read_at) == (True, STARTED_AT, None)


def test_a_module_that_is_only_remembered_is_absent_but_has_the_moment_of_the_memory() -> None:
    state = states(Sighting(source="kept", seen_at=STARTED_AT, mac=MAC), Sighting(
        source="point", seen_at=ENDED_AT, mac=MAC))  # fmt: skip

    assert (state.is_present, state.seen_at) == (False, STARTED_AT)


def test_a_retained_message_proves_neither_presence_nor_moment() -> None:
    state = states(Sighting(source="mqtt", seen_at=STARTED_AT, mac=MAC, is_dated=False))

    assert (state.is_present, state.seen_at) == (False, None)


def test_a_module_that_was_read_is_present_though_nothing_announced_it() -> None:
    known = Sighting(source="kept", seen_at=STARTED_AT - timedelta(days=1), mac=MAC)

    state = states(known, snapshot=Snapshot(device=f"mac:{MAC}", kind="k", taken_at=ENDED_AT, duration_s=1, values={}))

    assert (state.is_present, state.seen_at, state.read_at) == (True, ENDED_AT, ENDED_AT)


def test_a_point_that_no_module_is_bound_to_is_absent() -> None:
    state = states(point=Point(name="new", room="Hall", kind="k"))

    assert (state.is_present, state.seen_at, state.read_at) == (False, None, None)
