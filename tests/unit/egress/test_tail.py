"""The end of a log file, through every style of rotation. Looks follow one another without waiting."""

import gzip
import os
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from pattress.egress.tail import LINGER_LOOKS, MAX_LEAVING, Tail
from pattress.egress.tail_reader import MAX_LINE_BYTES, MAX_LINES, Place


@pytest.fixture
def log(tmp_path: Path) -> Path:
    return tmp_path / "firewall.log"


@pytest.fixture
def tail(log: Path) -> Iterator[Tail]:
    """The tail of a log that has one line so far."""
    append(log, "Nov 25 10:00:00 router kernel: this line was written before anybody listened, and is long enough")
    made = Tail(log)
    made.look()
    yield made
    made.close()


def append(log: Path, *lines: str, end: str = "\n") -> None:
    with log.open("ab") as stream:
        stream.write("".join(f"{line}{end}" for line in lines).encode())


def all_of(tail: Tail) -> list[str]:
    """All lines that there are now."""
    lines: list[str] = []
    while True:
        look = tail.look()
        lines += [line.decode() for line in look.lines]
        if not look.is_more:
            return lines


def gone_on(log: Path, place: Place | None) -> list[str]:
    """What another run gets that goes on at a place."""
    tail = Tail(log, place)
    try:
        return all_of(tail)
    finally:
        tail.close()


def test_it_starts_at_the_end(tail: Tail, log: Path) -> None:
    append(log, "one", "two")

    lines = all_of(tail)

    assert lines == ["one", "two"]


def test_it_starts_at_the_start_of_a_line_that_has_no_end_yet(log: Path) -> None:
    append(log, "old")
    append(log, "half a ", end="")
    tail = Tail(log)

    before = all_of(tail)
    append(log, "line")
    after = all_of(tail)
    tail.close()

    assert (before, after) == ([], ["half a line"])


def test_a_partial_last_line_waits_for_its_end(tail: Tail, log: Path) -> None:
    append(log, "one", "tw", end="\n")
    append(log, "thr", end="")

    first = all_of(tail)
    append(log, "ee", end="\r\n")
    second = all_of(tail)

    assert (first, second) == (["one", "tw"], ["three"])


def test_empty_lines_are_left_out(tail: Tail, log: Path) -> None:
    append(log, "", "one", "", "")

    lines = all_of(tail)

    assert lines == ["one"]


def test_a_file_renamed_and_made_anew_loses_and_repeats_nothing(tail: Tail, log: Path) -> None:
    append(log, "one")
    log.rename(log.with_suffix(".log.1"))
    append(log, "two")

    lines = all_of(tail)

    assert lines == ["one", "two"]


def test_a_renamed_file_is_read_on_until_the_new_one_comes(tail: Tail, log: Path) -> None:
    moved = log.with_suffix(".log.1")
    log.rename(moved)
    append(moved, "one")

    look = tail.look()
    append(moved, "two")
    append(log, "three")
    rest = all_of(tail)

    assert look.lines == [b"one"]
    assert look.trouble is not None
    assert "there is no file" in look.trouble
    assert rest == ["two", "three"]


def test_what_is_written_to_the_moved_file_after_the_new_one_was_made_is_read_too(tail: Tail, log: Path) -> None:
    moved = log.with_suffix(".log.1")
    log.rename(moved)
    append(log, "new one")

    first = all_of(tail)
    append(moved, "late one")
    append(log, "new two")
    second = all_of(tail)

    assert first == ["new one"]
    assert second == ["late one", "new two"]


def test_a_moved_file_is_closed_when_nothing_more_comes(tail: Tail, log: Path) -> None:
    before = len(os.listdir("/proc/self/fd"))
    append(log, "no end", end="")
    log.rename(log.with_suffix(".log.1"))
    append(log, "new")

    lines = [line for _ in range(LINGER_LOOKS + 2) for line in all_of(tail)]

    assert lines == ["new", "no end"]
    assert len(os.listdir("/proc/self/fd")) == before


