"""Discovery by multicast DNS, over real sockets on loopback."""

import asyncio
import logging
import os
import random
import secrets
import time
from collections.abc import AsyncIterator, Iterator

import pytest
from zeroconf import ServiceInfo
from zeroconf.asyncio import AsyncZeroconf

from pattress.model.profile import MdnsRecognition, Profile
from unit.discovery.raw_announcer import (
    RawAnnouncer,
    address,
    device,
    listening,
    pointer,
    response,
    service,
    text,
    wire_name,
)

ENUMERATION = (b"_services", b"_dns-sd", b"_udp", b"local")
FLOOD = 5_000


@pytest.fixture
def word() -> str:
    """A service type that nobody else on this machine announces."""
    return f"_q{secrets.token_hex(5)}"


@pytest.fixture
async def library() -> AsyncIterator[AsyncZeroconf]:
    """An announcer by the library: another author's idea of the standard than ours."""
    announcer = AsyncZeroconf(interfaces=["127.0.0.1"])
    yield announcer
    await announcer.async_close()


def profile(word: str, **more: object) -> Profile:
    recognition = MdnsRecognition(service_type=f"{word}._tcp", **more)  # type: ignore[arg-type]
    return Profile(id="quill", maker="Quill", model="Q", module_class="other", recognise_mdns=(recognition,))


def info(word: str, label: str, **more: object) -> ServiceInfo:
    settings = {"port": 80, "server": "relay-7.local.", "parsed_addresses": ["192.0.2.7"]} | more
    return ServiceInfo(f"{word}._tcp.local.", f"{label}.{word}._tcp.local.", **settings)  # type: ignore[arg-type]


async def register(library: AsyncZeroconf, *infos: ServiceInfo) -> None:
    announcing = [await library.async_register_service(one, strict=False, cooperating_responders=True) for one in infos]
    await asyncio.gather(*announcing)


def typed(word: str) -> tuple[bytes, ...]:
    return (word.encode(), b"_tcp", b"local")


async def test_a_device_of_a_named_type_is_found_with_its_kind_and_identity(word: str, library: AsyncZeroconf) -> None:
    profiles = [profile(word, txt={"kind": "D2"}, mac_key="id", serial_key="sn")]
    await register(library, info(word, "Hall.7", properties={"kind": "D2", "ID": "02-00-5E-00-53-07", "sn": "Q7"}))

    async with listening(word, profiles) as heard:
        (sighting,) = await heard.until(len)

    assert (sighting.source, sighting.name, sighting.kind) == ("mdns", "Hall.7", "quill")
    assert (sighting.mac, sighting.serial) == ("02:00:5e:00:53:07", "Q7")
    assert (sighting.address, sighting.port, sighting.channel) == ("192.0.2.7", 80, f"{word}._tcp on lo")
    assert sighting.details["host"] == "relay-7.local"
    assert [(one.source, one.state, one.is_needed) for one in heard.reports] == [("mDNS on lo", "heard", True)]


async def test_a_device_of_a_type_that_no_profile_names_is_found_too(word: str, library: AsyncZeroconf) -> None:
    await register(library, info(word, "stranger"))

    async with listening(word) as heard:
        (sighting,) = await heard.until(len)

    assert (sighting.name, sighting.kind) == ("stranger", None)


async def test_forty_devices_are_found_within_the_first_second_and_closing_is_quick(word: str) -> None:
    packets = [device(b"Quill %d" % n, typed(word), (b"q%d" % n, b"local"), f"192.0.2.{n}") for n in range(40)]

    # The library's own announcer would not do here: for a second after an announcement it does not repeat itself.
    async with RawAnnouncer.on_loopback(typed(word), *packets):
        began_s = time.monotonic()
        async with listening(word, [profile(word)]) as heard:
            await heard.until(lambda seen: len(seen) == 40)
            found_s = time.monotonic()
        closed_s = time.monotonic()

    assert {one.name for one in heard.sightings} == {f"Quill {n}" for n in range(40)}
    assert found_s - began_s < 1.0
    assert closed_s - found_s < 1.0


