"""The setting vocabulary."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.model.vocabulary import (
    SettingDefinition,
    ValueMismatchError,
    channel_of,
    checked_value,
    definition_of,
    definitions,
    generic_name,
    nearest_name,
    sections,
)

UNIT_SUFFIXES = {
    "_dbm": "dBm",
    "_s": "s",
    "_c": "Cel",
    "_w": "W",
    "_a": "A",
    "_v": "V",
    "_wh": "W.h",
    "_pct": "%",
    "_bytes": "By",
}


def the(name: str) -> SettingDefinition:
    definition = definition_of(name)
    assert definition is not None, name
    return definition


def test_every_group_of_a_module_is_covered() -> None:
    """Identity, cloud, broker, network, time, access, the channels, shutter and health."""
    assert set(sections()) == {
        *("identity", "cloud", "mqtt", "net", "time", "access"),
        *("output", "input", "meter", "dimmer", "led", "shutter", "health"),
    }


@pytest.mark.parametrize("definition", list(definitions()), ids=lambda one: one.name)
def test_a_definition_is_whole(definition: SettingDefinition) -> None:
    assert re.fullmatch(r"[a-z]+(\.N)?(\.[a-z_]+)*", definition.name)
    assert definition.meaning.endswith(".")
    assert definition.minimum is None or definition.maximum is None or definition.minimum < definition.maximum
    assert not definition.choices or definition.type == "text"


@pytest.mark.parametrize("definition", list(definitions()), ids=lambda one: one.name)
def test_a_quantity_carries_its_unit_in_its_name(definition: SettingDefinition) -> None:
    suffix = next((one for one in UNIT_SUFFIXES if definition.name.endswith(one)), None)

    if definition.unit not in (None, "1"):
        assert suffix is not None
        assert UNIT_SUFFIXES[suffix] == definition.unit


def test_names_are_unique() -> None:
    names = [definition.name for definition in definitions()]

    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("name", "generic", "channel"),
    [
        ("output.2.over_temperature.limit_c", "output.N.over_temperature.limit_c", 2),
        ("output.*.on", "output.N.on", None),
        ("led.supply_v", "led.supply_v", None),
        ("input.12.action", "input.N.action", 12),
        ("input.0.action", "input.0.action", None),
        ("input.01.action", "input.01.action", None),
    ],
)
def test_a_concrete_name_leads_to_its_definition(name: str, generic: str, channel: int | None) -> None:
    assert generic_name(name) == generic
    assert channel_of(name) == channel


@pytest.mark.parametrize(
    ("wrong", "nearest"),
    [
        ("output.2.at_powerup", "output.2.at_power_up"),
        ("cloud.enable", "cloud.enabled"),
        ("mqtt.hots", "mqtt.host"),
        ("input.*.acton", "input.*.action"),
        ("zzzz", None),
    ],
)
def test_a_wrong_name_has_a_nearest_one(wrong: str, nearest: str | None) -> None:
    assert definition_of(wrong) is None
    assert nearest_name(wrong) == nearest


@pytest.mark.parametrize(
    ("name", "value", "kept"),
    [
        ("cloud.enabled", False, False),
        ("mqtt.port", 1883, 1883),
        ("net.rssi_dbm", -61, -61),
        ("net.rssi_dbm", -61.5, -61.5),
        ("input.1.action", "reports", "reports"),
        ("net.address", "::FFFF:192.0.2.7", "192.0.2.7"),
        ("mac", "00-00-5E-00-53-01", "00:00:5e:00:53:01"),
        ("net.ssid", "", ""),
        ("net.ssid", "a\ud800b", "a?b"),
        ("health.free_memory_bytes", 0, 0),
    ],
)
def test_a_fitting_value_is_kept_in_its_one_form(name: str, value: object, kept: object) -> None:
    checked = checked_value(the(name), value)

    assert checked == kept
    assert type(checked) is type(kept)


@pytest.mark.parametrize(
    ("name", "value", "message"),
    [
        ("mqtt.port", "1883", 'found text "1883", expected a whole number from 1 to 65535'),
        ("mqtt.port", 0, "found 0, expected a whole number from 1 to 65535"),
        ("mqtt.port", 65536, "found 65536, expected a whole number from 1 to 65535"),
        ("mqtt.port", True, "found true, expected a whole number from 1 to 65535"),
        ("mqtt.port", 1883.0, "found 1883, expected a whole number from 1 to 65535"),
        ("cloud.enabled", 0, "found 0, expected true or false"),
        ("cloud.enabled", "false", 'found text "false", expected true or false'),
        ("net.rssi_dbm", math.nan, "found nan, expected a number from -120 to 0 dBm"),
        ("net.rssi_dbm", -math.inf, "found -inf, expected a number from -120 to 0 dBm"),
        ("health.uptime_s", 2**70, f"found {2**70}, expected a number of at least 0 s"),
        ("health.uptime_s", None, "found nothing, expected a number of at least 0 s"),
        ("input.1.action", "Reports", 'found text "Reports", expected one of copies, alternates, impulse, reports'),
        ("net.address", "192.0.2.256", 'found text "192.0.2.256", expected an IP address'),
        ("mac", "00:00:5e", 'found text "00:00:5e", expected a hardware address'),
        ("net.ssid", ["a"], "found a list, expected text"),
        ("net.ssid", {"a": 1}, "found an object, expected text"),
        ("net.ssid", "x" * 513, f'found text "{"x" * 77}...", expected text of at most 512 characters'),
    ],
)
def test_a_value_that_does_not_fit_is_refused_in_words(name: str, value: object, message: str) -> None:
    with pytest.raises(ValueMismatchError) as caught:
        checked_value(the(name), value)

    assert str(caught.value) == message


@given(st.sampled_from(sorted(one.name for one in definitions())), st.from_type(object))
def test_whatever_comes_it_is_a_value_of_the_type_or_refused(name: str, value: object) -> None:
    definition = the(name)

    try:
        checked = checked_value(definition, value)
    except ValueMismatchError:
        return

    assert checked_value(definition, checked) == checked
    types = {"boolean": bool, "integer": int, "number": (int, float), "text": str}
    assert isinstance(checked, types[definition.type])  # type: ignore[arg-type]