def test_files_that_move_away_without_end_are_not_all_kept_open(tail: Tail, log: Path) -> None:
    before = len(os.listdir("/proc/self/fd"))

    lines: list[str] = []
    for number in range(3 * MAX_LEAVING):
        log.rename(log.with_suffix(f".log.{number}"))
        append(log, str(number))
        lines += all_of(tail)

    assert lines == [str(number) for number in range(3 * MAX_LEAVING)]
    assert len(os.listdir("/proc/self/fd")) <= before + MAX_LEAVING


def test_a_file_copied_and_emptied_loses_and_repeats_nothing(tail: Tail, log: Path) -> None:
    append(log, "one")
    all_of(tail)
    append(log, "two, which nobody had read when it was copied")
    shutil.copy(log, log.with_suffix(".log.1"))
    os.truncate(log, 0)
    append(log, "three")

    lines = all_of(tail)

    assert lines == ["two, which nobody had read when it was copied", "three"]


def test_a_file_that_was_emptied_and_has_outgrown_what_was_read_begins_anew(tail: Tail, log: Path) -> None:
    append(log, "one")
    all_of(tail)
    os.truncate(log, 0)
    fresh = [f"Nov 26 00:00:{number:02} router kernel: another day" for number in range(60)]
    append(log, *fresh)

    lines = all_of(tail)

    assert lines == fresh


def test_the_hole_that_a_program_leaves_which_writes_on_where_it_was_is_passed_over(tail: Tail, log: Path) -> None:
    all_of(tail)
    with log.open("r+b") as writer:
        writer.seek(0, os.SEEK_END)
        writer.write(b"x" * 100_000 + b"\n")
        writer.flush()
        all_of(tail)
        os.truncate(log, 0)
        writer.write(b"one\n")

    lines = all_of(tail)

    assert lines == ["one"]


def test_a_file_removed_and_made_anew_is_read_from_its_start(tail: Tail, log: Path) -> None:
    log.unlink()

    trouble = tail.look().trouble
    append(log, "one")
    look = tail.look()

    assert trouble is not None
    assert look.lines == [b"one"]
    assert look.trouble is None


def test_a_file_that_was_missing_at_first_is_read_from_its_start(log: Path) -> None:
    tail = Tail(log)

    trouble = tail.look().trouble
    append(log, "one")
    lines = all_of(tail)
    tail.close()

    assert trouble == f"there is no file {log}. Correct its name in site.toml, or have it written"
    assert lines == ["one"]


@pytest.mark.parametrize("make", [Path.mkdir, os.mkfifo], ids=["folder", "pipe"])
def test_what_is_no_file_is_said(log: Path, make: object) -> None:
    make(log)  # type: ignore[operator]
    tail = Tail(log)

    look = tail.look()
    tail.close()

    assert look.trouble is not None
    assert "cannot be read" in look.trouble


