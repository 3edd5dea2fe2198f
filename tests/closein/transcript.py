"""What a person at the terminal reads, taken apart: steps that begin and end, what is said, and what is asked.

It is fed as the terminal gives it, in pieces of any size. A prompt is a line that has not ended; then it is open, and
what is said before it is answered or taken back is hard to read for a person.
"""

import re
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True)
class Began:
    point: str
    step: str
    title: str


@dataclass(frozen=True, slots=True)
class Said:
    text: str


@dataclass(frozen=True, slots=True)
class Asked:
    """A prompt, with the caution or question above it. `step` is the one in which it is asked."""

    step: str | None
    text: str
    replies: tuple[str, ...]
    number: int


@dataclass(frozen=True, slots=True)
class Ended:
    outcome: str
    point: str
    step: str
    sentence: str


Event = Began | Said | Asked | Ended

_COLOUR = re.compile(r"\x1b\[[0-9;]*m")
_HEAD = re.compile(r"(?P<point>\S+)  (?P<step>[a-z0-9.-]+): (?P<title>.+)")
_RESULT = re.compile(
    r"(?P<outcome>MET|BROKEN|COULD NOT BE CHECKED|SKIPPED) (?P<point>\S+) (?P<step>[a-z0-9.-]+): (?P<sentence>.+)"
)
_REPLY = r"[a-z]+(?: \([^)]*\))?"
_CHOICE = re.compile(rf"  (?:Heeded\? )?(?P<replies>{_REPLY}(?:, {_REPLY})*): ")
_CROSSED = re.compile(r"(?P<prompt>  .*: )(?P<said>  (?:> |CAUTION: |MET |BROKEN |SKIPPED |COULD NOT BE CHECKED ).*)")
_WORDS = re.compile(r"  (?P<text>(?:How|Why|What) [^?]*\?(?: \([^)]*\))?) ")


@dataclass(slots=True)
class Transcript:
    """Everything that was read so far. `crossed` is what was said on the line of a prompt that was open."""

    text: str = ""
    step: str | None = None
    open_prompt: int | None = None
    crossed: list[str] = field(default_factory=list)
    _line: str = ""
    _paragraph: list[str] = field(default_factory=list)
    _above: str = ""
    _prompts: int = 0

    def feed(self, data: str) -> list[Event]:
        """Return what the terminal has shown with this."""
        *ended, self._line = _COLOUR.sub("", self._line + data.replace("\r", "")).split("\n")
        self.text += "".join(f"{line}\n" for line in ended)
        lines = [part for line in ended for part in self._uncrossed(line)]
        events = [event for line in lines for event in self._ended_line(line)]
        asked = self._asked() if self.open_prompt is None else None
        return [*events, *(asked or [])]

    def end(self) -> list[Event]:
        """Return what was shown last."""
        self.text += self._line
        return [*self._ended_line(self._line), *self._flushed()]

    def _uncrossed(self, line: str) -> list[str]:
        """Part what was said behind a prompt from it."""
        found = _CROSSED.fullmatch(line)
        if found is None:
            return [line]
        self.crossed.append(found["said"].strip())
        return [found["prompt"], found["said"]]

    def _ended_line(self, line: str) -> list[Event]:
        if self.open_prompt is not None:  # answered, or taken back
            self.open_prompt = None
            return []
        if line.startswith("    ") and self._paragraph:
            self._paragraph.append(line.strip())
            return []
        events = self._flushed()
        if line.strip():
            self._paragraph = [line.rstrip()]
        return events

    def _flushed(self) -> list[Event]:
        whole, self._paragraph = " ".join(self._paragraph), []
        if not whole:
            return []
        if head := _HEAD.fullmatch(whole):
            self.step = head["step"]
            return [Began(head["point"], head["step"], head["title"])]
        whole = whole.strip()
        if result := _RESULT.fullmatch(whole):
            return [Ended(result["outcome"], result["point"], result["step"], result["sentence"])]
        if whole.startswith(("> ", "CAUTION: ")):
            self._above = whole.removeprefix("> ")
            return []
        return [Said(whole)]

    def _asked(self) -> list[Event]:
        choice, words = _CHOICE.fullmatch(self._line), _WORDS.fullmatch(self._line)
        if choice is None and words is None:
            return []
        events = self._flushed()
        text = self._above
        replies: tuple[str, ...] = ()
        if choice is not None:
            replies = tuple(re.findall(r"([a-z]+)(?: \([^)]*\))?(?:, |$)", choice["replies"]))
        elif words is not None:
            text = words["text"]
        self._prompts += 1
        self.open_prompt = self._prompts
        return [*events, Asked(self.step, text, replies, self._prompts)]
