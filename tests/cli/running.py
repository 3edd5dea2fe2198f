"""Runs the command line as a person does: in a process of its own."""

import asyncio
import json
import os
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import jsonschema

import pattress.report

SCHEMAS = Path(pattress.report.__file__).parent / "schemas"


@dataclass(frozen=True, slots=True)
class Ended:
    """A command that has ended."""

    status: int
    out: str
    err: str

    @property
    def document(self) -> Any:
        """Its JSON, checked against the schema that it names."""
        return _checked_document(self.out)


@cache
def _checked_document(text: str) -> Any:
    """Check a document once, however often a test reads it: a whole audit takes a fifth of a second."""
    document = json.loads(text)
    name = document["schema"].removeprefix("pattress.").replace("/", "-")
    schema = json.loads((SCHEMAS / f"{name}.json").read_text(encoding="utf-8"))
    jsonschema.Draft202012Validator(schema, format_checker=jsonschema.FormatChecker()).validate(document)
    return document


async def pattress_command(*words: str, environment: Mapping[str, str] | None = None) -> Ended:
    """Run `pattress` with these words, within 60 s."""
    process = await asyncio.create_subprocess_exec(
        sys.executable,
        "-m",
        "pattress",
        *words,
        stdin=asyncio.subprocess.DEVNULL,
        stdout=asyncio.subprocess.PIPE,
        stderr=asyncio.subprocess.PIPE,
        env={**os.environ, **(environment or {})},
    )
    async with asyncio.timeout(60):
        out, err = await process.communicate()
    assert process.returncode is not None
    return Ended(process.returncode, out.decode(), err.decode())