# The library's own announcer would not do where something changes: it sends answers that it had put off before.


async def test_a_device_that_says_goodbye_is_gone(word: str) -> None:
    owner, host = (b"leaving", *typed(word)), (b"h", b"local")
    packet = device(b"leaving", typed(word), host, "192.0.2.7")

    async with (
        RawAnnouncer.on_loopback(typed(word), packet) as announcer,
        listening(word, [profile(word)]) as heard,
    ):
        await heard.until(len)
        announcer.packets = []
        announcer.say(response(pointer(typed(word), owner, ttl_s=0)))
        _, goodbye = await heard.until(lambda seen: len(seen) == 2)

    assert (goodbye.name, goodbye.address, goodbye.is_gone) == ("leaving", "192.0.2.7", True)


async def test_a_goodbye_just_before_the_end_is_still_told(word: str) -> None:
    owner, host = (b"q", *typed(word)), (b"h", b"local")

    packet = device(b"q", typed(word), host, "192.0.2.7")

    async with (
        RawAnnouncer.on_loopback(typed(word), packet) as announcer,
        listening(word, [profile(word)]) as heard,
    ):
        await heard.until(len)
        announcer.say(response(pointer(typed(word), owner, ttl_s=0), text(owner, b"\x03a=2")))
        await heard.until(lambda seen: any("txt.a" in one.details for one in seen))

    assert [one.is_gone for one in heard.sightings] == [False, False, True]


async def test_a_changed_txt_record_is_another_sighting(word: str) -> None:
    owner, host = (b"q", *typed(word)), (b"h", b"local")
    packet = device(b"q", typed(word), host, "192.0.2.7", data=b"\x06fw=1.0")

    async with (
        RawAnnouncer.on_loopback(typed(word), packet) as announcer,
        listening(word, [profile(word)]) as heard,
    ):
        await heard.until(len)
        announcer.packets = []
        announcer.say(response(text(owner, b"\x06fw=1.1")))
        await heard.until(lambda seen: len(seen) == 2)

    assert [one.details["txt.fw"] for one in heard.sightings] == ["1.0", "1.1"]


async def test_a_changed_address_is_another_sighting(word: str) -> None:
    host = (b"h", b"local")

    async with (
        RawAnnouncer.on_loopback(typed(word), device(b"q", typed(word), host, "192.0.2.7")) as announcer,
        listening(word, [profile(word)]) as heard,
    ):
        await heard.until(len)
        announcer.packets = []
        announcer.say(response(address(host, "192.0.2.8")))
        await heard.until(lambda seen: len(seen) == 2)

    assert [one.address for one in heard.sightings] == ["192.0.2.7", "192.0.2.8"]


async def test_one_name_in_two_types_is_two_services(word: str, library: AsyncZeroconf) -> None:
    other = word[:-1] + "z"
    await register(library, info(word, "Hall", port=80), info(other, "Hall", port=8080))

    async with listening(word[:-1], [profile(word)]) as heard:
        await heard.until(lambda seen: len(seen) == 2)

    assert {(one.channel, one.port) for one in heard.sightings} == {
        (f"{word}._tcp on lo", 80),
        (f"{other}._tcp on lo", 8080),
    }


async def test_each_address_is_a_sighting_and_a_link_local_one_has_the_interface_as_its_zone(
    word: str, library: AsyncZeroconf
) -> None:
    await register(library, info(word, "q", parsed_addresses=["192.0.2.7", "2001:db8::7", "fe80::7"]))

    async with listening(word) as heard:
        await heard.until(lambda seen: len(seen) == 3)

    assert {one.address for one in heard.sightings} == {"192.0.2.7", "2001:db8::7", "fe80::7%lo"}


ODD_LABELS = [
    b"Hall relay.7 \\ k\xc3\xbcche",
    b"._tcp.local.",
    b"\x1b[31mred\x07\x00",
    b"<script>alert(1)</script>",
    b"\xe2\x80\xaeevil",
    b"not utf-8: \xff\xfe",
    b"\xff" * 63,  # 189 bytes once each is U+FFFD: more than a label can hold
    b"%s {0} %(x)s ../../etc",
    b"a" * 63,
]


