"""The talk at a terminal, by lines that a person types."""

import asyncio
import os
import signal
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

from pattress.cli.terminal_talk import TerminalTalk
from pattress.closein.talk import Question, StopCheckError
from pattress.model.errors import UsageError

GO_ON = Question(text="Switch it on.", replies=("skip", "stop"))
AGREE = Question(text="May the wall be closed?", replies=("yes", "no", "stop"))
DO = Question(text="Operate the switch.")
THROUGH_S = 0.2  # for what is typed to come through the kernel's pseudo-terminal


@dataclass(frozen=True)
class Typing:
    """The writing end of what the program reads."""

    descriptor: int

    def type(self, *lines: str) -> None:
        os.write(self.descriptor, "".join(f"{line}\n" for line in lines).encode())

    def leave(self) -> None:
        os.close(self.descriptor)


@pytest.fixture
def typing(monkeypatch: pytest.MonkeyPatch) -> Iterator[Typing]:
    reading, writing = os.pipe()
    with os.fdopen(reading) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield Typing(writing)


async def test_an_empty_line_goes_on_and_neither_agrees_nor_leaves_out(
    typing: Typing, capsys: pytest.CaptureFixture[str]
) -> None:
    async with TerminalTalk() as talk:
        typing.type("", "", "sk", "", "y")

        assert [await talk.ask(DO), await talk.ask(GO_ON), await talk.ask(AGREE)] == ["done", "skip", "yes"]

    assert capsys.readouterr().out.count("Please answer one of") == 2


async def test_a_question_and_its_replies_keep_to_the_columns_of_the_terminal(
    typing: Typing, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "40")
    async with TerminalTalk() as talk:
        typing.type("done")
        talk.begin("stair-strip", "What is wired to the switch of input 2")
        await talk.ask(DO)

    shown = capsys.readouterr().out
    assert max(map(len, shown.splitlines())) <= 40
    assert "done, skip (skip it), stop (stop here, and go on later): " in " ".join(shown.split()) + " "


async def test_a_check_can_be_stopped_at_a_caution_and_at_a_question_in_own_words(typing: Typing) -> None:
    async with TerminalTalk() as talk:
        typing.type("stop", "Stop", "", "yes", "no")

        with pytest.raises(StopCheckError):
            await talk.confirm("Hot.")
        with pytest.raises(StopCheckError):
            await talk.words("Why?")
        assert [await talk.words("Why?"), await talk.confirm("Hot."), await talk.confirm("Hot.")] == ["", True, False]


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> Iterator[Typing]:
    ours, theirs = os.openpty()
    with os.fdopen(theirs) as stdin:
        monkeypatch.setattr(sys, "stdin", stdin)
        yield Typing(ours)
    os.close(ours)


async def test_what_was_typed_before_it_was_shown_heeds_no_caution_and_answers_no_question(terminal: Typing) -> None:
    loop = asyncio.get_running_loop()
    async with asyncio.timeout(5), TerminalTalk() as talk:
        terminal.type("yes", "yes")
        await asyncio.sleep(THROUGH_S)
        loop.call_later(THROUGH_S, terminal.type, "no")
        assert not await talk.confirm("Hot.")

        terminal.type("yes")
        await asyncio.sleep(THROUGH_S)
        loop.call_later(THROUGH_S, terminal.type, "no")
        assert await talk.ask(AGREE) == "no"

        terminal.type("22")
        await asyncio.sleep(THROUGH_S)
        loop.call_later(THROUGH_S, terminal.type, "19")
        assert await talk.words("How warm?") == "19"


async def test_a_stop_that_was_typed_ahead_stops(terminal: Typing) -> None:
    async with asyncio.timeout(5), TerminalTalk() as talk:
        terminal.type("stop")
        await asyncio.sleep(THROUGH_S)
        with pytest.raises(StopCheckError):
            await talk.confirm("Hot.")
        terminal.type("yes", "stop")
        await asyncio.sleep(THROUGH_S)
        assert await talk.ask(AGREE) == "stop"


async def test_a_person_who_is_gone_has_stopped_and_left_nothing_out(typing: Typing) -> None:
    async with TerminalTalk() as talk, asyncio.timeout(5):
        typing.leave()

        assert await talk.ask(DO) == "stop"
        with pytest.raises(StopCheckError):
            await talk.confirm("Hot.")
        with pytest.raises(StopCheckError):
            await talk.words("Why?")


@pytest.mark.parametrize("name", ["a file", "/dev/null", None])
async def test_nobody_can_answer_where_the_input_is_no_terminal(
    name: str | None, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a file").write_text("yes\n", encoding="utf-8")
    stdin = None if name is None else (tmp_path / name).open(encoding="utf-8")
    monkeypatch.setattr(sys, "stdin", stdin)

    try:
        with pytest.raises(UsageError, match="nobody can answer"):
            async with TerminalTalk():
                pytest.fail("it has begun")
    finally:
        if stdin is not None:
            stdin.close()


async def test_a_person_whose_terminal_hangs_up_has_stopped(typing: Typing) -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        async with asyncio.timeout(5), TerminalTalk() as talk:
            signal.raise_signal(signal.SIGHUP)

            assert await talk.ask(DO) == "stop"
    finally:
        signal.signal(signal.SIGHUP, before)
