"""What a shipped profile finds at an emulated module, with nothing of the reading room: aiohttp, paho and JMESPath.

It follows the words of the profile format, so that server and profile are proven to agree by a third party.
"""

import asyncio
import base64
import json
import time
import tomllib
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import Any

import aiohttp
import jmespath
from aiohttp import DigestAuthMiddleware
from paho.mqtt.client import Client, MQTTMessage
from paho.mqtt.enums import CallbackAPIVersion

from pattress.lab.house import Endpoint, LabModule
from pattress.lab.maker import USER
from pattress.lab.run import EmulatedHouse

ANSWER_S = 5
QUIET_S = 0.3
CLOCK_STEP_S = 60  # offsets are told to the minute: an answer is on its way for a while, and tests are compared


@cache
def profile_of(kind: str) -> dict[str, Any]:
    return tomllib.loads((files("pattress") / "profiles" / f"{kind}.toml").read_text(encoding="utf-8"))


def shipped_profiles() -> dict[str, dict[str, Any]]:
    names = [file.name for file in (files("pattress") / "profiles").iterdir() if file.name.endswith(".toml")]
    return {name.removesuffix(".toml"): profile_of(name.removesuffix(".toml")) for name in sorted(names)}


async def read_all(house: EmulatedHouse, module: LabModule) -> dict[str, object]:
    """Return every setting of a module, by its concrete name; one that its document lacks is None."""
    profile = profile_of(house.state(module.title).kind)
    documents = await fetch_documents(house, module, profile)
    return settings_in(profile, documents)


async def fetch_documents(house: EmulatedHouse, module: LabModule, profile: Mapping[str, Any]) -> dict[str, object]:
    documents: dict[str, object] = {}
    for document in profile["document"]:
        if "get" in document or "rpc" in document:
            is_open = document.get("open", False)
            secret = None if is_open else house.secrets[module.maker]
            body = await fetch(house.addresses[module.title], profile, document, secret)
            content = json.loads(body)
            documents[document["id"]] = content["result"] if "rpc" in document else content
        elif "ask" in document:
            ask = {key: word.replace("{serial}", module.serial) for key, word in document["ask"].items()}
            heard = await listen(house, ask["answer"], question=(ask["topic"], ask["payload"]))
            documents[document["id"]] = json.loads(heard[ask["answer"]])
        else:
            topic_filter = document["retained"].replace("{serial}", module.serial)
            heard = await listen(house, topic_filter)
            documents[document["id"]] = _nested(heard, topic_filter.removesuffix("#"))
    return documents


async def fetch(
    endpoint: Endpoint, profile: Mapping[str, Any], document: Mapping[str, Any], secret: str | None
) -> bytes:
    """Return the body of one document; raise `ClientResponseError` for a refusal. `secret` None shows nothing."""
    access = profile.get("access", {})
    headers, middlewares = {}, ()
    if secret is not None:
        match access["credential"]:
            case "digest":
                middlewares = (DigestAuthMiddleware(USER, secret),)
            case "basic":
                pair = base64.b64encode(f"{USER}:{secret}".encode()).decode()
                headers["Authorization"] = f"Basic {pair}"
            case "bearer":
                headers["Authorization"] = f"Bearer {secret}"
            case "header":
                headers[access["header"]] = secret
    timeout = aiohttp.ClientTimeout(total=ANSWER_S)
    base = f"http://{endpoint.host}:{endpoint.port}"
    async with aiohttp.ClientSession(
        headers=headers, middlewares=middlewares, timeout=timeout, raise_for_status=True
    ) as session:
        if "get" in document:
            async with session.get(base + document["get"]) as response:
                return await response.read()
        rpc = document["rpc"]
        call = {"jsonrpc": "2.0", "id": 7, "method": rpc["method"], "params": rpc.get("params", {})}
        async with session.post(base + rpc["path"], json=call) as response:
            return await response.read()


async def listen(
    house: EmulatedHouse, topic_filter: str, *, question: tuple[str, str] | None = None
) -> dict[str, bytes]:
    """Return what the broker has below a filter; with a question, only what comes as the answer to it."""
    loop = asyncio.get_running_loop()
    arrivals: asyncio.Queue[MQTTMessage | None] = asyncio.Queue()
    client = Client(CallbackAPIVersion.VERSION2)
    if house.broker_user is not None:
        client.username_pw_set(house.broker_user, house.broker_secret)
    client.on_connect = lambda client, *_: client.subscribe(topic_filter)
    client.on_subscribe = lambda *_: loop.call_soon_threadsafe(arrivals.put_nowait, None)
    client.on_message = lambda client, userdata, message: loop.call_soon_threadsafe(arrivals.put_nowait, message)
    client.connect_async(*house.broker)
    client.loop_start()
    heard: dict[str, bytes] = {}
    try:
        async with asyncio.timeout(ANSWER_S):
            while True:
                try:
                    async with asyncio.timeout(QUIET_S if heard else None):
                        message = await arrivals.get()
                except TimeoutError:
                    return heard
                if message is not None and (question is None or not message.retain):
                    heard[message.topic] = message.payload
                    if question is not None:
                        return heard
                elif message is None and question is not None:
                    client.publish(*question)
    except TimeoutError:
        return heard
    finally:
        client.disconnect()
        await asyncio.to_thread(client.loop_stop)


def settings_in(profile: Mapping[str, Any], documents: Mapping[str, object]) -> dict[str, object]:
    found: dict[str, object] = {}
    for pattern, source in profile["settings"].items():
        group = pattern.partition(".")[0]
        channels = range(1, profile["channels"][group] + 1) if ".*." in pattern else [1]
        for channel in channels:
            name = pattern.replace("*", str(channel))
            found[name] = source["always"] if "always" in source else _value(source, channel, documents)
    return found


def _value(source: Mapping[str, Any], channel: int, documents: Mapping[str, object]) -> object:
    path = source["at"].replace("{channel}", str(channel)).replace("{index}", str(channel - 1))
    raw = jmespath.search(path, documents[source["in"]])
    if "clock" in source and raw is not None:
        is_text = source["clock"] == "iso"
        reported_s = datetime.fromisoformat(raw).timestamp() if is_text else raw * source.get("scale", 1)
        return float(round((reported_s - time.time()) / CLOCK_STEP_S) * CLOCK_STEP_S)
    if "values" in source and raw is not None:
        return source["values"][json.dumps(raw) if not isinstance(raw, str) else raw]
    if source.get("text") and raw is not None:
        raw = float(raw)
    if "scale" in source or "offset" in source:
        return raw * source.get("scale", 1) + source.get("offset", 0)
    return raw


def _nested(topics: Mapping[str, bytes], prefix: str) -> dict[str, object]:
    tree: dict[str, Any] = {}
    for topic, payload in topics.items():
        *path, last = topic.removeprefix(prefix).split("/")
        here = tree
        for level in path:
            here = here.setdefault(level, {})
        here[last] = payload.decode()
    return tree