@pytest.mark.parametrize("label", ODD_LABELS)
async def test_a_name_that_may_hold_anything_is_text_and_nothing_more(
    word: str, label: bytes, caplog: pytest.LogCaptureFixture
) -> None:
    packet = device(label, typed(word), (b"h", b"local"), "192.0.2.7", data=b"\x03a=1")

    async with RawAnnouncer.on_loopback(typed(word), packet), listening(word, [profile(word)]) as heard:
        (sighting,) = await heard.until(len)

    assert sighting.name == label.decode("utf-8", "replace")
    assert (sighting.address, sighting.kind, sighting.details["txt.a"]) == ("192.0.2.7", "quill", "1")
    assert caplog.records == []


async def test_a_name_that_cannot_be_written_does_not_end_the_asking(word: str) -> None:
    bad = response(pointer(typed(word), (b"\xff" * 63, *typed(word))))
    good = device(b"good", typed(word), (b"h", b"local"), "192.0.2.7")

    async with (
        RawAnnouncer.on_loopback(typed(word), bad) as announcer,
        listening(word, [profile(word)]) as heard,
    ):
        await announcer.question()
        announcer.packets = [good]  # in answer to the second question, a second after the first
        await heard.until(lambda seen: any(one.name == "good" for one in seen))

    assert {one.name for one in heard.sightings} == {"good", "\ufffd" * 63}


async def test_what_an_answer_leaves_out_is_asked_for(word: str) -> None:
    owner, host = (b"Hall relay.7 \\ k\xc3\xbcche", *typed(word)), (b"relay-7", b"local")
    steps = [
        (typed(word), response(pointer(typed(word), owner))),
        (owner, response(service(owner, host))),
        (owner, response(text(owner, b"\x03a=1"))),
        (host, response(address(host, "192.0.2.7"))),
    ]

    async with (
        RawAnnouncer.on_loopback(typed(word), steps[0][1]),
        RawAnnouncer.on_loopback(owner, steps[1][1], steps[2][1]),
        RawAnnouncer.on_loopback(host, steps[3][1]),
        listening(word, [profile(word)]) as heard,
    ):
        (sighting,) = await heard.until(len)

    assert (sighting.name, sighting.address) == ("Hall relay.7 \\ küche", "192.0.2.7")
    assert sighting.details == {"host": "relay-7.local", "txt.a": "1"}


async def test_records_may_come_in_any_order_and_in_packets_of_their_own(word: str) -> None:
    owner, host = (b"q", *typed(word)), (b"h", b"local")
    records = [address(host, "192.0.2.7"), text(owner, b"\x03a=1"), service(owner, host), pointer(typed(word), owner)]

    async with (
        RawAnnouncer.on_loopback(typed(word), *map(response, records)),
        RawAnnouncer.on_loopback(ENUMERATION, response(pointer(ENUMERATION, typed(word)))),
        listening(word) as heard,
    ):
        (sighting,) = await heard.until(len)

    assert (sighting.address, sighting.details["txt.a"]) == ("192.0.2.7", "1")


async def test_a_service_of_which_nothing_more_is_known_is_told_at_the_end(word: str) -> None:
    owner = (b"q", *typed(word))

    async with (
        RawAnnouncer.on_loopback(typed(word), response(pointer(typed(word), owner))),
        RawAnnouncer.on_loopback(owner) as asked_about,
        listening(word, [profile(word)]) as heard,
    ):
        await asked_about.question()

    assert [(one.name, one.address) for one in heard.sightings] == [("q", None)]


async def test_a_named_type_in_another_case_is_the_same_type(word: str) -> None:
    packet = device(b"q", typed(word.upper()), (b"h", b"local"), "192.0.2.7")

    async with RawAnnouncer.on_loopback(typed(word), packet), listening(word, [profile(word)]) as heard:
        (sighting,) = await heard.until(len)

    assert (sighting.kind, sighting.channel) == ("quill", f"{word}._tcp on lo")


