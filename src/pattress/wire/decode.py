"""Decoding of what a stranger sent: strict, bounded, and with one clear reason for each refusal.

What belongs here: bytes in, plain values out, for every source. What does not: reading from a socket.
"""

import json
import re
from typing import NoReturn

MAX_DOCUMENT_BYTES = 1_048_576  # a module's own documents are 1 to 60 kB; 100 at once stay under 100 MiB
MAX_DEPTH = 32  # documents of modules nest 4 to 8 deep
MAX_INTEGER_DIGITS = 32  # int64 needs 19; Python's own limit of 4300 digits is slow to reach


class UndecodableError(ValueError):
    """The bytes are not what they should be. The message is the reason, for a person."""


def decode_json(data: bytes) -> object:
    """Return the JSON value in `data`.

    Refused are invalid UTF-8, duplicate keys, NaN and infinities, nesting deeper than `MAX_DEPTH`, integers of more
    than `MAX_INTEGER_DIGITS` digits, and anything longer than `MAX_DOCUMENT_BYTES`. A byte order mark is skipped.

    Source: RFC 8259 sections 4, 6, 8.1 and 9.

    Raises:
        UndecodableError: With the reason.
    """
    text = decode_text(data)
    if not text.strip():
        raise UndecodableError("an empty answer where JSON belongs")
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
    depth = 0
    for token in _BRACKET_OR_STRING.finditer(text):
        if token[0] in "[{":
            depth += 1
            if depth > MAX_DEPTH:
                raise UndecodableError(f"nested deeper than {MAX_DEPTH}")
        elif token[0] in "]}":
            depth -= 1


def _object(pairs: list[tuple[str, object]]) -> dict[str, object]:
    result = dict(pairs)
    if len(result) != len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise UndecodableError(f"key {twice[:80]!r} twice in one object, so that it says two things")
    return result


def _refuse_constant(name: str) -> NoReturn:
    raise UndecodableError(f"{name} is not a JSON number")


def _integer(digits: str) -> int:
    if len(digits) > MAX_INTEGER_DIGITS:
        raise UndecodableError(f"a whole number of {len(digits)} digits")
    return int(digits)


_DECODER = json.JSONDecoder(object_pairs_hook=_object, parse_constant=_refuse_constant, parse_int=_integer)
# One token is a bracket or a whole string; a string that never closes runs to the end, once, so this stays linear.
_BRACKET_OR_STRING = re.compile(r'[\[\]{}]|"(?:[^"\\]|\\.)*+(?:"|\Z)', re.DOTALL)
