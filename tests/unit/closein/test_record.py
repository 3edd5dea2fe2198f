"""A certificate is of the right check, with what was signed off with it, and can be made again from the database."""

from dataclasses import replace
from datetime import timedelta
from ipaddress import ip_network
from pathlib import Path

import pytest

from pattress.closein.record import certificate_record, planned_of
from pattress.model.errors import UsageError
from pattress.model.plan import Plan
from pattress.model.profile import Profile
from pattress.model.rules import Policy
from pattress.model.site import Networks, Site
from pattress.report.certificate import certificate_html
from pattress.report.certificate_document import certificate_document
from pattress.report.label import label_html, label_svg
from pattress.report.planned import planned_steps
from pattress.store.backup import back_up
from pattress.store.store import Store
from unit.report.certificates import AGREED, BEGAN_AT, IN_ORDER, MAC, PLANNED, POINT, STEPS, step

PROFILE = Profile(
    id=POINT.kind, maker="Ouseltide", model="Pair", module_class="dual-relay", channels={"input": 2, "output": 2}
)
NETWORKS = (ip_network("192.0.2.0/24"),)
SITE = Site(
    name="Larkspur Mill", folder=Path(), networks=Networks(devices=NETWORKS, inside=NETWORKS),
    plan=Plan(points=(POINT,)), policy=Policy(id="p", title="P", rules=(), digest="0" * 64), profiles=(PROFILE,),
    page_url="http://pattress.home.arpa",
)  # fmt: skip


async def keep_check(store: Store, *, hours: int = 0, broken: str | None = None, is_signed_off: bool = True) -> int:
    """Keep a check that began so many hours later, as the runner keeps it."""
    later = timedelta(hours=hours)
    number = await store.begin_close_in("hall-lights", "A. Fitter", BEGAN_AT + later, planned=PLANNED)
    await store.close_in_device(number, f"mac:{MAC}")
    for at, name in enumerate(STEPS):
        one = step(name, "broken" if name == broken else "met", minute=2 * at)
        samples = tuple(replace(read, at=read.at + later) for read in one.samples)
        await store.keep_step(
            number, replace(one, began_at=one.began_at + later, ended_at=one.ended_at + later, samples=samples)
        )
    if is_signed_off:
        await store.sign_off([replace(AGREED, at=AGREED.at + later, why=f"close-in check {number}")])
        await store.end_close_in(number, BEGAN_AT + later + timedelta(minutes=31), is_signed_off=True)
    return number


async def everything_of(path: Path, number: int | None = None) -> tuple[str, str, str, str]:
    async with Store.open(path, read_only=True) as store:
        record = await certificate_record(SITE, store, "hall-lights", number)
    return certificate_html(record), label_svg(record), label_html(record), str(certificate_document(record))


async def test_the_same_record_gives_the_same_bytes_also_after_going_back_to_a_backup(tmp_path: Path) -> None:
    path, copy = tmp_path / "house.db", tmp_path / "copy.db"
    async with Store.open(path) as store:
        number = await keep_check(store)

    first = await everything_of(path)
    again = await everything_of(path)
    back_up(path, copy)
    of_copy = await everything_of(copy)
    path.unlink()
    copy.rename(path)
    async with Store.open(path) as store:  # gone on with, and rewritten
        await store.begin_close_in("attic-fan", "B. Fitter", BEGAN_AT + timedelta(days=1))
        await store.compact(BEGAN_AT + timedelta(days=1))
    gone_on_with = await everything_of(path, number)

    assert first == again == of_copy == gone_on_with
    assert "In order" in first[0]


async def test_what_comes_from_the_database_is_what_was_kept(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep_check(store)

        record = await certificate_record(SITE, store, "hall-lights", None)

    assert record.verdict == "in-order"
    assert record.agreed is not None
    assert record.agreed.values == AGREED.values
    assert [one.facts for one in record.check.results] == [one.facts for one in IN_ORDER.check.results]
    assert next(one for one in record.check.results if one.step == "heat").samples == step("heat").samples
    assert record.is_plan_of_then


async def test_it_is_the_newest_that_was_signed_off_and_a_newer_one_is_told(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        first = await keep_check(store)
        second = await keep_check(store, hours=24)
        third = await keep_check(store, hours=48, broken="heat", is_signed_off=False)

        newest = await certificate_record(SITE, store, "hall-lights", None)
        older = await certificate_record(SITE, store, "hall-lights", first)
        unfinished = await certificate_record(SITE, store, "hall-lights", third)

    assert (newest.check.id, older.check.id, unfinished.check.id) == (second, first, third)
    assert [one.newer and one.newer.id for one in (newest, older, unfinished)] == [third, third, None]
    assert newest.agreed is not None
    assert older.agreed is not None
    assert (older.agreed.why, newest.agreed.why) == ("close-in check 1", "close-in check 2")
    assert (unfinished.verdict, unfinished.agreed) == ("unfinished", None)


async def test_a_sign_off_of_another_time_or_device_is_not_taken_for_that_of_the_check(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        number = await store.begin_close_in("hall-lights", "A. Fitter", BEGAN_AT, f"mac:{MAC}", planned=PLANNED)
        await store.sign_off(
            [
                replace(AGREED, at=BEGAN_AT - timedelta(days=1)),
                replace(AGREED, device="serial:S2"),
                replace(AGREED, at=BEGAN_AT + timedelta(days=1)),
            ]
        )
        await store.end_close_in(number, BEGAN_AT + timedelta(minutes=31), is_signed_off=True)

        record = await certificate_record(SITE, store, "hall-lights", None)

    assert (record.agreed, record.verdict) == (None, "with-gaps")


async def test_what_is_not_there_is_said_with_a_way_out(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        with pytest.raises(UsageError, match=r"no such point.*Did you mean hall-lights"):
            await certificate_record(SITE, store, "hall-light", None)
        with pytest.raises(UsageError, match=r"ever begun.*pattress close-in hall-lights"):
            await certificate_record(SITE, store, "hall-lights", None)
        number = await keep_check(store, is_signed_off=False)
        with pytest.raises(UsageError, match=rf"was signed off.*--check {number}"):
            await certificate_record(SITE, store, "hall-lights", None)
        with pytest.raises(UsageError, match=rf"no check 7 of it.*Its checks are: {number}"):
            await certificate_record(SITE, store, "hall-lights", 7)


async def test_a_point_that_left_the_plan_keeps_its_certificate(tmp_path: Path) -> None:
    async with Store.open(tmp_path / "house.db") as store:
        await keep_check(store)

        record = await certificate_record(replace(SITE, plan=Plan()), store, "hall-lights", None)

    assert (record.verdict, record.plan["room"]) == ("in-order", "Hall")


def test_what_is_to_be_kept_of_the_plan_holds_the_steps_of_the_check() -> None:
    planned = planned_of(SITE, POINT)

    assert list(planned_steps(planned)) == list(STEPS)
    assert (planned["maker"], planned["circuit.voltage_v"]) == ("Ouseltide", 230.0)
