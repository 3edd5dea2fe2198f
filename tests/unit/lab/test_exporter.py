import socket
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address

import pytest

from pattress.lab.exporter import Exporter
from pattress.lab.flow_messages import Flow
from pattress.lab.house import Endpoint

NOON = datetime(2026, 3, 1, 12, 0, tzinfo=UTC)
FLOW = Flow(
    sender=ip_address("192.0.2.11"), receiver=ip_address("203.0.113.9"), began_at=NOON, ended_at=NOON,
)  # fmt: skip


def test_flows_come_as_datagrams_from_the_routers_address() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as collector:
        collector.bind(("127.0.0.1", 0))
        collector.settimeout(5)
        where = Endpoint(*collector.getsockname())

        with Exporter("127.77.0.1", where, started_at=NOON - timedelta(hours=1)) as exporter:
            sent = exporter.export([FLOW], NOON)
            came = [collector.recvfrom(65_535) for _ in range(sent)]

    assert [payload[:2] for payload, _ in came] == [b"\x00\x0a", b"\x00\x0a"], "the template, then the flow: IPFIX"
    assert {host for _, (host, _) in came} == {"127.77.0.1"}


def test_what_nobody_takes_is_lost_without_an_error() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as closed:
        closed.bind(("127.0.0.1", 0))
        where = Endpoint(*closed.getsockname())

    with Exporter("127.77.0.1", where, started_at=NOON) as exporter:
        counts = [exporter.export([FLOW], NOON) for _ in range(5)]

    assert counts == [2, 1, 1, 1, 1]


def test_it_sends_only_in_its_block() -> None:
    exporter = Exporter("127.77.0.1", Endpoint("127.0.0.1", 9), started_at=NOON)

    with pytest.raises(RuntimeError):
        exporter.export([FLOW], NOON)
