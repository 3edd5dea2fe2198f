"""The broker inside the process, as the demo has it."""

import asyncio
import sys
import time

import pytest
from paho.mqtt.client import Client
from paho.mqtt.enums import CallbackAPIVersion

from pattress.lab.broker import embedded_broker
from pattress.lab.house import Endpoint
from pattress.lab.run import EmulatedHouse
from pattress.model.errors import UsageError
from unit.lab.by_profile import read_all
from unit.lab.houses import WAIT_FOR_OTHER_HOUSE_S

pytest.importorskip("amqtt", reason="the extra `demo` is not installed")
ANSWER_S = 5


async def answer_to(broker: Endpoint, user: str | None, secret: str | None) -> str:
    """Return what the broker says to a client that shows this."""
    loop = asyncio.get_running_loop()
    answer: asyncio.Future[str] = loop.create_future()
    client = Client(CallbackAPIVersion.VERSION2, reconnect_on_failure=False)
    if user is not None:
        client.username_pw_set(user, secret)

    def told(client: Client, userdata: object, flags: object, reason: object, properties: object) -> None:
        loop.call_soon_threadsafe(answer.set_result, str(reason))

    client.on_connect = told
    client.connect_async(*broker)
    client.loop_start()
    try:
        async with asyncio.timeout(ANSWER_S):
            return await answer
    finally:
        client.disconnect()
        await asyncio.to_thread(client.loop_stop)


async def test_it_lets_in_its_one_user_and_nobody_else() -> None:
    async with embedded_broker("127.0.0.1", user="auditor", secret="right") as broker:
        answers = [
            await answer_to(broker, user, secret)
            for user, secret in (
                ("auditor", "right"),
                ("auditor", "wrong"),
                ("auditor", None),
                ("other", "right"),
                (None, None),
            )
        ]

    assert answers[0] == "Success"
    assert not {"Success"} & set(answers[1:])


async def test_it_ends_with_its_connections_and_leaves_no_task() -> None:
    tasks = asyncio.all_tasks()
    async with embedded_broker("127.0.0.1", user="auditor", secret="right") as broker:
        _, writer = await asyncio.open_connection(*broker)
        started_at = time.monotonic()
    took_s = time.monotonic() - started_at

    writer.close()
    with pytest.raises(ConnectionRefusedError):
        await asyncio.open_connection(*broker)
    assert asyncio.all_tasks() == tasks
    assert took_s < 2


async def test_the_modules_on_it_are_read_as_on_any_other_broker() -> None:
    async with EmulatedHouse(faults=(), delay_s=(0, 0), wait_s=WAIT_FOR_OTHER_HOUSE_S) as house:
        for point in ("landing-lights", "stair-strip"):
            module = house.modules[point]

            found = await read_all(house, module)

            assert {name: found[name] for name in module.truth} == pytest.approx(dict(module.truth))


async def test_without_the_extra_the_error_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in [name for name in sys.modules if name.partition(".")[0] == "amqtt" or name.endswith("broker_user")]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, "amqtt", None)

    with pytest.raises(UsageError, match=r"pattress\[demo\]"):
        async with embedded_broker("127.0.0.1", user="auditor", secret="right"):
            pass
