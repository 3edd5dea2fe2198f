"""An export holds everything, each line by itself."""

import json
from datetime import timedelta
from pathlib import Path
from typing import Any

import jsonschema
import pytest

import pattress.report
from pattress.model.errors import StoreError
from pattress.store.export import export
from pattress.store.store import Store
from unit.store.builders import HALL, NIGHT, RELAY, ask, snapshot
from unit.store.filled import NIGHTS, fill_with_everything
from unit.store.watched import TEMPLATE, TRIED

WATCHED = ("encounter", "company", "hearing", "told", "template", "place")
CHECKED = ("close_in", "close_in_step", "close_in_samples")
SCHEMA = json.loads((Path(pattress.report.__file__).parent / "schemas" / "store-export-1.json").read_text("utf-8"))


def exported(path: Path) -> list[dict[str, Any]]:
    lines: list[str] = []
    export(path, lines.append, NIGHT)
    assert all(line.endswith("\n") and line.isascii() and line.count("\n") == 1 for line in lines)
    return [json.loads(line) for line in lines]


@pytest.fixture
async def path(tmp_path: Path) -> Path:
    await fill_with_everything(tmp_path / "house.db")
    return tmp_path / "house.db"


def test_every_line_is_what_the_schema_says_and_every_kind_is_there(path: Path) -> None:
    validator = jsonschema.Draft202012Validator(SCHEMA, format_checker=jsonschema.FormatChecker())

    lines = exported(path)

    for line in lines:
        validator.validate(line)
    assert {line["type"] for line in lines} == {
        kind["properties"]["type"]["const"] for kind in SCHEMA["oneOf"]
    }  # a kind that is defined and not tried would be found here
    assert lines[0] == {
        "type": "schema",
        "schema": "pattress.store-export/1",
        "database_schema": 5,
        "exported_at": "2026-03-01T02:30:00.000Z",
    }
    assert lines[-1] == {"type": "end", "rows": len(lines) - 2}


async def test_what_is_exported_is_what_is_kept(path: Path) -> None:
    lines = exported(path)

    by_kind = {kind: [line for line in lines if line["type"] == kind] for kind in {line["type"] for line in lines}}
    async with Store.open(path, read_only=True) as store:
        readings = await store.readings_of(HALL, limit=10_000)
        spans = await store.history(HALL)
    hall = [line for line in by_kind["reading"] if line["device"] == HALL]
    assert [line["measurements"] for line in hall] == [dict(one.measurements) for one in readings]
    assert [(line["setting"], line["value"]) for line in by_kind["span"]] == [(one.setting, one.value) for one in spans]
    for table in ("run", "device", "finding", "sign_off", "placement", "former_id", "sighting", *WATCHED, *CHECKED):
        assert [(len(by_kind[table]),)] == ask(path, f"SELECT count(*) FROM {table}"), table
    assert len(by_kind["run"]) == NIGHTS + 1
    assert by_kind["sign_off"][0]["values"] == RELAY
    assert by_kind["encounter"][-1]["remote"] == TRIED.remote
    assert (by_kind["close_in"][0]["point"], by_kind["close_in"][0]["is_signed_off"]) == ("hall-lights", True)
    assert [(one["step"], one["number"], one["outcome"]) for one in by_kind["close_in_step"]] == [
        ("input.1", 1, "broken"), ("input.1", 2, "met"), ("heat", 1, "met"),
    ]  # fmt: skip
    assert [len(one["samples"]) for one in by_kind["close_in_samples"]] == [120, 2]
    assert by_kind["template"][0]["record"] == TEMPLATE.record.hex()


async def test_hostile_text_stays_within_its_line(tmp_path: Path) -> None:
    text = 'a\n{"type":"end"}\r\u2028\x1b[31m\x00"\\'
    async with Store.open(tmp_path / "house.db") as store:
        run = await store.begin_run(NIGHT, "digest")
        await store.keep_readings(run, [snapshot({"net.ssid": text}, at=NIGHT + timedelta(days=1))])

    (span,) = [line for line in exported(tmp_path / "house.db") if line["type"] == "span"]

    assert span["value"] == text


def test_there_must_be_a_database(tmp_path: Path) -> None:
    with pytest.raises(StoreError, match="no database yet"):
        export(tmp_path / "house.db", print, NIGHT)
