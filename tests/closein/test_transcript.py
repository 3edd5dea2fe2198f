from closein.transcript import Asked, Began, Ended, Event, Said, Transcript

SHOWN = (
    "\r\n\x1b[1mhall-lights  input.1: The switch of input 1\x1b[0m\r\n"
    "  CAUTION: The switch is operated by its face alone. Behind it mains\r\n    may be live.\r\n"
    "  Heeded? yes, no, stop: yes\r\n"
    "  > Operate the switch of input 1: 3 times, about 3 s apart. Then let\r\n    it rest.\r\n"
    "  done, skip (skip it), stop (stop here, and go on later): \r\n"
    "\x1b[31m  BROKEN hall-lights input.1: input.2 moved, and not\r\n    input 1\x1b[0m\r\n"
    "  > It is broken. Mend it and do it again?\r\n"
    "  again, on (go on all the same), stop (stop here, and go on later): stop\r\n"
    "  Stopped. What was done is kept.\r\n"
)
PROMPTS = ("  Heeded? yes, no, stop: ", "go on later): ", "(Enter where you do not know) ")
READ: list[Event] = [
    Began("hall-lights", "input.1", "The switch of input 1"),
    Asked(
        "input.1",
        "CAUTION: The switch is operated by its face alone. Behind it mains may be live.",
        ("yes", "no", "stop"),
        1,
    ),
    Asked(
        "input.1",
        "Operate the switch of input 1: 3 times, about 3 s apart. Then let it rest.",
        ("done", "skip", "stop"),
        2,
    ),
    Ended("BROKEN", "hall-lights", "input.1", "input.2 moved, and not input 1"),
    Asked("input.1", "It is broken. Mend it and do it again?", ("again", "on", "stop"), 3),
    Said("Stopped. What was done is kept."),
]


def in_pieces(pieces: list[str]) -> list[Event]:
    transcript = Transcript()
    events = [event for piece in pieces for event in transcript.feed(piece)]
    return [*events, *transcript.end()]


def as_a_program_writes() -> list[str]:
    """The pieces in which a person sees it: up to each prompt, and the answer to it by itself."""
    pieces, rest = [], SHOWN
    while rest:
        ends = [rest.index(prompt) + len(prompt) for prompt in PROMPTS if prompt in rest]
        cut = min(ends, default=len(rest))
        pieces.append(rest[:cut])
        rest = rest[cut:]
    return pieces


def test_what_is_read_is_taken_apart_into_steps_prompts_and_results() -> None:
    events = in_pieces(as_a_program_writes())

    assert events == READ


def test_pieces_of_any_size_are_read_alike() -> None:
    one_by_one = list(SHOWN)

    assert in_pieces(one_by_one) == READ


def test_a_prompt_is_open_until_its_line_ends_by_an_answer_or_because_it_is_taken_back() -> None:
    transcript = Transcript()

    transcript.feed("  > Run it.\r\n  done, stop: ")
    asked = transcript.open_prompt
    transcript.feed("\r\n")

    assert (asked, transcript.open_prompt) == (1, None)


def test_a_question_for_words_is_a_prompt_of_its_own() -> None:
    transcript = Transcript()

    events = transcript.feed("  How warm is the room, in degrees Celsius? (Enter where you do not know) ")

    assert events == [
        Asked(None, "How warm is the room, in degrees Celsius? (Enter where you do not know)", (), 1),
    ]


def test_what_is_said_on_the_line_of_an_open_prompt_is_read_and_remembered() -> None:
    transcript = Transcript()

    transcript.feed("  > Leave it on.\r\n  skip (skip it), stop: ")
    events = transcript.feed("  MET hall-lights heat: cool\r\n    enough\r\n\r\n")

    assert events == [Ended("MET", "hall-lights", "heat", "cool enough")]
    assert transcript.crossed == ["MET hall-lights heat: cool"]
