"""Settings out of documents."""

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.profile import AliveSign, HttpGet, JsonRpc, MqttAsk, MqttRetained, Request, SettingSource
from pattress.model.reading import Reported
from pattress.reading.clock import Exchange
from pattress.reading.extract import Extractor, nested, request_words
from unit.reading.stand import document, profile


def extracted(content: object, *settings: SettingSource, **more: Any) -> tuple[dict[str, object], list[str]]:
    values, errors = Extractor(profile(document("facts"), settings=settings, **more)).extract("facts", content)
    return {name: one.value for name, one in values.items()}, [f"{one.subject}: {one.reason}" for one in errors]


def source(name: str, at: str, **more: Any) -> SettingSource:
    return SettingSource(name=name, document="facts", at=at, **more)


def test_a_value_says_where_it_was_read_from() -> None:
    extractor = Extractor(profile(document("facts"), settings=[source("mqtt.port", "broker.port")]))

    values, errors = extractor.extract("facts", {"broker": {"port": 1883}})

    assert values == {"mqtt.port": Reported(value=1883, origin="GET /facts, broker.port")}
    assert errors == []


def test_absent_null_false_zero_and_empty_are_kept_apart() -> None:
    content = {"null": None, "false": False, "zero": 0, "empty": ""}
    settings = [
        source("mqtt.host", "not_there"),
        source("time.server", "null"),
        source("cloud.enabled", "false"),
        source("health.restarts", "zero"),
        source("net.ssid", "empty"),
    ]

    values, errors = extracted(content, *settings)

    assert values == {"cloud.enabled": False, "health.restarts": 0, "net.ssid": ""}
    assert errors == []


def test_one_setting_that_does_not_fit_is_one_error_beside_good_ones() -> None:
    content = {"host": "192.0.2.2", "port": "1883", "on": True}
    settings = [source("mqtt.host", "host"), source("mqtt.port", "port"), source("mqtt.enabled", "on")]

    values, errors = extracted(content, *settings)

    assert values == {"mqtt.host": "192.0.2.2", "mqtt.enabled": True}
    assert errors == ['mqtt.port: found text "1883", expected a whole number from 1 to 65535 (GET /facts, port)']


@pytest.mark.parametrize(
    ("name", "raw", "complaint"),
    [
        ("mqtt.port", 70000, "found 70000, expected a whole number from 1 to 65535"),
        ("mqtt.port", True, "found true, expected a whole number from 1 to 65535"),
        ("mqtt.port", 1883.5, "found 1883.5, expected a whole number from 1 to 65535"),
        ("mqtt.enabled", 1, "found 1, expected true or false"),
        ("mac", "fridge", 'found text "fridge", expected a hardware address'),
        ("net.gateway", "192.0.2", 'found text "192.0.2", expected an IP address'),
        ("net.ssid", ["a"], "found a list, expected text"),
        ("net.ssid", {"a": 1}, "found an object, expected text"),
        ("net.ssid", "x" * 600, f'found text "{"x" * 77}...", expected text of at most 512 characters'),
        ("health.restarts", 2**63, f"found {2**63}, expected a whole number"),
        ("firmware.updates", "weekly", 'found text "weekly", expected one of manual, automatic'),
    ],
)
def test_a_misfit_is_named_with_what_was_found_and_expected(name: str, raw: object, complaint: str) -> None:
    values, errors = extracted({"it": raw}, source(name, "it"))

    assert values == {}
    assert len(errors) == 1
    assert errors[0].startswith(f"{name}: {complaint}")


@pytest.mark.parametrize(
    ("raw", "expected"),
    [("lit", "on"), (True, "as-before"), (2, "as-input"), (False, "off")],
)
def test_a_value_table_translates_text_numbers_and_booleans(raw: object, expected: str) -> None:
    table = {"lit": "on", "true": "as-before", "false": "off", "2": "as-input"}

    values, errors = extracted({"wake": raw}, source("output.1.at_power_up", "wake", values=table))

    assert (values, errors) == ({"output.1.at_power_up": expected}, [])


def test_what_is_not_in_the_value_table_is_an_error_that_names_the_table() -> None:
    values, errors = extracted(
        {"wake": "dusk"}, source("output.1.at_power_up", "wake", values={"lit": "on", "dark": "off"})
    )

    assert values == {}
    assert errors == ['output.1.at_power_up: found text "dusk", expected one of lit, dark (GET /facts, wake)']


