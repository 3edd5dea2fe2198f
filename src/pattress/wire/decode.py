"""Decoding of what a stranger sent: strict, bounded, and with one clear reason for each refusal.

What belongs here: bytes in, plain values out, for every source. What does not: reading from a socket.
"""

import json
import math
import re
from itertools import accumulate
from typing import NoReturn

MAX_DOCUMENT_BYTES = 1_048_576  # a module's own documents are 1 to 60 kB; 100 at once stay under 100 MiB
MAX_DEPTH = 32  # documents of modules nest 4 to 8 deep
MAX_INTEGER_DIGITS = 32  # int64 needs 19; Python's own limit of 4300 digits is slow to reach


class UndecodableError(ValueError):
    """The bytes are not what they should be. The message is the reason, for a person."""


def decode_json(data: bytes) -> object:
    """Return the JSON value in `data`.

    Refused are invalid UTF-8, duplicate keys, NaN and infinities (a number too large for a double is one), nesting
    deeper than `MAX_DEPTH`, integers of more than `MAX_INTEGER_DIGITS` digits, and anything longer than
    `MAX_DOCUMENT_BYTES`. A byte order mark is skipped.

    Source: RFC 8259 sections 4, 6, 8.1 and 9.

    Raises:
        UndecodableError: With the reason.
    """
    text = decode_text(data)
    if not text.strip():
        raise UndecodableError("an empty answer where JSON belongs")
    if text.lstrip().startswith("<"):
        raise UndecodableError("a page of HTML or XML where JSON belongs")
    _check_depth(text)
    try:
        return _DECODER.decode(text)
    except json.JSONDecodeError as error:
        raise UndecodableError(f"not JSON: {error.msg} at line {error.lineno}, column {error.colno}") from error
    except RecursionError as error:
        raise UndecodableError(f"nested deeper than {MAX_DEPTH}") from error


def decode_text(data: bytes) -> str:
    """Return `data` as text.

    Raises:
        UndecodableError: If it is too long or not UTF-8.
    """
    if len(data) > MAX_DOCUMENT_BYTES:
        raise UndecodableError(f"longer than {MAX_DOCUMENT_BYTES} bytes")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise UndecodableError(f"not UTF-8: byte 0x{data[error.start]:02x} at offset {error.start}") from error


def _check_depth(text: str) -> None:
    """Refuse deep nesting before the parser recurses. Cheap: most documents have too few brackets to nest deep."""
    if text.count("[") + text.count("{") <= MAX_DEPTH:
        return
    unescaped = _ESCAPE.sub("", text) if "\\" in text else text
    marks = unescaped.encode("utf-8", "replace").translate(None, _NOT_MARKS)
    # Every second piece stands outside of strings. One that never closes runs to the very end, and is left out.
    brackets = b"".join(marks.split(b'"')[::2]).translate(_STEPS)
    if max(accumulate(step - 1 for step in brackets), default=0) > MAX_DEPTH:
        raise UndecodableError(f"nested deeper than {MAX_DEPTH}")


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    result = dict(pairs)
    if len(result) != len(pairs):
        seen: set[str] = set()
        for key, _ in pairs:
            if key in seen:
                raise UndecodableError(f"key {key[:80]!r} twice in one object, so that it says two things")
            seen.add(key)
    return result


def _refuse_constant(name: str) -> NoReturn:
    raise UndecodableError(f"{name} is not a JSON number")


def _integer(digits: str) -> int:
    if len(digits.lstrip("-")) > MAX_INTEGER_DIGITS:
        raise UndecodableError(f"a whole number of {len(digits.lstrip('-'))} digits")
    return int(digits)


def _fraction(digits: str) -> float:
    number = float(digits)
    if not math.isfinite(number):
        raise UndecodableError(f"{digits[:80]} is too large a number")
    return number


_DECODER = json.JSONDecoder(
    object_pairs_hook=_object, parse_constant=_refuse_constant, parse_int=_integer, parse_float=_fraction
)
_ESCAPE = re.compile(r"\\.", re.DOTALL)
_NOT_MARKS = bytes(set(range(256)) - set(b'[]{}"'))
_STEPS = bytes.maketrans(b"[{]}", bytes([2, 2, 0, 0]))  # one deeper and one less deep, each plus one to fit a byte