def malformed(word: str) -> Iterator[bytes]:
    """Packets that are none: cut, twisted, of random bytes, looping, overlong; and one sixth names by the hundred."""
    chance = random.Random(53)
    whole = device(b"flood", typed(word), (b"h", b"local"), "192.0.2.9", data=b"\x03a=1" * 20)
    header = response()[:6]
    for number in range(FLOOD):
        match number % 6:
            case 0:
                yield whole[: chance.randrange(len(whole))]
            case 1:
                twisted = bytearray(whole)
                for _ in range(8):
                    twisted[chance.randrange(12, len(whole))] = chance.randrange(256)
                yield bytes(twisted)
            case 2:
                yield chance.randbytes(chance.randrange(600))
            case 3:
                yield header + b"\xff\xff\xff\xff\xff\xff" + b"\xc0\x0c" * chance.randrange(1, 300)
            case 4:
                yield header + b"\x00\x01\x00\x00\x00\x00" + b"\x3f" + b"\xff" * 62 + wire_name([b"x"] * 120)
            case _:
                label = b"flood %d" % number
                yield response(
                    pointer((word.encode() + b"f", b"_tcp", b"local"), (label, word.encode() + b"f", b"_tcp", b"local"))
                )


async def test_devices_are_found_in_a_flood_of_malformed_packets(word: str, caplog: pytest.LogCaptureFixture) -> None:
    good = [device(b"good %d" % n, typed(word), (b"h%d" % n, b"local"), f"192.0.2.{n + 1}") for n in range(20)]
    names = {f"good {n}" for n in range(20)}

    async with RawAnnouncer.on_loopback(typed(word), *good) as announcer, listening(word, [profile(word)]) as heard:
        for number, packet in enumerate(malformed(word)):
            announcer.say(packet)
            if number % 100 == 0:
                await asyncio.sleep(0)  # the socket's buffer is finite: let both sides have their turn
        await heard.until(lambda seen: names <= {one.name for one in seen})

    assert heard.reports[0].state == "heard"
    assert caplog.records == []


@pytest.mark.parametrize("interface", ["no-such-if", "203.0.113.77"])
async def test_an_interface_that_is_not_there_is_reported_and_the_others_are_listened_on(
    word: str, interface: str, library: AsyncZeroconf
) -> None:
    await register(library, info(word, "q"))

    async with listening(word, interfaces=[interface, "127.0.0.1"]) as heard:
        await heard.until(len)

    assert [(one.source, one.state) for one in heard.reports] == [
        (f"mDNS on {interface}", "failed"),
        ("mDNS on lo", "heard"),
    ]
    assert interface in heard.reports[0].detail


async def test_without_an_interface_the_report_says_so_at_once() -> None:
    async with listening("", interfaces=[]) as heard:
        pass

    (report,) = heard.reports
    assert (report.source, report.state, report.is_needed) == ("mDNS", "failed", True)
    assert "no interface of this host" in report.detail


async def test_the_library_logs_no_malformed_packet_unless_it_was_asked_to(
    word: str, library: AsyncZeroconf, monkeypatch: pytest.MonkeyPatch
) -> None:
    logger = logging.getLogger("zeroconf")
    levels = []

    for asked in (logging.WARNING, logging.DEBUG):
        monkeypatch.setattr(logger, "level", asked)
        async with listening(word, interfaces=[]):
            pass
        levels.append(logger.level)

    assert levels == [logging.CRITICAL, logging.DEBUG]


async def test_nothing_is_left_open(word: str, library: AsyncZeroconf) -> None:
    await register(library, info(word, "q"))
    before = len(os.listdir("/proc/self/fd"))

    async with listening(word) as heard:
        await heard.until(len)
    await asyncio.sleep(0)  # a transport closes its socket in the next turn of the loop

    assert len(os.listdir("/proc/self/fd")) == before
    assert [task.get_name() for task in asyncio.all_tasks() if "mDNS" in task.get_name()] == []
