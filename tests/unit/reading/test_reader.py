"""A whole reading: the order of questions, proof of identity, deadlines, and what becomes `Unreadable`."""

import asyncio
from collections.abc import Awaitable, Callable
from typing import Any

import pytest
from aiohttp import web

from pattress.model.profile import Access, JsonRpc, SettingSource
from pattress.model.reading import ReadError, Reading, Reported, Snapshot, Unreadable
from pattress.model.site import Credential, Secret
from pattress.reading.reader import sighting_of
from pattress.reading.target import Target
from raw_server import LOOPBACK, listening, silence
from unit.reading.stand import (
    CLOSED_SHAPE,
    FACTS,
    MAC,
    NOON,
    OPEN_FACTS,
    OTHER_MAC,
    SETTINGS,
    SHAPE,
    all_of,
    document,
    open_reader,
    profile,
    say,
    serving,
    target,
)

CREDENTIAL = Credential(secret=Secret("tide-7"), user="warden")
OTHERS_FACTS = {"unit": {"hw": OTHER_MAC, "runs": "9.9.9"}}


async def read(device: Target, **limits: float) -> Reading:
    async with open_reader(**limits) as reader:
        return await reader.read(device)


def values(reading: Reading) -> dict[str, object]:
    assert isinstance(reading, Snapshot), reading
    return {name: one.value for name, one in reading.values.items()}


class Door:
    """A device that keeps which secrets it was shown, and on which path."""

    def __init__(self, facts: object = FACTS) -> None:
        self.asked: list[str] = []
        self.shown: list[str] = []
        self.routes: dict[str, Callable[[web.Request], Awaitable[web.StreamResponse]]] = {
            "/facts": self._route(facts),
            "/shape": self._route(SHAPE),
        }

    def _route(self, content: object) -> Callable[[web.Request], Awaitable[web.StreamResponse]]:
        async def handler(request: web.Request) -> web.StreamResponse:
            self.asked.append(request.path)
            if "Authorization" in request.headers or "X-Tern-Word" in request.headers:
                self.shown.append(request.path)
            return web.json_response(content)

        return handler


SENT_SECRETS = [
    Access(credential="basic"),
    Access(credential="bearer"),
    Access(credential="header", header="X-Tern-Word"),
]


async def test_a_reading_holds_every_setting_with_its_origin() -> None:
    kind = profile(settings=[*SETTINGS, SettingSource(name="output.1.contact", always="live")])

    async with serving() as port:
        reading = await read(target(port, kind=kind))

    assert isinstance(reading, Snapshot)
    assert reading.values == {
        "mac": Reported(value=MAC, origin="GET /facts, unit.hw"),
        "firmware.version": Reported(value="1.4.0", origin="GET /facts, unit.runs"),
        "output.1.at_power_up": Reported(value="off", origin="GET /shape, lines[0].wake"),
        "output.1.contact": Reported(value="live", origin="data sheet of tern-d2"),
    }
    assert reading.errors == ()
    assert reading.is_live
    assert reading.address == (LOOPBACK, port)
    assert (reading.device, reading.kind, reading.taken_at) == (f"mac:{MAC}", "tern-d2", NOON)
    assert 0 < reading.duration_s < 5


async def test_the_result_of_a_call_is_a_document() -> None:
    kind = profile(document("facts", JsonRpc(path="/call", method="unit.tell"), is_open=True))

    async with serving({"/call": say({"jsonrpc": "2.0", "id": 1, "result": FACTS})}) as port:
        reading = await read(target(port, kind=kind))

    assert values(reading)["firmware.version"] == "1.4.0"


async def test_a_document_of_text_is_taken_as_text() -> None:
    settings = [*SETTINGS, SettingSource(name="firmware.version", document="version", at="@", is_text=True)]
    kind = profile(OPEN_FACTS, document("version", decoding="text"), settings=[*settings[:1], settings[-1]])

    async def version(_: web.Request) -> web.StreamResponse:
        return web.Response(text="2.0.1\n")

    async with serving({"/facts": say(FACTS), "/version": version}) as port:
        reading = await read(target(port, kind=kind))

    assert values(reading) == {"mac": MAC, "firmware.version": "2.0.1"}


async def test_one_document_that_fails_is_named_for_each_of_its_settings_beside_the_rest() -> None:
    async with serving({"/facts": say(FACTS), "/shape": say({}, status=500)}) as port:
        reading = await read(target(port))

    assert values(reading) == {"mac": MAC, "firmware.version": "1.4.0"}
    assert isinstance(reading, Snapshot)
    assert reading.errors == (
        ReadError(subject="output.1.at_power_up", reason="it answered with status 500 (GET /shape)"),
    )


async def test_a_document_without_settings_that_fails_is_named_itself() -> None:
    kind = profile(OPEN_FACTS, document("extra"))

    async with serving({"/facts": say(FACTS)}) as port:
        reading = await read(target(port, kind=kind))

    assert isinstance(reading, Snapshot)
    assert reading.errors == (ReadError(subject="document extra", reason="it answered with status 404 (GET /extra)"),)


