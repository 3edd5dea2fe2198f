"""A log that is looked at again."""

from dataclasses import replace
from datetime import UTC, datetime
from ipaddress import ip_network
from pathlib import Path

from pattress.daemon.replay import replayed
from pattress.egress.tail_reader import MAX_LINE_BYTES
from pattress.model.site import Networks
from pattress.model.watching import Watching, WatchSource
from unit.audit.test_run import empty_site

NOW = datetime(2026, 3, 2, 12, 0, tzinfo=UTC)
PACKET = "IN=iot0 OUT=wan0 SRC=10.20.0.7 DST=203.0.113.9 LEN=60 TTL=63 PROTO=UDP SPT=123 DPT=123 LEN=40"
NETWORK = (ip_network("10.20.0.0/24"),)


async def told(folder: Path, *lines: str) -> list[tuple[str, int, datetime]]:
    """What lines of a log come to."""
    source = WatchSource(name="router-log", kind="firewall", senders=(), verdicts={"iot-drop": "dropped"})
    site = replace(
        empty_site(folder),
        networks=Networks(devices=NETWORK, inside=NETWORK, outside=(ip_network("203.0.113.0/24"),)),
        watching=Watching(sources=(source,)),
    )
    log = folder / "firewall.log"
    log.write_text("".join(f"{line}\n" for line in lines), encoding="utf-8")
    found = await replayed(site, folder / "none.db", log, None, clock=lambda: NOW)
    return [(one.kind, one.count, one.first_at) for one in found.encounters]


async def test_a_line_counts_at_the_time_that_it_tells(tmp_path: Path) -> None:
    stamps = [f"2026-03-01T12:{minute:02}:00+00:00 router kernel:" for minute in (0, 1)]

    found = await told(tmp_path, *(f"{stamp} iot-drop: {PACKET}" for stamp in stamps))

    assert found == [("tried", 2, datetime(2026, 3, 1, 12, 0, tzinfo=UTC))]


async def test_the_rest_of_a_line_that_is_too_long_is_no_line_of_its_own(tmp_path: Path) -> None:
    """Whoever can have a program log much could otherwise make up packets."""
    filled = "web: ".ljust(MAX_LINE_BYTES, "x")

    assert await told(tmp_path, f"{filled}iot-drop: {PACKET}", "iot-drop: nothing of a packet") == []
