"""Two devices that claim one identity: a conflict in every source, never a merge, and nothing is kept of either."""

import ipaddress
from collections.abc import AsyncIterator, Iterator
from contextlib import asynccontextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from aiohttp import web

from pattress.audit.run import Audit, run_audit
from pattress.audit.session import Gathered, open_session
from pattress.model.device import Sighting, SightingSource
from pattress.model.plan import Plan, Point
from pattress.model.profile import MqttRecognition, Profile
from pattress.model.rules import Policy, Requirement, Rule
from pattress.model.site import Broker, Discovery, Limits, Networks, Site
from pattress.store.store import Store
from peers.mosquitto import Mosquitto, module, mosquitto
from raw_server import LOOPBACK
from unit.reading.stand import FACTS, MAC, NOON, OPEN_FACTS, profile, serving

SECOND = "127.0.0.2"
RUNS = Rule(
    id="runs",
    title="Firmware",
    severity="fault",
    because="because",
    fix="fix",
    requirements=(Requirement(setting="firmware.version", comparison="equal", operand="1.4.0"),),
)
HALL = Point(name="hall", room="Hall", kind="tern-d2", mac=MAC)


def kind(**more: object) -> Profile:
    return profile(OPEN_FACTS, **more)


def site(*points: Point, **more: object) -> Site:
    loopback = (ipaddress.ip_network("127.0.0.0/8"),)
    whole: dict[str, object] = {
        "name": "Mill",
        "folder": Path(),
        "networks": Networks(devices=loopback, inside=loopback),
        "plan": Plan(points=points),
        "policy": Policy(id="test", title="Test", rules=(RUNS,), digest="0" * 64),
        "profiles": (kind(),),
        "limits": Limits(listen_s=0.3, answer_s=2.0, device_s=5.0),
        "uses_mdns": False,
        "discovery": Discovery(neighbours=False),
    }
    return Site(**(whole | more))  # type: ignore[arg-type]


def sighting(name: str | None, address: str, port: int | None, **more: object) -> Sighting:
    whole: dict[str, object] = {"source": "mdns", "seen_at": NOON, "mac": MAC, "kind": "tern-d2"}
    return Sighting(name=name, address=address, port=port, **(whole | more))  # type: ignore[arg-type]


class Twin:
    """A device that says it is `MAC`, and counts how often it was asked."""

    def __init__(self) -> None:
        self.asked = 0

    async def facts(self, _: web.Request) -> web.StreamResponse:
        self.asked += 1
        return web.json_response(FACTS)


@asynccontextmanager
async def twins() -> AsyncIterator[tuple[tuple[Twin, int], tuple[Twin, int]]]:
    first, second = Twin(), Twin()
    async with (
        serving({"/facts": first.facts}) as first_port,
        serving({"/facts": second.facts}, host=SECOND) as second_port,
    ):
        yield (first, first_port), (second, second_port)


async def gather(house: Site, *sightings: Sighting) -> Gathered:
    async with open_session(house, lambda: NOON) as session:
        for one in sightings:
            session.add(one)
        return await session.gather(0.2)


@pytest.mark.parametrize("planned", [True, False])
@pytest.mark.parametrize("source", ["mdns", "mqtt"])
async def test_two_that_announce_one_identity_are_a_conflict_and_neither_is_asked(
    source: SightingSource, planned: bool
) -> None:
    async with twins() as ((first, first_port), (second, second_port)):
        gathered = await gather(
            site(*([HALL] if planned else [])),
            sighting("tern one", LOOPBACK, first_port, source=source),
            sighting("tern two", SECOND, second_port, source=source),
        )

    [conflict] = gathered.merged.conflicts
    assert (conflict.identity, conflict.mac) == (f"mac:{MAC}", MAC)
    assert conflict.claimants == (f"'tern one' at {LOOPBACK}", f"'tern two' at {SECOND}")
    assert gathered.merged.devices == ()
    assert gathered.readings == {}
    assert (first.asked, second.asked) == (0, 0)


