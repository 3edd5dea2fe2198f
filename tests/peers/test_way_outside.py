"""The way to the outside, watched live: a real packet filter, flow exporter, resolver and syslog.

While the filter is right, what a device tries is `tried`. Once one rule is gone it is `reached`, and the alert is out.
"""

import os
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path

import pytest

from peers.kernel_log import KernelLog, kernel_log
from peers.leaky_house import EXPIRY_S, NAME, OUTSIDE, leaky_house

pytestmark = pytest.mark.peer

PREFIX = f"way-{os.getpid()}"
EXPORTER_S = EXPIRY_S + 12.0  # its own timeouts, and how often it looks
OURS_S = 6.0  # what we may take: two seconds to tell, and a busy machine


@pytest.fixture
def log() -> Iterator[KernelLog]:
    with kernel_log() as opened:
        yield opened


def test_flow_export_alone_tells_it(tmp_path: Path, log: KernelLog) -> None:
    with leaky_house(tmp_path, log, PREFIX, sources=("flows",)) as house, house.watch() as watched:
        assert house.call_outside() == "TimeoutError"
        house.remove_isolation()
        called_at = time.time()
        assert house.call_outside() == "welcome"
        told_at = watched.wait_for("REACHED the outside", EXPORTER_S + OURS_S)
        watched.stop()
        encounters = house.encounters()

    by_kind = {one["kind"]: (one["title"], one["remote"], one["port"]) for one in encounters}
    assert by_kind == dict.fromkeys(("tried", "reached"), ("hall-lights", OUTSIDE, 8883))
    [reached] = [one for one in encounters if one["kind"] == "reached"]
    exported_at = datetime.fromisoformat(reached["first_at"]).timestamp()
    print(f"the exporter took {exported_at - called_at:.2f} s, we {told_at - exported_at:.2f} s")  # with -rP
    assert exported_at - called_at <= EXPORTER_S
    assert told_at - exported_at <= OURS_S


def test_the_packet_filters_log_and_the_resolvers_tell_the_same_story_without_flows(
    tmp_path: Path, log: KernelLog
) -> None:
    with leaky_house(tmp_path, log, PREFIX, sources=("firewall", "names")) as house, house.watch() as watched:
        house.ask_for_name()
        assert house.call_outside() == "TimeoutError"
        house.remove_isolation()
        called_at = time.time()
        assert house.call_outside() == "welcome"
        told_at = watched.wait_for("REACHED the outside", OURS_S)
        watched.wait_for(f"{OUTSIDE} ({NAME}), TCP port 8883", OURS_S)
        watched.stop()
        encounters = house.encounters()

    by_kind = {one["kind"]: (one["title"], one["remote"], one["name"], one["port"]) for one in encounters}
    assert by_kind == {
        "asked": ("hall-lights", NAME, NAME, None),
        "tried": ("hall-lights", OUTSIDE, NAME, 8883),
        "reached": ("hall-lights", OUTSIDE, NAME, 8883),
    }
    print(f"from the call to the alert {told_at - called_at:.2f} s")
    assert told_at - called_at <= OURS_S