def test_a_file_that_may_not_be_read_is_said(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    append(log, "one")
    real = os.open

    def refuse(path: object, *rest: int) -> int:
        if path == log:
            raise PermissionError(13, "Permission denied")
        return real(path, *rest)  # type: ignore[arg-type]

    monkeypatch.setattr(os, "open", refuse)  # root may read everything
    tail = Tail(log)
    look = tail.look()
    tail.close()

    assert look.trouble is not None
    assert "permission denied" in look.trouble


def test_a_long_line_is_cut_and_the_next_is_whole(tail: Tail, log: Path) -> None:
    append(log, "a" * (MAX_LINE_BYTES + 1), "one")
    append(log, "b" * 3_000_000, end="")

    look = tail.look()
    cut = look.cut
    lines = [line.decode() for line in look.lines] + all_of(tail)
    append(log, "still the same", end="\n")
    append(log, "two")
    rest = all_of(tail)

    assert cut == 2
    assert lines == ["a" * MAX_LINE_BYTES, "one", "b" * MAX_LINE_BYTES]
    assert rest == ["two"]


def test_one_look_gives_a_bounded_number_of_lines(tail: Tail, log: Path) -> None:
    append(log, *(["x"] * (3 * MAX_LINES)))

    look = tail.look()

    assert len(look.lines) == MAX_LINES
    assert look.is_more


def test_a_burst_is_read_whole_and_in_order(tail: Tail, log: Path) -> None:
    burst = [f"Nov 25 10:00:00 router kernel: line {number}" for number in range(50_000)]
    append(log, *burst)

    lines = all_of(tail)

    assert lines == burst


def test_a_burst_across_a_rotation_is_read_whole_and_in_order(tail: Tail, log: Path) -> None:
    burst = [f"Nov 25 10:00:00 router kernel: line {number}" for number in range(50_000)]
    append(log, *burst[:30_000])
    first = tail.look()
    log.rename(log.with_suffix(".log.1"))
    append(log, *burst[30_000:])

    lines = [line.decode() for line in first.lines] + all_of(tail)

    assert lines == burst


def test_a_run_goes_on_where_the_one_before_it_ended(tail: Tail, log: Path) -> None:
    append(log, "one", "two")
    append(log, "thr", end="")
    all_of(tail)
    append(log, "ee", "four")

    lines = gone_on(log, tail.place())

    assert lines == ["three", "four"]


@pytest.mark.parametrize("suffix", [".log.1", ".log-20261125", "-20261125.log"])
@pytest.mark.parametrize("style", ["renamed", "copied"])
def test_a_run_goes_on_in_the_file_that_was_rotated_meanwhile(tail: Tail, log: Path, suffix: str, style: str) -> None:
    append(log, "one")
    all_of(tail)
    place = tail.place()
    append(log, "two")
    moved = log.with_name(log.stem + suffix)
    if style == "renamed":
        log.rename(moved)
    else:
        shutil.copy(log, moved)
        os.truncate(log, 0)
    append(log, "three")

    lines = gone_on(log, place)

    assert lines == ["two", "three"]


def test_a_run_that_ended_amid_a_moved_file_goes_on_there(tail: Tail, log: Path) -> None:
    burst = [f"line {number}" for number in range(3 * MAX_LINES)]
    append(log, *burst)
    log.rename(log.with_suffix(".log.1"))
    append(log, "new")

    first = [line.decode() for line in tail.look().lines]
    rest = gone_on(log, tail.place())

    assert first + rest == [*burst, "new"]


def test_a_run_says_a_gap_where_its_file_is_gone(tail: Tail, log: Path) -> None:
    append(log, "one")
    all_of(tail)
    place = tail.place()
    with gzip.open(log.with_suffix(".log.1.gz"), "wb") as packed:
        packed.write(log.read_bytes())
    log.unlink()
    append(log, "two")

    later = Tail(log, place)
    look = later.look()
    later.close()

    assert look.lines == [b"two"]
    assert look.gaps == 1


def test_a_file_with_the_number_of_the_former_one_is_not_taken_for_it(tail: Tail, log: Path) -> None:
    append(log, "one")
    all_of(tail)
    place = tail.place()
    os.truncate(log, 0)  # the same inode, as where a file system gives it to the next file
    fresh = [f"Nov 26 00:00:{number:02} router kernel: another day" for number in range(60)]
    append(log, *fresh)

    lines = gone_on(log, place)

    assert lines == fresh


def test_a_copy_that_took_the_place_of_its_original_is_gone_on_with(tail: Tail, log: Path) -> None:
    append(log, "one")
    all_of(tail)
    place = tail.place()
    copy = log.with_suffix(".copy")
    shutil.copy(log, copy)
    copy.rename(log)  # as where the logs of a memory card are kept in memory, and copied back at each start
    append(log, "two")

    assert gone_on(log, place) == ["two"]
    assert all_of(tail) == ["two"]


def test_a_place_before_there_was_a_file_is_none(log: Path) -> None:
    tail = Tail(log)
    tail.look()

    place = tail.place()
    tail.close()

    assert place is None


def test_a_file_that_cannot_be_read_is_not_left_open(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    append(log, "one")
    append(log.with_suffix(".log.1"), "before")
    places = [None, *(Place(inode=one.stat().st_ino, offset=0) for one in (log, log.with_suffix(".log.1")))]

    def fail(*_: object) -> bytes:
        raise OSError(5, "Input/output error")

    monkeypatch.setattr("pattress.egress.tail_reader.os.pread", fail)
    before, tails = open_files(), [Tail(log, place) for place in places]
    looks = [tail.look() for tail in tails for _ in range(3)]
    for tail in tails:
        tail.close()

    assert all(look.trouble is not None and "input/output error" in look.trouble for look in looks)
    assert open_files() == before


def open_files() -> list[str]:
    return sorted(os.listdir("/proc/self/fd"))
