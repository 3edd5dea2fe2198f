"""The closed set of comparisons."""

import ipaddress

import pytest

from pattress.model.rules import COMPARISONS, Comparison, Operand
from pattress.model.site import Networks
from pattress.model.vocabulary import Value
from pattress.policy.compare import expectation

HOUSE = ipaddress.ip_network("192.0.2.0/24")
SERVERS = ipaddress.ip_network("2001:db8:1::/64")
NETWORKS = Networks(devices=(HOUSE,), inside=(HOUSE, SERVERS), names=("home.arpa",))

CASES: list[tuple[Comparison, Operand, str, Value, bool | str]] = [
    ("equal", False, "cloud.enabled", False, True),
    ("equal", False, "cloud.enabled", True, False),
    ("equal", "reports", "input.1.action", "reports", True),
    ("equal", "reports", "input.1.action", "Reports", False),
    ("equal", 1883, "mqtt.port", 1883, True),
    ("equal", 30, "output.1.off_after_s", 30.0, True),
    ("equal", 1, "mqtt.port", True, False),
    ("one_of", ("off", "as-before"), "output.1.at_power_up", "off", True),
    ("one_of", ("off", "as-before"), "output.1.at_power_up", "on", False),
    ("at_least", -70, "net.rssi_dbm", -70, True),
    ("at_least", -70, "net.rssi_dbm", -71, False),
    ("at_most", 95, "output.1.over_temperature.limit_c", 95.0, True),
    ("at_most", 95, "output.1.over_temperature.limit_c", 95.1, False),
    ("between", (1, 10), "dimmer.1.min_level_pct", 1, True),
    ("between", (1, 10), "dimmer.1.min_level_pct", 10, True),
    ("between", (1, 10), "dimmer.1.min_level_pct", 10.5, False),
    ("matches", "Europe/.+", "time.zone", "Europe/Lisbon", True),
    ("matches", "Europe/.+", "time.zone", "not Europe/Lisbon", False),
    ("version_at_least", "2.10", "firmware.version", "2.10.0", True),
    ("version_at_least", "2.10", "firmware.version", "2.9.9", False),
    ("version_at_least", "2.10", "firmware.version", "latest", '"latest" is no version that can be ordered'),
    ("in_network", "devices", "mqtt.host", "192.0.2.2", True),
    ("in_network", "devices", "mqtt.host", "2001:db8:1::2", False),
    ("in_network", "inside", "mqtt.host", "2001:db8:1::2", True),
    ("in_network", "inside", "mqtt.host", "[2001:db8:1::2]", True),
    ("in_network", "inside", "mqtt.host", "::ffff:192.0.2.2", True),
    ("in_network", "inside", "mqtt.host", "broker.home.arpa", True),
    ("in_network", "inside", "mqtt.host", "Broker.Home.Arpa.", True),
    ("in_network", "inside", "mqtt.host", "broker.nothome.arpa", False),
    ("in_network", "inside", "mqtt.host", "broker.example.net", False),
    ("in_network", "inside", "mqtt.host", "", False),
    ("in_network", "192.0.2.0/28", "net.gateway", "192.0.2.1", True),
    ("in_network", "192.0.2.0/28", "net.gateway", "192.0.2.17", False),
    ("in_network", "192.0.2.0/28", "mqtt.host", "broker.home.arpa", '"broker.home.arpa" is no IP address'),
    ("present", True, "time.zone", "", True),
    ("absent", True, "time.zone", "UTC", False),
]

NEAR: list[tuple[Operand, float, Value, bool]] = [
    ((230,), 10, 207, True),
    ((230,), 10, 253.0, True),
    ((230,), 10, 206.9, False),
    ((230,), 10, 253.1, False),
    ((12, 24), 10, 13.2, True),
    ((12, 24), 10, 10.8, True),
    ((12, 24), 10, 21.6, True),
    ((12, 24), 10, 20.4, False),
    ((12, 24), 10, 18, False),
    (12, 10, 11, True),
    ((-70,), 10, -77, True),
    ((-70,), 10, -62, False),
    ((0,), 10, 0, True),
    ((0,), 10, 0.1, False),
]


@pytest.mark.parametrize(("operand", "within_pct", "value", "verdict"), NEAR)
def test_a_value_is_near_within_so_many_percent_of_the_operand_ends_included(
    operand: Operand, within_pct: float, value: Value, verdict: bool
) -> None:
    near = expectation("near", operand, "meter.1.voltage_v", NETWORKS, within_pct=within_pct)

    assert near.test(value) is verdict


def test_near_says_of_what_and_how_far() -> None:
    one = expectation("near", 230, "meter.1.voltage_v", NETWORKS, within_pct=10)
    two = expectation("near", (12, 24), "led.supply_v", NETWORKS, within_pct=7.5)

    assert one.words == "within 10 % of 230 V"
    assert two.words == "within 7.5 % of 12 V or 24 V"


@pytest.mark.parametrize(("comparison", "operand", "setting", "value", "verdict"), CASES)
def test_a_comparison_says(
    comparison: Comparison, operand: Operand, setting: str, value: Value, verdict: bool | str
) -> None:
    assert expectation(comparison, operand, setting, NETWORKS).test(value) == verdict


def test_every_comparison_has_a_case_both_ways() -> None:
    met = {"near"} | {comparison for comparison, *_, verdict in CASES if verdict is True}
    broken = {"near"} | {comparison for comparison, *_, verdict in CASES if verdict is False}

    assert met == set(COMPARISONS) - {"absent"}
    assert broken == set(COMPARISONS) - {"present"}


@pytest.mark.parametrize(
    ("comparison", "operand", "setting", "words"),
    [
        ("equal", False, "cloud.enabled", "false"),
        ("equal", "reports", "input.1.action", '"reports"'),
        ("one_of", ("off", "on"), "output.1.at_power_up", 'one of "off", "on"'),
        ("at_least", -70, "net.rssi_dbm", "at least -70 dBm"),
        ("at_most", 95, "output.1.over_temperature.limit_c", "at most 95 °C"),
        ("between", (1, 10), "dimmer.1.min_level_pct", "from 1 to 10 %"),
        ("matches", "a+", "time.zone", "text of the form a+"),
        ("version_at_least", "2.1", "firmware.version", "version 2.1 or later"),
        ("in_network", "devices", "mqtt.host", "an address in 192.0.2.0/24 or a name under home.arpa"),
        ("in_network", "10.0.0.0/8", "net.dns", "an address in 10.0.0.0/8"),
        ("present", True, "time.zone", "reported"),
        ("absent", True, "time.zone", "not there at all"),
    ],
)
def test_a_comparison_says_what_it_expects(comparison: Comparison, operand: Operand, setting: str, words: str) -> None:
    assert expectation(comparison, operand, setting, NETWORKS).words == words
