"""One person, asked once for several points."""

import asyncio

import pytest

from pattress.closein.shared_talk import SharedTalk
from pattress.closein.talk import Question, Reply
from pattress.model.closein import StepResult
from unit.closein.scripted import NOON, Scripted

LEAVE_IT_ON = Question(text="Leave it on")
SWITCH_IT_OFF = Question(text="Switch it off")
MET = StepResult(
    step="power-cut", title="It comes back", outcome="met", sentence="it came back", began_at=NOON, ended_at=NOON
)


class Slow(Scripted):
    """A person who answers when the test says so. `log` is what they see, in its order."""

    def __init__(self) -> None:
        super().__init__()
        self.log: list[str] = []
        self._put: asyncio.Queue[tuple[str, asyncio.Future[Reply]]] = asyncio.Queue()

    def begin(self, point: str, title: str) -> None:
        self.log.append(f"{point} begins")

    def say(self, text: str) -> None:
        self.log.append(text)

    def result(self, point: str, result: StepResult) -> None:
        self.log.append(f"{point} {result.outcome}")

    async def ask(self, question: Question) -> Reply:
        self.log.append(f"{question.text}?")
        future: asyncio.Future[Reply] = asyncio.get_running_loop().create_future()
        self._put.put_nowait((question.text, future))
        try:
            reply = await future
        except asyncio.CancelledError:
            self.log.append("taken back")
            raise
        self.log.append(reply)
        return reply

    async def next(self) -> asyncio.Future[Reply]:
        """Wait until the next question is put, and return what takes its reply."""
        return (await self._put.get())[1]


def asked(shared: SharedTalk, question: Question) -> asyncio.Task[Reply]:
    return asyncio.create_task(shared.ask(question))


async def given_up(*tasks: asyncio.Task[Reply]) -> None:
    for task in tasks:
        task.cancel()
    await asyncio.gather(*tasks, return_exceptions=True)


async def test_the_same_question_is_put_once_and_the_reply_is_everybodys() -> None:
    script = Scripted().when("Switch it off", "done")
    shared = SharedTalk(script, 3)

    replies = await asyncio.gather(*(shared.ask(SWITCH_IT_OFF) for _ in range(3)))

    assert replies == ["done"] * 3
    assert script.asked == ["Switch it off"]


async def test_a_caution_is_heeded_once_and_words_are_written_once() -> None:
    script = Scripted()
    script.wording = "21"
    shared = SharedTalk(script, 2)

    heeded = await asyncio.gather(*(shared.confirm("Hot") for _ in range(2)))
    written = await asyncio.gather(*(shared.words("How warm?") for _ in range(2)))

    assert (heeded, written) == ([True, True], ["21", "21"])
    assert (script.cautions, script.asked) == (["Hot"], ["How warm?"])


async def test_a_question_is_put_only_when_the_last_point_comes_to_it() -> None:
    person = Slow()
    shared = SharedTalk(person, 2)
    first = asked(shared, LEAVE_IT_ON)
    await asyncio.sleep(0)  # it asks
    await asyncio.sleep(0)  # and nothing comes of that

    before = list(person.log)
    second = asked(shared, LEAVE_IT_ON)
    (await person.next()).set_result("done")

    assert (await first, await second) == ("done", "done")
    assert (before, person.log) == ([], ["Leave it on?", "done"])


async def test_a_question_does_not_wait_for_a_point_that_has_its_result() -> None:
    person = Slow()
    shared = SharedTalk(person, 2)
    waiting = asked(shared, LEAVE_IT_ON)
    await asyncio.sleep(0)  # it asks

    shared.result("hall-lights", MET)
    (await person.next()).set_result("done")

    assert await waiting == "done"
    assert person.log == ["hall-lights met", "Leave it on?", "done"]


async def test_a_point_that_comes_later_is_given_the_answer_and_the_next_round_asks_anew() -> None:
    script = Scripted().when("Switch it off", "done").when("Switch it off", "skip")
    shared, next_round = SharedTalk(script, 1), SharedTalk(script, 1)

    replies = [await shared.ask(SWITCH_IT_OFF), await shared.ask(SWITCH_IT_OFF), await next_round.ask(SWITCH_IT_OFF)]

    assert replies == ["done", "done", "skip"]
    assert script.asked == ["Switch it off"] * 2


