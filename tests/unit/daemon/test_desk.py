"""What comes of the time that somebody listened."""

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network
from pathlib import Path

import pytest

from pattress.daemon import desk as desk_module
from pattress.daemon.desk import LONGEST_STEP_S, Desk, added_up
from pattress.daemon.finder import Finder
from pattress.model.encounter import Hearing, Traffic
from pattress.model.site import Networks
from pattress.model.watching import Watching, WatchSource
from unit.audit.test_run import empty_site

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
STEP = timedelta(seconds=2)


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    network = (ip_network("10.20.0.0/24"),)
    sources = WatchSource(name="router", kind="flows"), WatchSource(name="resolver", kind="names")
    site = replace(
        empty_site(tmp_path),
        networks=Networks(devices=network, inside=network),
        watching=Watching(sources=sources),
    )
    return Desk(site, Finder(site, lambda: NOON).planned())


def taken(desk: Desk, *moments: datetime) -> dict[str, Hearing]:
    """What takings at these moments add up to, by source, where it is one hour."""
    first, *others = [desk.take(at) for at in moments]
    for one in others:
        first = added_up(first, one)
    return {one.source: one for one in first.hearings}


def test_an_hour_says_between_which_moments_it_was_listened_to_and_when_something_came(desk: Desk) -> None:
    desk.take(NOON)
    desk.tallies.of("router").heard += 3

    heard = taken(desk, NOON + STEP, NOON + 2 * STEP)

    moments = {"listened_from": NOON, "listened_until": NOON + 2 * STEP}
    assert heard["router"] == Hearing(
        source="router", hour=NOON, listened_s=4.0, heard=3, heard_at=NOON + STEP, **moments
    )
    assert heard["resolver"] == Hearing(source="resolver", hour=NOON, listened_s=4.0, **moments)


def test_a_source_that_something_troubles_is_not_listened_to(desk: Desk) -> None:
    desk.take(NOON)
    desk.tallies.of("router").trouble = "the port is taken"

    heard = taken(desk, NOON + STEP, NOON + 2 * STEP)

    assert (heard["router"].listened_s, heard["router"].listened_until) == (0.0, None)
    assert heard["resolver"].listened_s == 4.0


@pytest.mark.parametrize("jump_s", [LONGEST_STEP_S + 1, -5.0])
def test_while_the_machine_slept_or_its_clock_jumped_nobody_listened(desk: Desk, jump_s: float) -> None:
    desk.take(NOON)
    jumped_to = NOON + timedelta(seconds=jump_s)

    heard = taken(desk, jumped_to, jumped_to + STEP)

    assert heard["router"].listened_s == 2.0
    if jump_s > 0:
        assert (heard["router"].listened_from, heard["router"].listened_until) == (jumped_to, jumped_to + STEP)


def test_what_is_above_the_bound_of_alerts_is_in_the_message_of_the_day(
    desk: Desk, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(desk_module, "MAX_ALERTS", 1)
    for remote in ("192.88.99.1", "192.31.196.1"):  # neither of which is special to the registries
        desk.evidence(
            Traffic(
                source="router", at=NOON, sender=ip_address("10.20.0.7"), receiver=ip_address(remote),
                verdict="let-through",
            )
        )  # fmt: skip

    alerts = desk.take(NOON).alerts

    assert [one.told.place for one in alerts] == ["192.88.99.0/24"]
    assert [one.place for one in desk.book.daily(NOON)] == ["192.31.196.0/24"]
