"""The router of the emulated house: which flows it sees of the modules, and what its filter does with them.

What belongs here: flows, from how the modules are. What does not: their octets (`flow_messages`) and sending them.
Like many routers it exports the hardware address of who sent, and whether its filter dropped it.
"""

from collections.abc import Iterable, Iterator
from datetime import datetime
from ipaddress import ip_address

from pattress.lab.flow_messages import Flow
from pattress.lab.house import Endpoint, Ground, ModuleState

OUTSIDE = "203.0.113.0/24"  # RFC 5737: for documentation, here in the place of the internet
MAKER_S_CLOUD = Endpoint("203.0.113.88", 8883)
TIME_PORT = 123
FIRST_PORT = 50_000  # of the modules' own ends
SYN, ALL = 0x02, 0x1A  # TCP control bits, RFC 9293 section 3.1: a first packet; a connection that is used


def flows_of(
    states: Iterable[ModuleState], broker: Endpoint, ground: Ground, began_at: datetime, ended_at: datetime
) -> list[Flow]:
    """Return what went on between two moments: each module with the broker and the time server, some with outside."""
    return [
        flow for state in states if state.is_present for flow in _of_module(state, broker, ground, began_at, ended_at)
    ]


def _of_module(
    state: ModuleState, broker: Endpoint, ground: Ground, began_at: datetime, ended_at: datetime
) -> Iterator[Flow]:
    def flow(to: Endpoint, protocol: int, sent: tuple[int, int, int], back: tuple[int, int, int], port: int) -> Flow:
        return Flow(
            sender=ip_address(ground.address(module.number)),
            receiver=ip_address(to.host),
            protocol=protocol,
            sender_port=port,
            receiver_port=to.port,
            packets=sent[0],
            octets=sent[1],
            flags=sent[2],
            back=back,
            sender_mac=module.mac,
            is_denied=back == _NOTHING,
            began_at=began_at,
            ended_at=ended_at,
        )

    module = state.module
    own_port = FIRST_PORT + module.number
    if state.is_silent or not state.is_powered:
        return
    yield flow(broker, 6, (6, 540, ALL), (5, 310, ALL), own_port)
    yield flow(Endpoint(ground.house_server, TIME_PORT), 17, (1, 76, 0), (1, 76, 0), own_port)
    match state.way_out:
        case "reaches":
            yield flow(MAKER_S_CLOUD, 6, (9, 1_240, ALL), (8, 3_460, ALL), own_port)
        case "tries":
            yield flow(MAKER_S_CLOUD, 6, (1, 60, SYN), _NOTHING, own_port)
        case None:
            pass


_NOTHING = (0, 0, 0)