async def test_a_device_whose_every_document_fails_is_unreadable() -> None:
    async with serving({}) as port:
        reading = await read(target(port))

    assert reading == Unreadable(
        device=f"mac:{MAC}",
        kind="tern-d2",
        taken_at=NOON,
        reason="it answered with status 404 (GET /facts); it answered with status 404 (GET /shape)",
    )


# Who answered


async def test_where_another_device_answers_nothing_is_kept() -> None:
    door = Door(OTHERS_FACTS)

    async with serving(door.routes) as port:
        reading = await read(target(port))

    assert isinstance(reading, Unreadable)
    assert reading.reason == f'another device answered: its mac is text "{OTHER_MAC}", not text "{MAC}"'
    assert door.asked == ["/facts"]


async def test_the_serial_is_checked_like_the_mac() -> None:
    kind = profile(settings=[*SETTINGS, SettingSource(name="serial", document="facts", at="unit.no")])

    async with serving({"/facts": say({"unit": {"hw": MAC, "no": "8"}}), "/shape": say(SHAPE)}) as port:
        reading = await read(target(port, kind=kind, serial="7"))

    assert isinstance(reading, Unreadable)
    assert reading.reason == 'another device answered: its serial is text "8", not text "7"'


async def test_a_device_that_says_nothing_of_who_it_is_is_not_kept() -> None:
    async with serving({"/facts": say({"unit": {"runs": "1.4.0"}}), "/shape": say(SHAPE)}) as port:
        reading = await read(target(port))

    assert isinstance(reading, Unreadable)
    assert reading.reason == "it did not say who it is, so nothing that it said is kept"


async def test_who_it_is_may_be_written_in_another_form() -> None:
    async with serving({"/facts": say({"unit": {"hw": "02-00-5E-00-53-01"}}), "/shape": say(SHAPE)}) as port:
        reading = await read(target(port))

    assert values(reading)["mac"] == MAC


async def test_a_reading_is_evidence_of_who_is_at_an_address() -> None:
    async with serving() as port:
        device = target(port)
        reading = await read(device)

    assert isinstance(reading, Snapshot)
    sighting = sighting_of(reading, device)
    assert (sighting.source, sighting.mac, sighting.serial) == ("reading", MAC, None)
    assert (sighting.address, sighting.port, sighting.name) == (LOOPBACK, port, "tern one")
    assert sighting.is_dated


# Credentials


@pytest.mark.parametrize("access", SENT_SECRETS, ids=lambda access: access.credential)
async def test_a_secret_is_shown_once_the_device_has_proved_who_it_is(access: Access) -> None:
    door = Door()

    async with serving(door.routes) as port:
        reading = await read(target(port, access=access, credential=CREDENTIAL))

    assert values(reading)["output.1.at_power_up"] == "off"
    assert door.asked == ["/facts", "/shape"]
    assert door.shown == ["/shape"]


@pytest.mark.parametrize("access", SENT_SECRETS, ids=lambda access: access.credential)
@pytest.mark.parametrize("facts", [{"unit": {"runs": "1"}}, OTHERS_FACTS, "rubbish"], ids=["no mac", "other", "text"])
async def test_no_secret_goes_over_plain_http_to_what_has_not_proved_who_it_is(access: Access, facts: object) -> None:
    door = Door(facts)

    async with serving(door.routes) as port:
        reading = await read(target(port, access=access, credential=CREDENTIAL))

    assert isinstance(reading, Unreadable)
    assert door.asked == ["/facts"]
    assert door.shown == []


async def test_open_documents_are_asked_for_first_whatever_the_order_in_the_profile() -> None:
    door = Door()
    kind = profile(CLOSED_SHAPE, OPEN_FACTS, access=Access(credential="basic"))

    async with serving(door.routes) as port:
        await read(target(port, kind=kind, credential=CREDENTIAL))

    assert door.asked == ["/facts", "/shape"]
    assert door.shown == ["/shape"]


async def test_a_device_known_by_its_name_only_is_shown_no_secret() -> None:
    door = Door()

    async with serving(door.routes) as port:
        reading = await read(target(port, access=Access(credential="basic"), credential=CREDENTIAL, mac=None))

    assert isinstance(reading, Snapshot)
    assert reading.errors == (
        ReadError(
            subject="output.1.at_power_up",
            reason="no credentials shown: it has not proved that it is the mac or serial of its point (GET /shape)",
        ),
    )
    assert door.shown == []


@pytest.mark.parametrize("credential", ["basic", "digest", "bearer"])
async def test_a_device_of_no_plan_is_asked_only_what_is_open(credential: Any) -> None:
    door = Door()

    async with serving(door.routes) as port:
        reading = await read(target(port, access=Access(credential=credential), is_planned=False))

    assert isinstance(reading, Snapshot)
    assert [error.reason for error in reading.errors] == [
        "not asked: it needs credentials, which go only to devices of the plan (GET /shape)"
    ]
    assert door.asked == ["/facts"]
    assert door.shown == []