@pytest.mark.parametrize(
    ("name", "raw", "more", "expected"),
    [
        ("meter.1.voltage_v", 2301, {"scale": 0.1}, 230.1),
        ("health.temperature_c", 2981, {"scale": 0.1, "offset": -273.15}, 24.95),
        ("output.1.off_after_s", 5, {"scale": 60}, 300.0),
        ("net.rssi_dbm", 40, {"scale": -1}, -40.0),
        ("net.rssi_dbm", 40, {"offset": -100.0}, -60.0),
        ("health.free_memory_bytes", 24, {"scale": 1024}, 24576),
        ("meter.1.power_w", "12.5", {"is_text": True, "scale": 1000}, 12500.0),
    ],
)
def test_units_are_converted_without_the_dust_of_fractions(
    name: str, raw: object, more: dict[str, Any], expected: float
) -> None:
    values, errors = extracted({"it": raw}, source(name, "it", **more))

    assert (values, errors) == ({name: expected}, [])
    assert type(values[name]) is type(expected)


def test_a_conversion_does_not_make_a_number_of_what_is_none() -> None:
    values, errors = extracted({"it": True}, source("meter.1.voltage_v", "it", scale=0.1))

    assert values == {}
    assert errors == ["meter.1.voltage_v: found true, expected a number from 0 to 1000 V (GET /facts, it)"]


@pytest.mark.parametrize(
    ("name", "raw", "expected"),
    [
        ("mqtt.port", " 1883 ", 1883),
        ("meter.1.power_w", "-2.5e1", -25.0),
        ("meter.1.power_w", ".5", 0.5),
        ("mqtt.enabled", "true", True),
        ("mqtt.enabled", "false", False),
        ("net.ssid", " moor ", "moor"),
        ("mqtt.port", 1883, 1883),
    ],
)
def test_text_may_hold_a_value_where_the_profile_says_so(name: str, raw: object, expected: object) -> None:
    values, errors = extracted({"it": raw}, source(name, "it", is_text=True))

    assert (values, errors) == ({name: expected}, [])


@pytest.mark.parametrize(
    ("name", "raw"),
    [
        ("mqtt.port", "18_83"),
        ("mqtt.port", "0x75b"),
        ("mqtt.port", "1883.0"),
        ("mqtt.port", ""),
        ("mqtt.port", "١٨٨٣"),
        ("meter.1.power_w", "nan"),
        ("meter.1.power_w", "inf"),
        ("meter.1.power_w", "1e999"),
        ("meter.1.power_w", "12 W"),
        ("mqtt.enabled", "yes"),
        ("mqtt.enabled", "True"),
    ],
)
def test_text_that_holds_no_such_value_is_an_error(name: str, raw: str) -> None:
    values, errors = extracted({"it": raw}, source(name, "it", is_text=True))

    assert values == {}
    assert [error.split(":")[0] for error in errors] == [name]


def test_a_name_with_a_star_is_one_setting_for_each_channel() -> None:
    content = {"lines": [{"on": True}, {"on": False}], "p1": 5, "p2": 7}
    settings = [source("output.*.on", "lines[{index}].on"), source("meter.*.power_w", "p{channel}")]

    values, errors = extracted(content, *settings, channels={"output": 2, "meter": 2})

    assert values == {"output.1.on": True, "output.2.on": False, "meter.1.power_w": 5, "meter.2.power_w": 7}
    assert errors == []


def test_a_channel_that_the_device_does_not_report_is_not_a_value() -> None:
    values, errors = extracted(
        {"lines": [{"on": True}]}, source("output.*.on", "lines[{index}].on"), channels={"output": 2}
    )

    assert (values, errors) == ({"output.1.on": True}, [])


def test_what_always_holds_is_a_constant_and_not_read() -> None:
    settings = [SettingSource(name="output.*.contact", always="potential-free")]
    extractor = Extractor(profile(document("facts"), settings=settings, channels={"output": 2}))

    values = extractor.constants()

    assert {name: one.value for name, one in values.items()} == {
        "output.1.contact": "potential-free",
        "output.2.contact": "potential-free",
    }
    assert {one.origin for one in values.values()} == {"data sheet of tern-d2"}
    assert extractor.names_in("facts") == []


@pytest.mark.parametrize(
    ("at", "content"),
    [
        ("lines[?load > `5`].name | [0]", {"lines": [{"load": "much", "name": "a"}]}),
        ("contains(tags, `5`)", {"tags": "text"}),
        ("length(tags)", {"tags": 5}),
        ("join(',', tags)", {"tags": ["x" * 5000, 5]}),
    ],
)
def test_a_document_that_an_expression_cannot_be_applied_to_is_one_error_and_short(at: str, content: object) -> None:
    values, errors = extracted(content, source("net.ssid", at), source("mqtt.host", "'192.0.2.2'"))

    assert values == {"mqtt.host": "192.0.2.2"}
    assert len(errors) == 1
    assert errors[0].startswith(f"net.ssid: {at} cannot be applied to what is there: ")
    assert len(errors[0]) < 300


