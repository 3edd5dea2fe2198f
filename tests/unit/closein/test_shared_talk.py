"""One person, asked once for several points."""

import asyncio

from pattress.closein.shared_talk import SharedTalk
from pattress.closein.talk import Question
from unit.closein.scripted import Scripted


async def test_the_same_question_is_put_once_and_the_reply_is_everybodys() -> None:
    script = Scripted().when("Switch it off", "done").when("another", "skip")
    shared = SharedTalk(script)

    replies = await asyncio.gather(*(shared.ask(Question(text="Switch it off")) for _ in range(3)))

    assert replies == ["done"] * 3
    assert script.asked == ["Switch it off"]
    assert await shared.ask(Question(text="another")) == "skip"


async def test_a_caution_is_heeded_once_and_words_are_written_once() -> None:
    script = Scripted()
    script.wording = "21"
    shared = SharedTalk(script)

    heeded = await asyncio.gather(*(shared.confirm("Hot") for _ in range(2)))
    written = await asyncio.gather(*(shared.words("How warm?") for _ in range(2)))

    assert (heeded, written) == ([True, True], ["21", "21"])
    assert (script.cautions, script.asked) == (["Hot"], ["How warm?"])


async def test_one_that_needs_no_reply_any_more_takes_nothing_from_the_others() -> None:
    script = Scripted()
    shared = SharedTalk(script)
    first = asyncio.create_task(shared.ask(Question(text="Leave it on")))
    second = asyncio.create_task(shared.ask(Question(text="Leave it on")))
    await asyncio.sleep(0)

    first.cancel()
    await asyncio.gather(first, return_exceptions=True)

    assert not second.done()
    shared.close()
    await asyncio.gather(second, return_exceptions=True)
    assert second.cancelled()
