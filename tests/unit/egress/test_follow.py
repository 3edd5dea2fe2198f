"""Following a file while it is written, as a task among others."""

import asyncio
from collections.abc import Callable, Sequence
from pathlib import Path

import pytest

from pattress.egress import follow
from pattress.egress.follow import FileFollower, Sink
from pattress.egress.pausing import pause
from pattress.egress.tail_reader import Place
from pattress.egress.tally import Tallies
from pattress.model.watching import WatchSource

DEADLINE_S = 20.0


@pytest.fixture
def caught_up(monkeypatch: pytest.MonkeyPatch) -> asyncio.Event:
    """Set whenever a follower has read all that there is, and waits for more; it does not wait for long."""
    event = asyncio.Event()

    async def short(stop: asyncio.Event, _seconds: float) -> bool:
        event.set()
        return await pause(stop, 0.01)

    monkeypatch.setattr(follow, "pause", short)
    return event


class Heard:
    """Keeps the lines of a follower, and can wait for what it needs."""

    def __init__(self) -> None:
        self.lines: list[bytes] = []
        self._more = asyncio.Event()

    def take(self, source: WatchSource, line: bytes) -> None:
        assert source.name == "router-log"
        self.lines.append(line)
        self._more.set()

    def stopping(self, stop: asyncio.Event, most: int) -> Sink:
        """Return a sink that ends the listening after so many lines more."""
        last = len(self.lines) + most

        def take(source: WatchSource, line: bytes) -> None:
            self.take(source, line)
            if len(self.lines) == last:
                stop.set()

        return take

    async def until(self, is_enough: Callable[[], bool]) -> None:
        async with asyncio.timeout(DEADLINE_S):
            while not is_enough():
                self._more.clear()
                await self._more.wait()


def source_of(path: Path) -> WatchSource:
    return WatchSource(name="router-log", kind="firewall", file=path)


def append(log: Path, lines: Sequence[bytes]) -> None:
    with log.open("ab") as stream:
        stream.write(b"".join(line + b"\n" for line in lines))


async def test_lines_are_handed_on_as_they_are_written(tmp_path: Path, caught_up: asyncio.Event) -> None:
    log = tmp_path / "log"
    tallies, heard, stop = Tallies(), Heard(), asyncio.Event()
    append(log, [b"old"])

    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(FileFollower(source_of(log), tallies).listen(heard.take, stop), name="follower")
        await caught_up.wait()
        append(log, [b"one"])
        await heard.until(lambda: len(heard.lines) == 1)
        append(log, [b"two"])
        await heard.until(lambda: len(heard.lines) == 2)
        stop.set()

    assert heard.lines == [b"one", b"two"]
    assert tallies.of("router-log").heard == 2


async def test_runs_that_end_amid_what_there_is_to_read_miss_and_repeat_nothing(
    tmp_path: Path, caught_up: asyncio.Event
) -> None:
    log = tmp_path / "log"
    lines = [b"Nov 25 10:00:00 router kernel: line %d" % number for number in range(12_000)]
    append(log, lines[:10])
    place = await run_to_end(FileFollower(source_of(log), Tallies()), Heard(), caught_up)
    heard = Heard()

    append(log, lines[10:6_000])
    for most in (1_000, 2_500):  # each run ends in the middle
        follower, stop = FileFollower(source_of(log), Tallies(), place), asyncio.Event()
        async with asyncio.timeout(DEADLINE_S):
            await follower.listen(heard.stopping(stop, most), stop)
        place = follower.place()
    log.rename(log.with_suffix(".1"))
    append(log, lines[6_000:])
    await run_to_end(FileFollower(source_of(log), Tallies(), place), heard, caught_up)

    assert heard.lines == lines[10:]


async def run_to_end(follower: FileFollower, heard: Heard, caught_up: asyncio.Event) -> Place | None:
    """Run until all that there is was read, and return the place."""
    stop = asyncio.Event()
    caught_up.clear()
    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(follower.listen(heard.take, stop), name="follower")
        await caught_up.wait()
        stop.set()
    return follower.place()


async def test_a_missing_file_troubles_its_source_until_it_is_there(tmp_path: Path, caught_up: asyncio.Event) -> None:
    log = tmp_path / "log"
    tallies, heard, stop = Tallies(), Heard(), asyncio.Event()

    async with asyncio.timeout(DEADLINE_S), asyncio.TaskGroup() as group:
        group.create_task(FileFollower(source_of(log), tallies).listen(heard.take, stop), name="follower")
        await caught_up.wait()
        trouble = tallies.of("router-log").trouble
        append(log, [b"one"])
        await heard.until(lambda: bool(heard.lines))
        stop.set()

    assert trouble is not None
    assert "there is no file" in trouble
    assert tallies.of("router-log").trouble is None


async def test_it_ends_at_once_however_long_it_would_wait(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(follow, "LOOK_S", 3600.0)
    stop = asyncio.Event()
    listening = asyncio.create_task(FileFollower(source_of(tmp_path / "log"), Tallies()).listen(Heard().take, stop))

    stop.set()

    await asyncio.wait_for(listening, 1.0)


async def test_cancelling_it_leaves_no_file_open(tmp_path: Path) -> None:
    log = tmp_path / "log"
    append(log, [b"x"] * 100_000)
    heard, stop = Heard(), asyncio.Event()
    place = Place(inode=log.stat().st_ino, offset=0)
    listening = asyncio.create_task(FileFollower(source_of(log), Tallies(), place).listen(heard.take, stop))
    await heard.until(lambda: bool(heard.lines))

    listening.cancel()

    with pytest.raises(asyncio.CancelledError):
        await listening
    assert len(heard.lines) < 100_000
    assert not is_open(log)


def is_open(path: Path) -> bool:
    return any(link.resolve() == path for link in Path("/proc/self/fd").iterdir())
