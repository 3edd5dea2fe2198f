"""The physical world as the network sees it: over real sockets, a real broker and mDNS."""

import asyncio

import aiohttp
import pytest

from pattress.lab.house import Endpoint
from pattress.lab.physics import Nature
from pattress.lab.run import EmulatedHouse
from pattress.lab.worlds import REPORT_S
from unit.lab.by_profile import listen, read_all
from unit.lab.houses import healthy_house
from unit.lab.test_run import browsing, is_listening

FAST = 20
CUT_AND_BOOT_S = 10 + Nature().boot_s


async def test_what_a_person_does_shows_at_the_next_answer_over_http(house: EmulatedHouse) -> None:
    module, world = house.modules["hall-lights"], house.world("hall-lights")
    world.connect_load(2, 40)

    world.move_output(2, True)
    world.throw(1)
    found = await read_all(house, module)

    assert (found["output.1.on"], found["output.2.on"]) == (False, True)
    assert (found["input.1.closed"], found["input.2.closed"]) == (True, False)
    assert found["meter.2.power_w"] == pytest.approx(40, rel=0.02)


async def test_what_a_person_does_shows_in_what_the_broker_keeps_and_in_answers_over_it(house: EmulatedHouse) -> None:
    band, pair = house.modules["stair-strip"], house.modules["landing-lights"]

    house.world("stair-strip").set_level(2, 70)
    house.world("landing-lights").press(2, seconds=3_600)
    await house.settled()
    kept, answered = await read_all(house, band), await read_all(house, pair)

    assert (kept["output.2.on"], float(str(kept["led.2.level_pct"]))) == (True, 70)
    assert (answered["input.2.closed"], answered["output.2.on"]) == (True, True)


async def test_a_module_that_lives_says_new_measurements_on_the_broker_by_itself(house: EmulatedHouse) -> None:
    serial = house.modules["stair-strip"].serial
    topic = f"fennimoor/{serial}/log/bilge/awake"
    house.clock.run_at(100)

    house.world("stair-strip").fit_plate(False)
    await house.settled()
    first = await listen(house, topic)
    await asyncio.sleep(2 * REPORT_S)
    later = await listen(house, topic)

    assert float(later[topic]) > float(first[topic]) + 100


async def test_a_power_cut_closes_the_listener_says_no_goodbye_and_ends(house: EmulatedHouse) -> None:
    title = "gate-release"
    house.clock.run_at(FAST)
    endpoint = house.addresses[title]
    name = f"T{house.modules[title].serial}._tarn._tcp.local."

    async with browsing() as seen:
        await seen.until(lambda: name in seen.services)
        async with aiohttp.ClientSession() as session, session.get("http://{}:{}/t/id".format(*endpoint)):
            house.world(title).cut_power(10)
            await house.settled()
            while_cut = await is_listening(endpoint), title in house.addresses
        is_still_known = name in seen.services
        await house.after(CUT_AND_BOOT_S)

    assert while_cut == (False, False)
    assert is_still_known
    found = await read_all(house, house.modules[title])
    assert found["health.uptime_s"] <= 60
    assert found["health.restarts"] == house.modules[title].truth["health.restarts"] + 1


async def test_a_module_on_the_broker_is_silent_while_its_power_is_cut(house: EmulatedHouse) -> None:
    pair, blind = house.modules["landing-lights"], house.modules["mill-room-blind"]
    ask = {"topic": f"ouseltide/call/{pair.serial}", "answer": f"ouseltide/song/{pair.serial}/self"}
    afloat = f"fennimoor/{blind.serial}/log/afloat"
    house.clock.run_at(FAST)
    for title in ("landing-lights", "mill-room-blind"):
        house.world(title).cut_power(40)

    await house.after(Nature().will_s)
    missed = await listen(house, afloat)
    announced = await listen(house, f"ouseltide/perch/{pair.serial}")
    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.3):
            await listen(house, ask["answer"], question=(ask["topic"], "whole self"))
    await house.after(40 + Nature().boot_s)
    back = await listen(house, afloat)

    assert (missed[afloat], back[afloat]) == (b"lost", b"here")
    assert announced
    assert (await read_all(house, pair))["health.uptime_s"] < 120


async def test_a_module_that_never_had_power_is_announced_nowhere_until_it_has(mosquitto: Endpoint) -> None:
    unpowered = ["gate-release", "stair-strip"]
    async with healthy_house(mosquitto, unpowered=unpowered) as house:
        house.clock.run_at(FAST)
        name = f"T{house.modules['gate-release'].serial}._tarn._tcp.local."
        topic = f"fennimoor/{house.modules['stair-strip'].serial}/ahoy"
        async with browsing() as seen:
            await seen.until(lambda: len(seen.services) == len(house.addresses))
            before = name in seen.services, topic in await listen(house, "fennimoor/+/ahoy")
            for title in unpowered:
                house.world(title).power_up()
            await seen.until(lambda: name in seen.services)
            announced = await listen(house, topic)
            found = await read_all(house, house.modules["gate-release"])

    assert before == (False, False)
    assert topic in announced
    assert found["serial"] == house.modules["gate-release"].serial


async def test_the_router_sees_a_module_that_talks_outside_and_none_without_power(house: EmulatedHouse) -> None:
    began_at = house.clock.now()
    house.world("hall-lights").talk_outside("tries")
    house.world("yard-lights").cut_power(3_600)

    flows = house.flows(began_at, house.clock.now())

    outside = [flow for flow in flows if str(flow.receiver).startswith("203.0.113.")]
    assert [(flow.sender_mac, flow.is_denied) for flow in outside] == [(house.modules["hall-lights"].mac, True)]
    assert house.modules["yard-lights"].mac not in {flow.sender_mac for flow in flows}


async def test_an_automation_that_is_forgotten_drives_nothing(house: EmulatedHouse) -> None:
    house.clock.run_at(FAST)
    house.automate("yard-lights", 1, "output.2", to="hall-lights")
    hall = house.modules["hall-lights"]

    house.world("yard-lights").throw(1)
    await house.after(1)
    driven = await read_all(house, hall)
    house.forget_automation("yard-lights", 1)
    house.world("yard-lights").throw(1)
    await house.after(1)
    left = await read_all(house, hall)

    assert (driven["output.2.on"], left["output.2.on"]) == (True, True)
