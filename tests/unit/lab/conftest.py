"""A real broker for the modules of the emulated house, and houses that answer without delay."""

import asyncio
import os
import shutil
import socket
from collections.abc import AsyncIterator
from pathlib import Path

import pytest

from pattress.lab.house import Endpoint
from pattress.lab.run import EmulatedHouse
from unit.lab.houses import healthy_house

START_S = 5
STOP_S = 5


@pytest.fixture
async def mosquitto(tmp_path: Path) -> AsyncIterator[Endpoint]:
    """A broker of its own for one test, that lets everybody in."""
    program = shutil.which("mosquitto", path=f"{os.environ.get('PATH', '')}:/usr/sbin:/usr/local/sbin")
    if program is None:
        if os.environ.get("CI"):
            pytest.fail("mosquitto is not installed")
        pytest.skip("mosquitto is not installed")
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    settings = tmp_path / "mosquitto.conf"
    settings.write_text(f"listener {port} 127.0.0.1\nallow_anonymous true\nlog_dest stderr\n")
    process = await asyncio.create_subprocess_exec(program, "-c", settings, stderr=asyncio.subprocess.PIPE)
    assert process.stderr is not None
    async with asyncio.timeout(START_S):
        async for line in process.stderr:
            if b" running" in line:
                break
    drain = asyncio.create_task(process.stderr.read(), name="mosquitto's log")
    yield Endpoint("127.0.0.1", port)
    process.kill()  # it keeps nothing; and a polite signal in its first moments is lost
    async with asyncio.timeout(STOP_S):
        await process.wait()
        await drain


@pytest.fixture
async def house(mosquitto: Endpoint) -> AsyncIterator[EmulatedHouse]:
    """A healthy house on a real broker, without delay."""
    async with healthy_house(mosquitto) as running:
        yield running
