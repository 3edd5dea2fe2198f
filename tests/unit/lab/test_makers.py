"""Each emulated module answers what its shipped profile expects: every setting, every table, every unit."""

import json
from typing import Any

import aiohttp
import pytest

from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint, LabModule, Twist, state_of
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.maker import Asked, Refused, Routed
from pattress.lab.makers import HTTP_MAKERS, MQTT_MAKERS
from pattress.lab.makers.quernlight import QUERNLIGHT
from pattress.lab.run import EmulatedHouse
from pattress.model.addresses import normal_mac
from pattress.model.vocabulary import definition_of
from unit.lab.by_profile import fetch, fetch_documents, listen, profile_of, read_all, settings_in


def is_by_construction(profile: dict[str, Any], name: str) -> bool:
    return "always" in profile["settings"].get(name.replace(".1.", ".*.").replace(".2.", ".*."), {})


async def test_every_profile_finds_the_truth_of_every_setting_at_every_module(house: EmulatedHouse) -> None:
    for module in house.modules.values():
        profile = profile_of(module.kind)

        found = await read_all(house, module)

        found["mac"] = normal_mac(str(found["mac"]))
        assert {name for name in found if not is_by_construction(profile, name)} == set(module.truth), module.point
        for name, value in module.truth.items():
            is_number = isinstance(value, float | int) and not isinstance(value, bool)
            assert found[name] == (pytest.approx(value) if is_number else value), f"{module.point}: {name}"
            assert isinstance(found[name], bool) == isinstance(value, bool), f"{module.point}: {name}"


def choices_of(name: str) -> list[object]:
    definition = definition_of(name)
    assert definition is not None
    if name == "firmware.updates" or definition.choices:
        return list(definition.choices)
    return [True, False] if definition.type == "boolean" else []


def test_every_value_that_a_table_translates_comes_back_as_itself() -> None:
    where = Circumstances(ground=MILL_GROUND, broker=Endpoint("127.77.0.1", 1883))
    tried = 0

    for module in larkspur_mill(where):
        profile = profile_of(module.kind)
        for name in module.truth:
            for value in choices_of(name):
                found = settings_in(profile, documents_of(module, {name: value}))
                assert found[name] == value, f"{module.kind}: {name}"
                tried += 1

    assert tried > 500


def documents_of(module: LabModule, truth: dict[str, Any]) -> dict[str, Any]:
    """Return the documents of a module with another truth, without a network in between."""
    state = state_of(module, (Twist(truth=truth),))
    if module.maker in HTTP_MAKERS:
        return dict(HTTP_MAKERS[module.maker].documents(state))
    maker = MQTT_MAKERS[module.maker]
    documents: dict[str, Any] = {}
    for document in profile_of(module.kind)["document"]:
        if "ask" in document:
            topic = document["ask"]["topic"].replace("{serial}", module.serial)
            answer = maker.answer(state, topic, document["ask"]["payload"].encode())
            assert answer is not None
            documents[document["id"]] = answer[2]
        else:
            tree: dict[str, Any] = {}
            for topic, payload in maker.retained(state).items():
                *path, last = topic.split("/")[3:]
                here = tree
                for level in path:
                    here = here.setdefault(level, {})
                here[last] = payload.decode()
            documents[document["id"]] = tree
    return documents


async def test_wrong_credentials_and_none_are_refused_by_every_module_but_for_its_open_document(
    house: EmulatedHouse,
) -> None:
    for point, endpoint in house.addresses.items():
        profile = profile_of(house.state(point).kind)
        for document in profile["document"]:
            for secret in ("not the secret", None):
                if document.get("open", False):
                    continue
                with pytest.raises(aiohttp.ClientResponseError) as refused:
                    await fetch(endpoint, profile, document, secret)
                assert refused.value.status == 401, f"{point}: {document['id']}"


