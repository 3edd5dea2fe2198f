import asyncio
import contextlib
import json
import time
from collections.abc import AsyncIterator

import aiohttp
import pytest
from zeroconf import ServiceStateChange
from zeroconf.asyncio import AsyncServiceBrowser, AsyncServiceInfo, AsyncZeroconf

from pattress.lab.ground import NARROW_GROUND
from pattress.lab.house import Endpoint
from pattress.lab.makers import HTTP_MAKERS
from pattress.lab.run import EmulatedHouse, ExternalBroker
from pattress.model.errors import BrokerError, UsageError
from unit.lab.by_profile import fetch, listen, profile_of, read_all
from unit.lab.houses import healthy_house

STOP_S = 2.0
SEEN_S = 5
MOMENTS_S = (0, 0.002, 0.005, 0.01, 0.015, 0.02, 0.03, 0.04, 0.06, 0.1)  # coming up takes 0.1 s


class Browser:
    """An independent view of what is announced on loopback, by service name."""

    def __init__(self) -> None:
        self.services: dict[str, AsyncServiceInfo] = {}
        self.changed = asyncio.Condition()
        self.tasks: set[asyncio.Task[None]] = set()

    async def until(self, holds) -> None:
        async with asyncio.timeout(SEEN_S), self.changed:
            await self.changed.wait_for(holds)

    def on_change(self, zeroconf, service_type: str, name: str, state_change: ServiceStateChange) -> None:
        task = asyncio.create_task(self.look(zeroconf, service_type, name, state_change), name=f"look at {name}")
        self.tasks.add(task)
        task.add_done_callback(self.tasks.discard)

    async def look(self, zeroconf, service_type: str, name: str, state_change: ServiceStateChange) -> None:
        info = AsyncServiceInfo(service_type, name)
        if state_change is ServiceStateChange.Removed:
            self.services.pop(name, None)
        elif await info.async_request(zeroconf, 3_000):
            self.services[name] = info
        async with self.changed:
            self.changed.notify_all()


@contextlib.asynccontextmanager
async def browsing() -> AsyncIterator[Browser]:
    seen = Browser()
    zeroconf = AsyncZeroconf(interfaces=["127.0.0.1"])
    types = sorted({maker.service_type for maker in HTTP_MAKERS.values()})
    browser = AsyncServiceBrowser(zeroconf.zeroconf, types, handlers=[seen.on_change])
    try:
        yield seen
    finally:
        await browser.async_cancel()
        await asyncio.gather(*seen.tasks)
        await zeroconf.async_close()


async def is_listening(endpoint: Endpoint) -> bool:
    try:
        _, writer = await asyncio.open_connection(*endpoint)
    except ConnectionRefusedError:
        return False
    writer.close()
    await writer.wait_closed()
    return True


async def test_a_house_that_ends_leaves_no_task_no_listener_and_nothing_on_the_broker(mosquitto: Endpoint) -> None:
    tasks = asyncio.all_tasks()

    async with healthy_house(mosquitto) as house:
        endpoints = list(house.addresses.values())
        retained = await listen(house, "#")
        async with aiohttp.ClientSession() as session, session.get("http://{}:{}/t/id".format(*endpoints[0])):
            started_at = time.monotonic()
            house_up = [await is_listening(endpoint) for endpoint in endpoints]
    took_s = time.monotonic() - started_at

    house.broker_user = None
    heard = asyncio.create_task(listen(house, "#"), name="listen afterwards")
    await asyncio.wait({heard}, timeout=1)
    heard.cancel()
    await asyncio.wait({heard})
    assert all(house_up)
    assert [await is_listening(endpoint) for endpoint in endpoints] == [False] * len(endpoints)
    assert len(retained) > 80
    assert heard.cancelled()
    assert asyncio.all_tasks() == tasks
    assert took_s < STOP_S


