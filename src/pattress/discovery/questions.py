"""Questions of multicast DNS: their bytes, and when to ask them again.

What belongs here: pure functions on names and packets, and the schedule. What does not: sending, and answers.

The questions are written here, not by the library: it takes names apart at each dot, so that it cannot ask for a
service whose name holds one, and stops asking altogether once it has heard a name that it cannot write.
"""

import math
import struct
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

TYPE_A = 1
TYPE_PTR = 12
TYPE_TXT = 16
TYPE_AAAA = 28
TYPE_SRV = 33
CLASS_IN = 1

MAX_PACKET_BYTES = 1440  # fits one Ethernet packet with an IPv6 header (RFC 6762 section 17)
MAX_LABEL_BYTES = 63  # RFC 1035 section 2.3.4
MAX_NAME_BYTES = 255
FIRST_INTERVAL_S = 1.0  # RFC 6762 section 5.2: at least 1 s between the first two questions, then doubling,
LAST_INTERVAL_S = 3600.0  # up to an hour
MAX_TRIES = 3  # of a question about one service or host; questions for services of a type go on

Labels = tuple[bytes, ...]


@dataclass(frozen=True, slots=True)
class Question:
    """One question. `name` is as the library writes it; `labels` are its labels, None where they are not known."""

    name: str
    type: int
    labels: Labels | None


@dataclass(frozen=True, slots=True)
class KnownAnswer:
    """An answer to a question for services that needs not be given again (RFC 6762 section 7.1)."""

    labels: Labels
    ttl_s: int


def labels_of(text: str) -> Labels | None:
    """Return the labels of a name in which every dot separates two of them, or None if it is no name that can be asked.

    A label that held invalid UTF-8 has come to us with U+FFFD in its place, so that the real one is not known.
    """
    return checked_labels(text.removesuffix(".").split("."))


def checked_labels(labels: Sequence[str]) -> Labels | None:
    """Return labels as bytes, or None where one is empty, too long or not known, or the name as a whole is too long."""
    encoded = tuple(label.encode("utf-8", "replace") for label in labels)
    if any(not 0 < len(label) <= MAX_LABEL_BYTES for label in encoded) or any("\ufffd" in label for label in labels):
        return None
    return encoded if len(_wire_name(encoded)) <= MAX_NAME_BYTES else None


def packets(
    questions: Iterable[Question], known: Mapping[Question, Sequence[KnownAnswer]] | None = None
) -> Iterator[bytes]:
    """Yield packets that ask the questions, with as many known answers as fit. Those without labels are left out."""
    batch: list[Question] = []
    size = _HEADER.size
    for question in questions:
        if question.labels is None:
            continue
        length = len(_wire_name(question.labels)) + _QUESTION.size
        if batch and size + length > MAX_PACKET_BYTES:
            yield _packet(batch, known or {})
            batch, size = [], _HEADER.size
        batch.append(question)
        size += length
    if batch:
        yield _packet(batch, known or {})


class Schedule:
    """When each question is asked: at once, after 1 s, and then at doubling intervals."""

    def __init__(self) -> None:
        self._asked: dict[Question, tuple[float, int]] = {}  # when the next time is, and how often it was asked

    def due(self, wanted: Collection[Question], *, at_s: float, at_most: int) -> list[Question]:
        """Return the wanted questions to ask now, those for services first, and take them as asked."""
        self._asked = {question: self._asked[question] for question in wanted if question in self._asked}
        due = [question for question in wanted if self._due_s(question) <= at_s]
        due.sort(key=lambda question: question.type != TYPE_PTR)
        for question in due[:at_most]:
            _, tries = self._asked.get(question, (at_s, 0))
            self._asked[question] = (at_s + min(FIRST_INTERVAL_S * 2**tries, LAST_INTERVAL_S), tries + 1)
        return due[:at_most]

    def next_s(self, wanted: Collection[Question]) -> float:
        """Return when the next of the wanted questions is due; infinity where none is."""
        return min((self._due_s(question) for question in wanted), default=math.inf)

    def _due_s(self, question: Question) -> float:
        next_s, tries = self._asked.get(question, (-math.inf, 0))
        is_over = question.labels is None or (question.type != TYPE_PTR and tries >= MAX_TRIES)
        return math.inf if is_over else next_s


_HEADER = struct.Struct("!6H")
_QUESTION = struct.Struct("!HH")
_RECORD = struct.Struct("!HHIH")
_POINTER = 0xC000  # RFC 1035 section 4.1.4


def _wire_name(labels: Labels) -> bytes:
    return b"".join(bytes([len(label)]) + label for label in labels) + b"\0"


def _packet(questions: Sequence[Question], known: Mapping[Question, Sequence[KnownAnswer]]) -> bytes:
    body = bytearray(_HEADER.size)
    positions: list[int] = []
    for question in questions:
        positions.append(len(body))
        body += _wire_name(question.labels or ()) + _QUESTION.pack(question.type, CLASS_IN)
    answer_count = 0
    for question, position in zip(questions, positions, strict=True):
        owner = (_POINTER | position).to_bytes(2, "big")
        for answer in known.get(question, ()):
            target = _compressed(answer.labels, question.labels or (), owner)
            record = owner + _RECORD.pack(question.type, CLASS_IN, answer.ttl_s, len(target)) + target
            if len(body) + len(record) > MAX_PACKET_BYTES:
                break
            body += record
            answer_count += 1
    _HEADER.pack_into(body, 0, 0, 0, len(questions), answer_count, 0, 0)
    return bytes(body)


def _compressed(labels: Labels, suffix: Labels, pointer: bytes) -> bytes:
    """Return a name on the wire, with a pointer in place of the question's own name where it ends in that."""
    own = labels[: len(labels) - len(suffix)]
    if labels[len(own) :] != suffix:
        return _wire_name(labels)
    return _wire_name(own)[:-1] + pointer
