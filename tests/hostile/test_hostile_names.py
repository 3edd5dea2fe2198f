"""A device's name is text, and stays text: through identity, findings, reports and the database."""

import json
import os
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest

from pattress.identity import Merged, merge
from pattress.model.device import Device, Sighting
from pattress.model.finding import Finding
from pattress.model.kept import PointSpan
from pattress.model.plan import Point
from pattress.model.reading import ReadError, Reported, Snapshot, Unreadable
from pattress.policy.account import Evidence, account
from pattress.policy.compiled import CompiledPolicy
from pattress.report.devices import devices_text, discovered_text, history_text, reading_text
from pattress.report.document import audit_document, device_entry, discover_document, reading_document
from pattress.report.text import Heading, Style, audit_text
from pattress.report.visible import visible
from pattress.store.store import Store
from unit.policy.examples import MAC, NETWORKS, NOON, need, rule, site

HOSTILE = {
    "markup": "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "entities": "&lt;b&gt;&#0;&quot;]]>",
    "sql": "x'); DROP TABLE device; --",
    "path": "../../../../etc/cron.d/x\\..\\..",
    "terminal title": "\x1b]0;owned\x07\x1b[2J\x1b[1;31mred",
    "eight-bit escape": "\x9b2J\x9d0;owned\x9c",
    "carriage return": "all fine\r\x1b[Kreally\b\b\b\b",
    "lines": "one\n\nMET: 99 of 99 checks\u2028two\u2029three\x85four\x0bfive",
    "zero": "before\x00after",
    "right to left": "\u202egnp.exe\u2066\u2069\u200f",
    "invisible": "ha\u200bll\u2060\ufeff\u00ad\u180e",
    "tags": "hall\U000e0068\U000e0069",
    "lone surrogate": "half \ud83d of it",
    "format": "%s%n {0.__class__} ${HOME} `id` $(id)",
    "json": '"}], "outcome": "met", "x": [{"',
    "csv": '=HYPERLINK("http://x")',
    "topic": "+/#/$SYS",
    "spaces": "   ",
    "combining": "a" + "\u0301" * 300,
    "long": "long " * 1000,
    "empty": "",
}
NAMES = pytest.mark.parametrize("name", HOSTILE.values(), ids=HOSTILE)
RULE = rule("cloud-off", need("cloud.enabled", "equal", False))
HEADING = Heading(
    site="House",
    run=1,
    started_at=NOON,
    duration_s=1.0,
    policy="test",
    policy_digest="0123456789",
    points=1,
    devices=1,
)


@dataclass(frozen=True, slots=True)
class Placed:
    """A device with its place, as the reports want it."""

    device: Any
    point: str | None = None
    other: str | None = None


def sightings(name: str) -> list[Sighting]:
    """One device with its MAC, one with its name only, both of that name and from that name's channel."""
    common = Sighting(source="mdns", seen_at=NOON, name=name, kind="twin", channel=f"on {name}", details={"k": name})
    return [
        replace(common, mac=MAC, address="192.0.2.7", serial=name or None),
        replace(common, source="mqtt", address="192.0.2.8"),
    ]


def judged(name: str) -> tuple[Merged, list[Finding]]:
    """An audit of a house in which that name stands wherever a device can put one."""
    house = site(Point(name="hall", room="Hall", kind="twin", announced=name), rules=(RULE,))
    merged = merge(sightings(name))
    readings = {
        device.id: Snapshot(
            device=device.id,
            kind="twin",
            taken_at=NOON,
            duration_s=0.1,
            values={"maker": Reported(value=name, origin=name)},
            errors=(ReadError(subject="cloud.enabled", reason=name),),
        )
        for device in merged.devices
    }
    evidence = Evidence(merged=merged, readings=readings, sources=[])
    return merged, account(house, CompiledPolicy(house.policy, NETWORKS), evidence)


def unsafe(text: str) -> Iterator[str]:
    """Every character that would do something instead of being seen; the line ends of a report are its own."""
    for character in text:
        if character != "\n" and unicodedata.category(character) in ("Cc", "Cf", "Cs", "Zl", "Zp"):
            yield f"U+{ord(character):04X}"


@NAMES
def test_a_name_makes_the_devices_that_any_name_would(name: str) -> None:
    merged = merge(sightings(name))

    assert [device.mac for device in merged.devices if device.mac] == [MAC]
    assert {device.name for device in merged.devices} == {name}
    assert merged.conflicts == ()