async def test_a_cancelled_house_ends_as_cleanly(mosquitto: Endpoint) -> None:
    before = asyncio.all_tasks()
    is_up: asyncio.Future[list[Endpoint]] = asyncio.get_running_loop().create_future()

    async def live() -> None:
        async with healthy_house(mosquitto) as house:
            is_up.set_result(list(house.addresses.values()))
            await asyncio.Event().wait()

    life = asyncio.create_task(live())
    endpoints = await is_up
    started_at = time.monotonic()
    life.cancel()
    await asyncio.wait({life})

    assert life.cancelled()
    assert time.monotonic() - started_at < STOP_S
    assert asyncio.all_tasks() == before
    assert not any([await is_listening(endpoint) for endpoint in endpoints])


async def test_a_house_cancelled_while_it_comes_up_leaves_nothing(mosquitto: Endpoint) -> None:
    before = asyncio.all_tasks()

    for wait_s in MOMENTS_S:
        house = healthy_house(mosquitto)
        entering = asyncio.create_task(house.__aenter__())
        await asyncio.wait({entering}, timeout=wait_s)
        if not entering.done():
            entering.cancel()
            await asyncio.wait({entering})
            assert entering.cancelled()
        else:
            await house.__aexit__(None, None, None)

    assert asyncio.all_tasks() == before


async def test_every_module_with_http_is_announced_where_it_listens_and_as_its_profile_expects(
    house: EmulatedHouse,
) -> None:
    async with browsing() as seen:
        await seen.until(lambda: len(seen.services) == len(house.addresses))

    for point, endpoint in house.addresses.items():
        module = house.modules[point]
        (recognition,) = profile_of(module.kind)["recognise"]["mdns"]
        name = f"{HTTP_MAKERS[module.maker].instance(module)}.{recognition['service_type']}.local."
        info = seen.services[name]
        txt = info.decoded_properties
        assert info.port == endpoint.port
        assert info.parsed_addresses() == [endpoint.host]
        assert {key: txt[key] for key in recognition["txt"]} == recognition["txt"]
        assert txt[recognition["mac"]].replace(":", "").replace("-", "") == module.mac.replace(":", "")
        assert "serial" not in recognition or txt[recognition["serial"]] == module.serial


async def test_faults_of_presence_show_in_the_announcements_while_the_house_runs(house: EmulatedHouse) -> None:
    bakehouse = house.modules["bakehouse-lights"]
    name = f"{HTTP_MAKERS['tarnhollow'].instance(bakehouse)}._tarn._tcp.local."
    endpoint = house.addresses["bakehouse-lights"]

    async with browsing() as seen:
        await seen.until(lambda: len(seen.services) == len(house.addresses))
        await house.switch("absent", on=True)
        await seen.until(lambda: name not in seen.services)
        was_listening = await is_listening(endpoint)
        await house.switch("stranger", on=True)
        stranger = next(one for one in house.expected if one.rule == "device-planned").title
        await seen.until(lambda: f"{stranger}._tarn._tcp.local." in seen.services)
        await house.switch("absent", on=False)
        await seen.until(lambda: name in seen.services)

    assert not was_listening
    assert house.addresses["bakehouse-lights"] == endpoint
    assert await read_all(house, bakehouse)


async def test_two_claimants_announce_one_hardware_address_from_two_addresses(house: EmulatedHouse) -> None:
    mac = house.modules["yard-lights"].mac

    async with browsing() as seen:
        await house.switch("two-claimants", on=True)
        await seen.until(lambda: len(seen.services) == len(house.addresses))

    claimants = [info for info in seen.services.values() if info.decoded_properties.get("h") == mac]
    assert len({info.parsed_addresses()[0] for info in claimants}) == 2


async def test_a_module_of_another_kind_announces_itself_as_that(house: EmulatedHouse) -> None:
    def roles() -> set[str | None]:
        return {info.decoded_properties.get("role") for name, info in seen.services.items() if "Brackenvolt" in name}

    async with browsing() as seen:
        await seen.until(lambda: "blind" in roles())
        await house.switch("another-kind", on=True)
        await seen.until(lambda: "blind" not in roles())
        found = await read_all(house, house.modules["wheel-room-blind"])

    assert not any(name.startswith("shutter.") for name in found)