async def test_a_serial_that_two_announce_is_a_conflict_like_a_mac() -> None:
    gathered = await gather(
        site(),
        sighting("tern one", LOOPBACK, 1, mac=None, serial="7"),
        sighting("tern two", SECOND, 1, mac=None, serial="7"),
    )

    assert [one.identity for one in gathered.merged.conflicts] == ["serial:7"]
    assert gathered.merged.devices == ()


async def test_two_that_turn_out_to_be_one_when_they_are_read_are_a_conflict_and_neither_reading_is_kept() -> None:
    async with twins() as ((first, first_port), (second, second_port)):
        gathered = await gather(
            site(),
            sighting("tern one", LOOPBACK, first_port, mac=None),
            sighting("tern two", SECOND, second_port, mac=None),
        )

    [conflict] = gathered.merged.conflicts
    assert conflict.claimants == (f"'tern one' at {LOOPBACK}", f"'tern two' at {SECOND}")
    assert gathered.readings == {}
    assert (first.asked, second.asked) == (1, 1)


async def test_a_second_that_comes_while_the_first_is_read_takes_the_reading_away() -> None:
    async with (
        twins() as ((_, first_port), (second, second_port)),
        open_session(site(HALL), lambda: NOON) as session,
    ):
        session.add(sighting("tern one", LOOPBACK, first_port))
        alone = await session.gather(0.2)
        session.add(sighting("tern two", SECOND, second_port))
        contested = await session.gather(0.2)

    assert set(alone.readings) == {f"mac:{MAC}"}
    assert contested.readings == {}
    assert [one.identity for one in contested.merged.conflicts] == [f"mac:{MAC}"]
    assert second.asked == 0


async def test_one_device_with_two_interfaces_is_no_conflict() -> None:
    async with twins() as ((_, first_port), (_, second_port)):
        gathered = await gather(
            site(),
            sighting("tern one", LOOPBACK, first_port),
            sighting("tern one", SECOND, second_port, seen_at=NOON + timedelta(seconds=1)),
        )

    assert gathered.merged.conflicts == ()
    assert set(gathered.readings) == {f"mac:{MAC}"}


@pytest.fixture(scope="module")
def broker(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Mosquitto]:
    with mosquitto(tmp_path_factory.mktemp("broker")) as running:
        yield running


async def audit(house: Site, folder: Path) -> tuple[Audit, list[str], int]:
    """Audit a house into a new database; return the audit, and the devices and readings that are kept."""
    async with Store.open(folder / "mill.db") as store:
        done = await run_audit(house, store, clock=lambda: datetime.now(UTC), listen_s=1.0)
        known = [one.id for one in await store.known_devices()]
        return done, known, len(await store.readings_of(f"mac:{MAC}"))


async def test_an_audit_of_a_contested_identity_breaks_its_rule_checks_nothing_else_and_keeps_nothing(
    broker: Mosquitto, tmp_path: Path
) -> None:
    """Two modules announce one MAC over a real broker; the point that has that MAC is planned."""
    announced = kind(recognise_mqtt=(MqttRecognition(topic="tern/{name}/here", mac="hw", address="at", port="port"),))
    house = site(
        HALL,
        profiles=(announced,),
        brokers=(Broker(name="house", host=LOOPBACK, port=broker.port),),
    )

    async with twins() as ((first, first_port), (second, second_port)):
        with module(broker.port) as one, module(broker.port) as two:
            one.keep("tern/one/here", f'{{"hw": "{MAC}", "at": "{LOOPBACK}", "port": {first_port}}}')
            two.keep("tern/two/here", f'{{"hw": "{MAC}", "at": "{SECOND}", "port": {second_port}}}')
            done, known, kept = await audit(house, tmp_path)

    at_hall = {finding.rule.id: finding.outcome for finding in done.findings if finding.subject.point == "hall"}
    assert at_hall == {"identity-unique": "broken", "runs": "unverified"}
    assert done.readings == {}
    assert (known, kept) == ([], 0)
    assert (first.asked, second.asked) == (0, 0)