@NAMES
def test_nothing_of_a_name_acts_on_a_terminal(name: str) -> None:
    merged, findings = judged(name)
    device = merged.devices[0]
    reading = Unreadable(device=device.id, kind=name, taken_at=NOON, reason=name)
    placed = [Placed(one, other=name) for one in merged.devices]

    shown = {
        "audit": audit_text(HEADING, findings, Style()),
        "discover": discovered_text(placed, (), (), now=NOON, style=Style()),
        "read": reading_text(reading, point=None),
    }

    assert {where: list(unsafe(text)) for where, text in shown.items()} == {"audit": [], "discover": [], "read": []}
    assert visible(name) in shown["discover"]
    assert visible(name) in shown["read"]


@NAMES
def test_a_name_adds_no_line_of_its_own_to_a_report(name: str) -> None:
    _, findings = judged(name)
    _, plain = judged("tern")

    lines = audit_text(HEADING, findings, Style(width=100_000)).splitlines()

    assert len(lines) == len(audit_text(HEADING, plain, Style(width=100_000)).splitlines())
    assert sum(line.startswith("MET: ") for line in lines) == 1


@NAMES
def test_json_holds_the_name_as_it_is_in_plain_ascii(name: str) -> None:
    merged, findings = judged(name)
    counts = {"broken": 0, "unverified": 0, "waived": 0, "met": 0}
    snapshot = Snapshot(
        device=name, kind="twin", taken_at=NOON, duration_s=0.1, values={"maker": Reported(value=name, origin=name)}
    )

    discovered = discover_document([device_entry(one, point=None, other=None) for one in merged.devices], (), ())
    written = [
        json.dumps(audit_document(HEADING, ended_at=NOON, counts=counts, findings=findings, sources=(), conflicts=())),
        json.dumps(discovered),
        json.dumps(reading_document(snapshot, point=None)),
    ]

    assert all(text.isascii() and text.isprintable() for text in written)
    assert [device["name"] for device in json.loads(written[1])["devices"]] == [name] * len(merged.devices)
    assert json.loads(written[2])["settings"]["maker"]["value"] == name


@NAMES
async def test_the_database_gives_the_name_back(name: str, tmp_path: Path) -> None:
    merged, findings = judged(name)
    readings = [
        Snapshot(
            device=device.id,
            kind="twin",
            taken_at=NOON,
            duration_s=0.1,
            values={"maker": Reported(value=name, origin=name)},
        )
        for device in merged.devices
    ]
    whole = name.encode("utf-8", "replace").decode()

    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NOON, "0")
        await store.keep_devices(run, merged.devices)
        await store.keep_readings(run, readings)
        await store.keep_findings(run, findings, NOON)
        await store.end_run(run, NOON, {"broken": 0, "unverified": 0, "waived": 0, "met": 0})
    async with Store.open(tmp_path / "house.db") as store:
        known = await store.known_devices()
        spans = {one.id: await store.history(one.id) for one in known}
        is_open = [one.rule for one in await store.open_findings()]

    assert len(known) == len(merged.devices)
    if len(whole) <= 512:
        assert {one.name for one in known} == {whole}
        assert {span.value for of_one in spans.values() for span in of_one} == {whole}
    else:
        assert all(one.name is not None and whole.startswith(one.name[:400]) for one in known)
    assert all(len(of_one) == 1 for of_one in spans.values())
    assert is_open
    kept = [Placed(one, point=name) for one in known]
    at_point = [
        PointSpan(device=id, setting=one.setting, value=one.value, since=one.since, until=one.until)
        for id, of_one in spans.items()
        for one in of_one
    ]
    text = devices_text(kept, Style()) + history_text(kept[0], at_point)
    assert list(unsafe(text)) == []
    assert os.listdir(tmp_path) == ["house.db"]


def test_names_that_look_alike_stay_two_devices() -> None:
    names = ["hall", "hall\u200b", "ha\u200bll", "HALL", "hall ", "\u202ehall", "h\u0430ll"]

    merged = merge(Sighting(source="mqtt", seen_at=NOON, name=name, kind="twin") for name in names)

    assert sorted(device.id for device in merged.devices) == sorted(f"name:{name}" for name in names)
    assert all(isinstance(device, Device) for device in merged.devices)