async def test_the_open_document_alone_says_which_module_it_is(house: EmulatedHouse) -> None:
    for point, endpoint in house.addresses.items():
        profile = profile_of(house.state(point).kind)
        (document,) = [one for one in profile["document"] if one.get("open", False)]

        body = json.loads(await fetch(endpoint, profile, document, None))

        content = {document["id"]: body["result"] if "rpc" in document else body}
        known = {name: source for name, source in profile["settings"].items() if source.get("in") == document["id"]}
        found = settings_in(profile | {"settings": known}, content)
        assert normal_mac(str(found["mac"])) == house.state(point).module.mac


async def test_one_kind_knows_digest_with_md5_only_and_its_sisters_have_sha_256(house: EmulatedHouse) -> None:
    algorithms = {}

    async with aiohttp.ClientSession() as session:
        for point, path in (("boiler-call", "/ways"), ("hall-lights", "/ways"), ("kitchen-worktop", "/ties")):
            host, port = house.addresses[point]
            async with session.get(f"http://{host}:{port}{path}") as response:
                algorithms[point] = response.headers["WWW-Authenticate"].partition("algorithm=")[2].partition(",")[0]

    assert algorithms == {"boiler-call": "MD5", "hall-lights": "SHA-256", "kitchen-worktop": "SHA-256"}


async def test_a_question_to_one_module_on_the_broker_is_answered_by_that_one_only(house: EmulatedHouse) -> None:
    landing = house.modules["landing-lights"]

    documents = await fetch_documents(house, landing, profile_of(landing.kind))

    assert documents["self"]["mac"] == landing.mac


async def test_announcements_on_the_broker_name_kind_and_hardware_address(house: EmulatedHouse) -> None:
    heard = {**await listen(house, "ouseltide/perch/+"), **await listen(house, "fennimoor/+/ahoy")}

    announced = {topic: json.loads(payload) for topic, payload in heard.items()}
    macs = {told.get("ring") or told.get("peg") for told in announced.values()}
    assert macs == {module.mac for module in house.modules.values() if module.maker in MQTT_MAKERS}


@pytest.mark.parametrize(
    ("body", "code"),
    [
        (b"{", -32700),
        (b"[]", -32600),
        (b'{"jsonrpc":"1.0","id":1,"method":"introduce"}', -32600),
        (b'{"jsonrpc":"2.0","id":1,"method":"shine"}', -32601),
        (b'{"jsonrpc":"2.0","id":1,"method":"recount"}', -32602),
        (b'{"jsonrpc":"2.0","id":1,"method":"recount","params":{"chapter":"dreams"}}', -32602),
    ],
)
def test_a_wrong_call_gets_the_error_of_the_standard(body: bytes, code: int) -> None:
    refused = QUERNLIGHT.route(Asked(method="POST", path="/hearth", body=body))

    assert isinstance(refused, Refused)
    assert isinstance(refused.body, dict)
    assert refused.body["error"]["code"] == code, "JSON-RPC 2.0 section 5.1"


def test_an_answer_to_a_call_carries_the_id_of_the_call() -> None:
    body = b'{"jsonrpc":"2.0","id":"seven","method":"introduce"}'

    routed = QUERNLIGHT.route(Asked(method="POST", path="/hearth", body=body))

    assert isinstance(routed, Routed)
    assert routed.wrap({"a": 1}) == {"jsonrpc": "2.0", "id": "seven", "result": {"a": 1}}


@pytest.mark.parametrize("maker", ["brackenvolt", "tarnhollow"])
def test_modules_are_only_read_and_have_no_other_pages(maker: str) -> None:
    route = HTTP_MAKERS[maker].route
    known = {"brackenvolt": "/ways", "tarnhollow": "/t/io"}[maker]

    answers = [route(Asked(method=method, path=path, body=b"")) for method, path in (("POST", known), ("GET", "/else"))]

    assert [answer.status for answer in answers if isinstance(answer, Refused)] == [405, 404]