async def test_one_that_needs_no_reply_any_more_takes_nothing_from_the_others() -> None:
    person = Slow()
    shared = SharedTalk(person, 2)
    first, second = asked(shared, LEAVE_IT_ON), asked(shared, LEAVE_IT_ON)
    reply = await person.next()

    await given_up(first)
    reply.set_result("skip")

    assert await second == "skip"
    assert person.log == ["Leave it on?", "skip"]


async def test_a_question_that_nobody_waits_for_is_taken_back_at_once_and_can_be_put_again() -> None:
    person = Slow()
    shared = SharedTalk(person, 2)
    first, second = asked(shared, LEAVE_IT_ON), asked(shared, LEAVE_IT_ON)
    await person.next()

    await given_up(first, second)

    assert person.log == ["Leave it on?", "taken back"]
    later = [asked(shared, LEAVE_IT_ON), asked(shared, LEAVE_IT_ON)]
    (await person.next()).set_result("done")
    assert await asyncio.gather(*later) == ["done", "done"]


async def test_what_is_said_while_a_question_is_open_is_shown_in_order_when_it_is_answered() -> None:
    person = Slow()
    shared = SharedTalk(person, 1)
    shared.begin("hall-lights", "It comes back")
    waiting = asked(shared, LEAVE_IT_ON)
    reply = await person.next()

    shared.result("hall-lights", MET)
    shared.begin("yard-lights", "It comes back")
    shared.say("Measuring ...")
    shared.say("Measuring ...")
    before = list(person.log)
    reply.set_result("done")
    await waiting
    shared.result("yard-lights", MET)

    assert before == ["hall-lights begins", "Leave it on?"]
    late = ["hall-lights met", "yard-lights begins", "Measuring ...", "yard-lights met"]
    assert person.log == [*before, "done", *late]


async def test_what_is_said_while_a_question_is_open_is_shown_when_it_is_taken_back() -> None:
    person = Slow()
    shared = SharedTalk(person, 1)
    waiting = asked(shared, LEAVE_IT_ON)
    await person.next()

    shared.result("hall-lights", MET)
    await given_up(waiting)

    assert person.log == ["Leave it on?", "taken back", "hall-lights met"]


async def test_different_questions_are_put_one_after_another_and_what_was_said_stands_between_them() -> None:
    person = Slow()
    shared = SharedTalk(person, 2)
    first, second = asked(shared, LEAVE_IT_ON), asked(shared, SWITCH_IT_OFF)

    reply = await person.next()
    shared.result("hall-lights", MET)
    reply.set_result("done")
    (await person.next()).set_result("skip")

    assert (await first, await second) == ("done", "skip")
    assert person.log == ["Leave it on?", "done", "hall-lights met", "Switch it off?", "skip"]


async def test_a_question_is_never_put_if_its_asker_was_cancelled_before_its_turn() -> None:
    person = Slow()
    shared = SharedTalk(person, 2)
    first, second = asked(shared, LEAVE_IT_ON), asked(shared, SWITCH_IT_OFF)
    reply = await person.next()

    await given_up(second)
    reply.set_result("done")
    await first
    shared.result("yard-lights", MET)
    third = asked(shared, Question(text="Stand back"))
    (await person.next()).set_result("done")
    await third

    assert person.log == ["Leave it on?", "done", "yard-lights met", "Stand back?", "done"]


async def test_a_terminal_that_fails_fails_everybody_who_asked_and_keeps_the_next_question_possible() -> None:
    person = Slow()
    shared = SharedTalk(person, 2)
    first, second = asked(shared, LEAVE_IT_ON), asked(shared, LEAVE_IT_ON)

    (await person.next()).set_exception(BrokenPipeError())

    for task in (first, second):
        with pytest.raises(BrokenPipeError):
            await task
    later = [asked(shared, SWITCH_IT_OFF), asked(shared, SWITCH_IT_OFF)]
    (await person.next()).set_result("done")
    assert await asyncio.gather(*later) == ["done", "done"]
