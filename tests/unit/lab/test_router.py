from datetime import UTC, datetime, timedelta
from ipaddress import ip_address, ip_network

from pattress.lab.ground import MILL_GROUND
from pattress.lab.house import Circumstances, Endpoint, ModuleState, Twist, state_of
from pattress.lab.larkspur_mill import larkspur_mill
from pattress.lab.router import OUTSIDE, flows_of

BROKER = Endpoint("127.77.0.1", 1883)
UNTIL = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
SINCE = UNTIL - timedelta(minutes=15)
MODULE = larkspur_mill(Circumstances(ground=MILL_GROUND, broker=BROKER))[0]


def flows(*states: ModuleState) -> list[tuple[str, int, bool]]:
    """Who is called, how many packets come back, and whether they were dropped."""
    seen = flows_of(states, BROKER, MILL_GROUND, SINCE, UNTIL)
    assert {flow.sender for flow in seen} <= {ip_address("127.77.0.11")}
    assert {flow.sender_mac for flow in seen} <= {MODULE.mac}
    return [(str(flow.receiver), (flow.back or (0, 0, 0))[0], flow.is_denied is True) for flow in seen]


def test_a_healthy_module_talks_to_the_house_alone() -> None:
    assert flows(state_of(MODULE)) == [("127.77.0.1", 5, False), ("127.77.0.1", 1, False)]


def test_what_reaches_the_outside_is_answered_and_what_tries_is_dropped() -> None:
    [*_, reached] = flows(state_of(MODULE, (Twist(way_out="reaches"),)))
    [*_, tried] = flows(state_of(MODULE, (Twist(way_out="tries"),)))

    assert ip_address(reached[0]) in ip_network(OUTSIDE)
    assert (reached[1:], tried[1:]) == ((8, False), (0, True))


def test_a_module_that_is_not_there_or_has_no_power_sends_nothing() -> None:
    assert flows(state_of(MODULE, (Twist(is_absent=True),)), state_of(MODULE, (Twist(is_silent=True),))) == []
