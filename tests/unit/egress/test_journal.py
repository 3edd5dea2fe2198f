"""Following the journal. The program that reads it is a script here; the real one is in `tests/peers`."""

import asyncio
import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from pattress.egress import journal
from pattress.egress.journal import JournalFollower, entry_of
from pattress.egress.pausing import pause
from pattress.egress.tally import Tallies
from pattress.model.watching import WatchSource

DEADLINE_S = 20.0
KERNEL = WatchSource(name="router-log", kind="firewall", journal="kernel")
UNIT = WatchSource(name="resolver", kind="names", journal="resolver.service")
WAIT = "exec sleep 3600"


@pytest.fixture(autouse=True)
def _short_pauses(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(journal, "pause", lambda stop, _seconds: pause(stop, 0.01))


@pytest.fixture
def program(tmp_path: Path) -> Callable[[str], str]:
    """Return a way to make a program from a script; what it is called with is kept beside it."""

    def make(script: str) -> str:
        path = tmp_path / "journal-reader"
        path.write_text(f'#!/bin/sh\nprintf "%s\\n" $$ >>{tmp_path}/ids\necho "$@" >>{tmp_path}/calls\n{script}\n')
        path.chmod(0o755)
        return str(path)

    return make


def entry(number: int, message: object) -> str:
    return json.dumps({"__CURSOR": f"s=1;i={number}", "MESSAGE": message})


def say(*lines: str) -> str:
    return "cat <<'END'\n" + "\n".join(lines) + "\nEND"


class Heard:
    def __init__(self, tallies: Tallies) -> None:
        self.tallies = tallies
        self.lines: list[bytes] = []
        self._more = asyncio.Event()

    def take(self, _source: WatchSource, line: bytes) -> None:
        self.lines.append(line)
        self._more.set()

    async def first(self, count: int) -> None:
        while len(self.lines) < count:
            self._more.clear()
            await self._more.wait()


async def listen(follower: JournalFollower, heard: Heard, count: int) -> None:
    """Listen until so many messages came."""
    stop = asyncio.Event()
    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(follower.listen(heard.take, stop), name="follower")
        await heard.first(count)
        stop.set()


async def trouble_of(follower: JournalFollower, heard: Heard) -> str:
    """Listen until there is trouble, and return it."""
    said: asyncio.Future[str] = asyncio.get_running_loop().create_future()
    stop = asyncio.Event()
    real = follower._say

    def say_too(trouble: str | None) -> None:
        real(trouble)
        if trouble is not None and not said.done():
            said.set_result(trouble)

    follower._say = say_too  # type: ignore[method-assign]
    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(follower.listen(heard.take, stop), name="follower")
        trouble = await said
        stop.set()
    return trouble


def is_running(process_id: int) -> bool:
    try:
        os.kill(process_id, 0)
    except ProcessLookupError:
        return False
    return True


async def test_messages_are_handed_on_and_the_program_is_ended(program: Callable[[str], str], tmp_path: Path) -> None:
    made = program(say(entry(1, "one"), entry(2, "two")) + f"\n{WAIT}")
    heard = Heard(Tallies())
    follower = JournalFollower(KERNEL, heard.tallies, program=made)

    await listen(follower, heard, 2)

    assert heard.lines == [b"one", b"two"]
    assert heard.tallies.of("router-log").heard == 2
    assert follower.cursor() == "s=1;i=2"
    assert not is_running(int((tmp_path / "ids").read_text()))


@pytest.mark.parametrize(
    ("source", "cursor", "expected"),
    [
        (KERNEL, None, "--lines=0 _TRANSPORT=kernel"),
        (UNIT, None, "--lines=0 --unit=resolver.service"),
        (KERNEL, "s=1;i=7", "--after-cursor=s=1;i=7 --no-tail _TRANSPORT=kernel"),
    ],
    ids=["kernel", "unit", "going on"],
)
async def test_the_program_is_asked_for_the_source_and_from_the_cursor_on(
    program: Callable[[str], str], tmp_path: Path, source: WatchSource, cursor: str | None, expected: str
) -> None:
    heard = Heard(Tallies())
    made = program(f"{say(entry(8, 'one'))}\n{WAIT}")

    await listen(JournalFollower(source, heard.tallies, cursor, program=made), heard, 1)

    call = (tmp_path / "calls").read_text().strip()
    assert call == f"--follow --boot=all --output=json --output-fields=MESSAGE --no-pager {expected}"


async def test_a_program_that_ended_is_run_again_behind_the_last_entry(
    program: Callable[[str], str], tmp_path: Path
) -> None:
    made = program(
        f"[ -e {tmp_path}/again ] && {{ {say(entry(2, 'two'))}\n{WAIT}; }}\n:>{tmp_path}/again\n{say(entry(1, 'one'))}"
    )
    heard = Heard(Tallies())

    await listen(JournalFollower(KERNEL, heard.tallies, program=made), heard, 2)

    calls = (tmp_path / "calls").read_text().splitlines()
    assert heard.lines == [b"one", b"two"]
    assert "--after-cursor=s=1;i=1" in calls[1]


async def test_a_cursor_of_a_journal_that_is_gone_is_let_go_and_the_gap_counted(
    program: Callable[[str], str], tmp_path: Path
) -> None:
    made = program(
        'case "$*" in *after-cursor*) echo "Failed to seek to cursor: Invalid argument" >&2; exit 1;; esac\n'
        f"{say(entry(1, 'one'))}\n{WAIT}"
    )
    heard = Heard(Tallies())

    await listen(JournalFollower(KERNEL, heard.tallies, "s=0;i=9", program=made), heard, 1)

    assert heard.lines == [b"one"]
    assert heard.tallies.of("router-log").lost == 1
    assert heard.tallies.of("router-log").trouble is None


async def test_a_missing_program_is_said(tmp_path: Path) -> None:
    heard = Heard(Tallies())
    missing = str(tmp_path / "nothing")

    trouble = await trouble_of(JournalFollower(KERNEL, heard.tallies, program=missing), heard)

    assert trouble == (
        f"{missing} cannot be run (no such file or directory). Install it, or name a file instead of the journal"
    )


async def test_a_refusal_is_said_while_the_program_goes_on(program: Callable[[str], str]) -> None:
    made = program(f"echo 'Hint: You are not seeing messages\tof the\033[1msystem.' >&2\n{WAIT}")
    heard = Heard(Tallies())

    trouble = await trouble_of(JournalFollower(KERNEL, heard.tallies, program=made), heard)

    assert trouble == f"{made} says: Hint: You are not seeing messages of the\N{REPLACEMENT CHARACTER}[1msystem."


async def test_a_program_that_does_not_end_is_killed(
    program: Callable[[str], str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(journal, "END_S", 0.05)
    made = program(f"trap '' TERM\n{say(entry(1, 'one'))}\nwhile :; do sleep 3600; done")
    heard = Heard(Tallies())

    await listen(JournalFollower(KERNEL, heard.tallies, program=made), heard, 1)

    assert not is_running(int((tmp_path / "ids").read_text()))


async def test_cancelling_it_ends_the_program(program: Callable[[str], str], tmp_path: Path) -> None:
    made = program(f"yes '{entry(1, 'one')}'")
    heard = Heard(Tallies())
    follower = JournalFollower(KERNEL, heard.tallies, program=made)
    listening = asyncio.create_task(follower.listen(heard.take, asyncio.Event()))
    await heard.first(1)

    listening.cancel()

    with pytest.raises(asyncio.CancelledError):
        await listening
    assert not is_running(int((tmp_path / "ids").read_text()))


async def test_an_entry_without_end_is_refused_once_and_the_next_is_heard(program: Callable[[str], str]) -> None:
    made = program(f"head -c 1000000 /dev/zero\necho\n{say(entry(1, 'one'))}\n{WAIT}")
    heard = Heard(Tallies())

    await listen(JournalFollower(KERNEL, heard.tallies, program=made), heard, 1)

    assert heard.lines == [b"one"]
    assert heard.tallies.of("router-log").refused == 1


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        ('{"__CURSOR":"c","MESSAGE":"text"}', ("c", b"text")),
        ('{"__CURSOR":"c","MESSAGE":"gr\\u00fcn"}', ("c", "grün".encode())),
        ('{"__CURSOR":"c","MESSAGE":[105,255,10]}', ("c", b"i\xff\n")),
        ('{"__CURSOR":"c","MESSAGE":["first","second"]}', ("c", b"first")),
        ('{"__CURSOR":"c","MESSAGE":[[1,2],[3]]}', ("c", b"\x01\x02")),
        ('{"__CURSOR":"c","MESSAGE":null}', ("c", None)),
        ('{"__CURSOR":"c","MESSAGE":[300]}', ("c", None)),
        ('{"__CURSOR":"c","MESSAGE":[1,"x"]}', ("c", None)),
        ('{"__CURSOR":"c","MESSAGE":7}', ("c", None)),
        ('{"__CURSOR":"c"}', ("c", None)),
        ('{"MESSAGE":"\\ud800"}', (None, b"?")),
        ("[1]", (None, None)),
        ("no json", (None, None)),
        ("[" * 100_000, (None, None)),
    ],
)
def test_an_entry_gives_its_cursor_and_its_message(line: str, expected: tuple[str | None, bytes | None]) -> None:
    assert entry_of(line.encode()) == expected