def test_a_sign_of_life_that_cannot_be_looked_for_is_not_there() -> None:
    alive = AliveSign(document="facts", at="length(state)", equals=2)
    extractor = Extractor(profile(document("facts"), alive=alive))

    assert extractor.alive({"state": "up"}) == 2
    assert extractor.alive({"state": 5}) is None
    assert extractor.alive({}) is None


def test_retained_topics_nest_by_level() -> None:
    topics = {"load/p1": 5, "load/p2": 7, "here": "yes"}

    assert nested(topics) == {"load": {"p1": 5, "p2": 7}, "here": "yes"}


def test_what_stands_on_a_level_itself_is_at_the_empty_key() -> None:
    topics = {"load": 12, "load/p1": 5, "load/p1/peak": 9}

    assert nested(topics) == {"load": {"": 12, "p1": {"": 5, "peak": 9}}}


def test_an_object_in_a_topic_is_not_mixed_with_the_topics_below_it() -> None:
    held = {"p1": "inside"}

    result = nested({"load": held, "load/p1": 5})

    assert result == {"load": {"": {"p1": "inside"}, "p1": 5}}
    assert held == {"p1": "inside"}


def topics(*, shortest_level: int) -> st.SearchStrategy[dict[str, int]]:
    level = st.text(alphabet="ab-", min_size=shortest_level, max_size=2)
    return st.dictionaries(st.lists(level, min_size=1, max_size=4).map("/".join), st.integers())


@given(topics(shortest_level=1))
def test_every_retained_topic_is_found_at_its_own_place(kept: dict[str, int]) -> None:
    result = nested(kept)

    for topic, value in kept.items():
        found: Any = result
        for level in topic.split("/"):
            found = found[level]
        assert (found[""] if isinstance(found, dict) else found) == value


@given(topics(shortest_level=0))
def test_topics_with_empty_levels_nest_too(kept: dict[str, int]) -> None:
    result = nested(kept)

    assert (result == {}) == (kept == {})


@given(st.recursive(st.none() | st.booleans() | st.integers() | st.floats() | st.text(), st.lists, max_leaves=5))
def test_a_setting_is_a_value_an_error_or_absent_and_never_two_of_these(raw: object) -> None:
    values, errors = extracted({"it": raw}, source("meter.1.power_w", "it"))

    assert len(values) + len(errors) == (0 if raw is None else 1)


@pytest.mark.parametrize(
    ("request_", "words"),
    [
        (HttpGet(path="/facts"), "GET /facts"),
        (JsonRpc(path="/call", method="unit.tell"), "call unit.tell at /call"),
        (MqttAsk(ask="tern/x/ask", answer="tern/x/answer", payload="?"), "answer on tern/x/answer"),
        (MqttRetained(filter="tern/kept/#"), "retained tern/kept/#"),
    ],
)
def test_each_way_to_ask_has_words_for_a_person(request_: Request, words: str) -> None:
    assert request_words(document("one", request_)) == words


CLOCK = SettingSource(name="time.offset_s", document="facts", at="now", clock="unix")


def clock_of(content: object, source: SettingSource, exchange: Exchange | None) -> tuple[object, list[str]]:
    kind = profile(document("facts"), settings=[source])
    values, errors = Extractor(kind).extract("facts", content, exchange)
    return {name: one.value for name, one in values.items()}, [one.reason for one in errors]


@pytest.mark.parametrize(
    ("now", "more"),
    [
        (5_000_003_600.2, {}),
        (5_000_003_600_200, {"scale": 0.001}),
        ("5000003600.2", {"is_text": True}),
        ("2128-06-11T09:53:20.2Z", {"clock": "iso"}),
    ],
)
def test_a_clock_is_measured_against_the_times_of_question_and_answer(now: object, more: dict[str, Any]) -> None:
    values, errors = clock_of({"now": now}, replace(CLOCK, **more), Exchange(5_000_000_000.0, 5_000_000_000.4))

    assert (values, errors) == ({"time.offset_s": pytest.approx(3600.0)}, [])


def test_a_clock_that_cannot_be_measured_is_an_error_and_no_offset() -> None:
    slow = clock_of({"now": 5_000_000_000}, CLOCK, Exchange(5_000_000_000.0, 5_000_000_003.0))
    unknown = clock_of({"now": 5_000_000_000}, CLOCK, None)

    assert slow[0] == unknown[0] == {}
    assert slow[1] == [
        "found 3, expected an answer within 2 s: a clock cannot be measured by a slower one (GET /facts, now)"
    ]
    assert len(unknown[1]) == 1