async def test_a_planned_device_without_a_credential_says_that_the_site_has_none() -> None:
    door = Door()

    async with serving(door.routes) as port:
        reading = await read(target(port, access=Access(credential="digest")))

    assert isinstance(reading, Snapshot)
    assert [error.reason for error in reading.errors] == ["the site has no credential for it (GET /shape)"]
    assert door.asked == ["/facts"]


# Where it is


async def test_addresses_are_tried_in_order_and_the_first_that_answers_is_kept() -> None:
    door, later = Door(), Door()

    async with serving() as gone:
        pass
    async with serving(door.routes) as port, serving(later.routes) as third:
        reading = await read(target(gone, port, third))

    assert isinstance(reading, Snapshot)
    assert reading.address == (LOOPBACK, port)
    assert door.asked == ["/facts", "/shape"]
    assert later.asked == []


@pytest.mark.parametrize(
    "stranger",
    [OTHERS_FACTS, {"unit": {}}, "rubbish"],
    ids=["another device", "one that says nothing of itself", "no device at all"],
)
async def test_a_device_that_moved_is_found_at_its_next_address(stranger: object) -> None:
    old = Door(stranger)

    async with serving(old.routes) as old_port, serving() as new_port:
        reading = await read(target(old_port, new_port))

    assert values(reading) == {"mac": MAC, "firmware.version": "1.4.0", "output.1.at_power_up": "off"}
    assert isinstance(reading, Snapshot)
    assert reading.errors == ()
    assert reading.address == (LOOPBACK, new_port)


async def test_the_proof_of_one_address_does_not_open_another() -> None:
    """The first proves itself and then falls silent; the second says nothing of itself and gets no secret."""
    first, second = Door(), Door({"unit": {}})

    async def silent(request: web.Request) -> web.StreamResponse:
        assert request.transport is not None
        request.transport.abort()
        return web.Response()

    async with serving({**first.routes, "/shape": silent}) as proved, serving(second.routes) as unproved:
        reading = await read(target(proved, unproved, access=Access(credential="basic"), credential=CREDENTIAL))

    assert isinstance(reading, Unreadable)
    assert second.asked == ["/facts"]
    assert second.shown == []


async def test_where_no_address_has_it_the_first_reason_stands() -> None:
    async with serving() as gone:
        pass
    async with serving(Door(OTHERS_FACTS).routes) as port:
        reading = await read(target(gone, port))

    assert isinstance(reading, Unreadable)
    assert reading.reason == "no connection: connection refused"


async def test_a_device_without_an_address_is_unreadable() -> None:
    reading = await read(target())

    assert isinstance(reading, Unreadable)
    assert reading.reason == "no address of it is known"


async def test_no_more_than_four_addresses_are_tried() -> None:
    async with all_of(*(serving(Door(OTHERS_FACTS).routes) for _ in range(4))) as others, serving() as fifth:
        reading = await read(target(*others, fifth))

    assert isinstance(reading, Unreadable)


# How long


async def test_the_whole_device_has_a_deadline() -> None:
    async with listening(silence) as port:
        reading = await read(target(port), answer_s=5, device_s=0.2)

    assert isinstance(reading, Unreadable)
    assert reading.reason == "not done within 0.2 s"


async def test_a_slow_device_does_not_hold_up_another() -> None:
    async with listening(silence) as slow, serving() as quick, open_reader(answer_s=0.3) as reader:
        slow_reading, quick_reading = await asyncio.gather(reader.read(target(slow)), reader.read(target(quick)))

    assert isinstance(slow_reading, Unreadable)
    assert slow_reading.reason == "no complete answer within 0.3 s"
    assert isinstance(quick_reading, Snapshot)


async def test_no_more_devices_are_read_at_once_than_the_site_allows() -> None:
    now = most = 0

    async def facts(_: web.Request) -> web.StreamResponse:
        nonlocal now, most
        now += 1
        most = max(most, now)
        await asyncio.sleep(0.01)  # long enough for every other reading to get here, were it let
        now -= 1
        return web.json_response(FACTS)

    kind = profile(OPEN_FACTS)
    async with (
        all_of(*(serving({"/facts": facts}) for _ in range(8))) as ports,
        open_reader(at_once=3) as reader,
    ):
        readings = await asyncio.gather(*(reader.read(target(port, kind=kind)) for port in ports))

    assert most == 3
    assert all(isinstance(reading, Snapshot) for reading in readings)


async def test_a_reading_that_is_cancelled_ends() -> None:
    async with listening(silence) as port, open_reader() as reader:
        task = asyncio.create_task(reader.read(target(port)), name="read")
        await asyncio.sleep(0)
        task.cancel()
        with pytest.raises(asyncio.CancelledError):
            await task


async def test_a_clock_is_measured_by_when_the_document_was_asked_for_and_came() -> None:
    clock = SettingSource(name="time.offset_s", document="facts", at="now", clock="unix")
    kind = profile(OPEN_FACTS, settings=[*SETTINGS, clock])

    async with serving({"/facts": say({**FACTS, "now": NOON.timestamp() - 90})}) as port:
        reading = await read(target(port, kind=kind))

    assert values(reading)["time.offset_s"] == -90.0, "the reader's clock stands at noon"