async def test_a_silent_module_takes_the_connection_and_says_nothing(house: EmulatedHouse) -> None:
    await house.switch("never-answers", on=True)
    reader, writer = await asyncio.open_connection(*house.addresses["gate-release"])
    writer.write(b"GET /t/id HTTP/1.1\r\nHost: x\r\n\r\n")

    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.5):
            await reader.read(1)

    writer.close()
    await writer.wait_closed()
    await house.switch("never-answers", on=False)
    assert await read_all(house, house.modules["gate-release"])


async def test_a_module_without_power_is_said_to_be_gone_by_its_last_will_only(house: EmulatedHouse) -> None:
    module = house.modules["mill-room-blind"]
    before = await listen(house, f"fennimoor/{module.serial}/#")

    await house.switch("lost-to-the-broker", on=True)

    after = await listen(house, f"fennimoor/{module.serial}/#")
    changed = {topic: payload for topic, payload in after.items() if payload != before[topic]}
    assert changed == {f"fennimoor/{module.serial}/log/afloat": b"lost"}


async def test_one_document_of_rubbish_leaves_the_others_as_they_are(house: EmulatedHouse) -> None:
    profile = profile_of("brackenvolt-hoist")
    by_id = {document["id"]: document for document in profile["document"]}
    await house.switch("rubbish", on=True)
    endpoint, secret = house.addresses["wheel-room-blind"], house.secrets["brackenvolt"]

    rubbish, ties = [await fetch(endpoint, profile, by_id[document], secret) for document in ("ways", "ties")]

    with pytest.raises(ValueError, match="Expecting value"):
        json.loads(rubbish)
    assert json.loads(ties)["post"]["wanted"] == "yes"


async def test_a_module_serves_one_connection_at_a_time(house: EmulatedHouse) -> None:
    endpoint = house.addresses["gate-release"]
    _, first = await asyncio.open_connection(*endpoint)
    reader, second = await asyncio.open_connection(*endpoint)
    second.write(b"GET /t/id HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")

    with pytest.raises(TimeoutError):
        async with asyncio.timeout(0.3):
            await reader.readexactly(1)
    first.close()
    async with asyncio.timeout(SEEN_S):
        answer = await reader.read()

    second.close()
    await second.wait_closed()
    assert answer.startswith(b"HTTP/1.1 200 OK")


async def test_an_answer_takes_as_long_as_the_house_was_told(mosquitto: Endpoint) -> None:
    async with healthy_house(mosquitto, delay_s=(0.2, 0.2)) as house:
        profile = profile_of("tarnhollow-latch")
        started_at = time.monotonic()
        await fetch(house.addresses["gate-release"], profile, profile["document"][0], None)
        took_s = time.monotonic() - started_at

    assert 0.2 <= took_s < 1


async def test_a_second_house_on_the_machine_is_refused(house: EmulatedHouse) -> None:
    with pytest.raises(UsageError, match="running on this machine already"):
        async with EmulatedHouse(faults=(), broker=ExternalBroker(endpoint=house.broker)):
            pass


async def test_a_broker_that_is_not_there_is_said_so() -> None:
    with pytest.raises(BrokerError, match="nothing listens there"):
        async with healthy_house(Endpoint("127.0.0.1", 1)):
            pass


def test_an_unknown_fault_is_refused_with_those_that_there_are() -> None:
    async def build() -> None:
        EmulatedHouse(faults=["cloud-left-of"])

    with pytest.raises(UsageError, match="cloud-left-on"):
        asyncio.run(build())


async def test_where_loopback_has_one_address_each_module_has_a_port_of_its_own(mosquitto: Endpoint) -> None:
    async with healthy_house(mosquitto, ground=NARROW_GROUND) as house:
        ports = {endpoint.port for endpoint in house.addresses.values()}
        hosts = {endpoint.host for endpoint in house.addresses.values()}
        found = await read_all(house, house.modules["hall-lights"])

    assert hosts == {"127.0.0.1"}
    assert len(ports) == len(house.addresses)
    assert found["time.server"] == "127.0.0.1"


async def test_the_narrow_ground_refuses_the_fault_that_needs_two_addresses(mosquitto: Endpoint) -> None:
    with pytest.raises(UsageError, match="needs an address for each module"):
        healthy_house(mosquitto, ground=NARROW_GROUND, faults=["two-claimants"])
