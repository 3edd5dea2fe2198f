"""Rules in words."""

import pytest

from pattress.model.rules import Applies, Requirement
from pattress.policy.words import applies_words, requirement_words
from unit.policy.examples import NETWORKS, need

VOLTAGE = "meter.*.voltage_v"


@pytest.mark.parametrize(
    ("requirement", "words"),
    [
        (need("cloud.enabled", "equal", False), "cloud.enabled must be false"),
        (need("net.rssi_dbm", "at_least", -70), "net.rssi_dbm must be at least -70 dBm"),
        (need("led.supply_v", "near", (12, 24), within_pct=10.0), "led.supply_v must be within 10 % of 12 V or 24 V"),
        (
            need("input.*.action", is_planned=True),
            "input.*.action must be what the plan says; where the plan says nothing, it cannot be checked",
        ),
        (
            need("firmware.version", "version_at_least", is_planned=True, unplanned="skip"),
            "firmware.version must be the version that the plan says, or a later one; where the plan says nothing, it "
            "is left out",
        ),
        (
            need(VOLTAGE, "near", is_planned=True, within_pct=7.5),
            "meter.*.voltage_v must be within 7.5 % of what the plan says; where the plan says nothing, it cannot be "
            "checked",
        ),
        (
            need(VOLTAGE, "between", rated="supply_ac_v", unrated="skip"),
            "meter.*.voltage_v must be within the supply_ac_v of the kind's data sheet; where the data sheet says "
            "nothing, it is left out",
        ),
    ],
)
def test_a_requirement_is_said_in_words(requirement: Requirement, words: str) -> None:
    assert requirement_words(requirement) == words


def test_an_address_is_said_by_the_networks_of_the_site_where_there_is_one() -> None:
    inside = need("mqtt.host", "in_network", "inside")

    assert requirement_words(inside) == (
        "mqtt.host must be an address in a network of the site, or a name under its own domains"
    )
    assert requirement_words(inside, NETWORKS).startswith(
        "mqtt.host must be an address in 192.0.2.0/24 or a name under "
    )


def test_a_network_that_the_rule_names_is_said_as_it_is() -> None:
    assert requirement_words(need("net.dns", "in_network", "10.0.0.0/8")) == "net.dns must be an address in 10.0.0.0/8"


@pytest.mark.parametrize(
    ("applies", "words"),
    [
        (Applies(), "every device"),
        (Applies(has=("output",)), "every device with output"),
        (Applies(has=("output", "meter")), "every device with output and meter"),
        (
            Applies(kinds=("a", "b", "c"), classes=("dimmer",), makers=("Quill",), rooms=("Hall", "Attic")),
            "every device of kind a, b or c, of class dimmer, made by Quill, in the room Hall or Attic",
        ),
    ],
)
def test_where_a_rule_applies_is_said_in_words(applies: Applies, words: str) -> None:
    assert applies_words(applies) == words
