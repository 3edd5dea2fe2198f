"""The journal of a real systemd, on a host of its own."""

import asyncio
import shlex
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from pattress.egress.journal import JournalFollower
from pattress.egress.tally import Tallies
from pattress.model.watching import WatchSource
from peers.booted import BootedHost, booted
from peers.requirements import require_peer

pytestmark = pytest.mark.peer

DEADLINE_S = 60.0
RESOLVER = WatchSource(name="resolver", kind="names", journal="resolver.service")
UNIT = "[Service]\nType=oneshot\nSyslogIdentifier=resolver\nExecStart=/bin/cat /trial/lines\n"


@dataclass(frozen=True, slots=True)
class Journal:
    """A host with a unit that says what it is given. `program` reads the host's journal."""

    host: BootedHost
    program: str

    def say(self, *lines: bytes, unit: str = "resolver.service") -> None:
        """Have the unit say lines, which are in the journal when this returns."""
        (self.host.trial / "lines").write_bytes(b"".join(line + b"\n" for line in lines))
        self.host.succeed("systemctl", "start", unit)
        self.host.succeed("journalctl", "--sync")


@pytest.fixture(scope="module")
def journal(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Journal]:
    require_peer("systemctl")
    folder = tmp_path_factory.mktemp("host")
    units = {"resolver.service": UNIT, "other.service": UNIT}
    with booted(folder, units) as host:
        program = folder / "journalctl-there"
        program.write_text(f'#!/bin/sh\nexec {shlex.join(host.command("journalctl"))} "$@"\n')
        program.chmod(0o755)
        yield Journal(host, str(program))


async def test_a_run_goes_on_behind_the_last_message_and_hears_its_unit_only(journal: Journal) -> None:
    journal.say(b"before anybody listened")
    first = JournalFollower(RESOLVER, Tallies(), program=journal.program)
    lines: list[bytes] = []
    stop = asyncio.Event()

    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(first.listen(lambda _, line: lines.append(line), stop), name="first run")
        while b"query[A] time.example from 192.0.2.17" not in lines:
            await asyncio.to_thread(journal.say, b"query[A] time.example from 192.0.2.17")
        stop.set()
    journal.say(b"while nobody", b"listened", b"bytes \xff\x01")
    journal.say(b"of another", unit="other.service")
    journal.say(b"the last")
    second = JournalFollower(RESOLVER, Tallies(), first.cursor(), program=journal.program)
    rest: list[bytes] = []
    stop = asyncio.Event()

    def take(_source: WatchSource, line: bytes) -> None:
        rest.append(line)
        if line == b"the last":
            stop.set()

    async with asyncio.timeout(DEADLINE_S):
        await second.listen(take, stop)

    assert b"before anybody listened" not in lines + rest
    said = [line for line in rest if b"resolver.service" not in line and not line.startswith(b"query")]
    assert said == [b"while nobody", b"listened", b"bytes \xff\x01", b"the last"]


async def test_a_cursor_of_another_journal_is_let_go_and_the_gap_counted(journal: Journal) -> None:
    tallies, lines, stop = Tallies(), [], asyncio.Event()
    follower = JournalFollower(RESOLVER, tallies, "s=nonsense", program=journal.program)

    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(follower.listen(lambda _, line: lines.append(line), stop), name="follower")
        while b"anew" not in lines:
            await asyncio.to_thread(journal.say, b"anew")
        stop.set()

    assert tallies.of("resolver").lost == 1
    assert tallies.of("resolver").trouble is None


async def test_whoever_may_not_read_the_journal_is_told_so(journal: Journal, tmp_path: Path) -> None:
    journal.say(b"something to read")
    program = tmp_path / "journalctl-for-nobody"
    nobody = journal.host.command("setpriv", "--reuid=65534", "--regid=65534", "--clear-groups", "journalctl")
    program.write_text(f'#!/bin/sh\nexec {shlex.join(nobody)} "$@"\n')
    program.chmod(0o755)
    tallies, stop = Tallies(), asyncio.Event()
    follower = JournalFollower(RESOLVER, tallies, program=str(program))

    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(follower.listen(lambda *_: None, stop), name="follower")
        while tallies.of("resolver").trouble is None:
            await asyncio.to_thread(journal.host.run, "true")
        trouble = tallies.of("resolver").trouble
        stop.set()

    assert trouble is not None
    assert "insufficient permissions" in trouble
