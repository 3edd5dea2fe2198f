"""Line numbers of the keys in a TOML text, which the library's parser does not give.

What belongs here: where each key, table and list element of a text stands. What does not: what they mean, and
whether the text is TOML at all; only a text that `tomllib` has accepted may be scanned.
"""

import re
import tomllib
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass

KeyPath = tuple[str | int, ...]
"""The way to a value: keys by name, elements of lists and of arrays of tables counted from 0."""


@dataclass(frozen=True, slots=True)
class LineMap:
    """The lines, counted from 1, on which the keys and elements of one TOML text stand."""

    lines: Mapping[KeyPath, int]

    def line_of(self, path: KeyPath) -> int | None:
        """Return the line of what `path` leads to, failing that of the nearest enclosing table or list.

        None says the whole file: nothing on the way is written in it.
        """
        for length in range(len(path), 0, -1):
            if path[:length] in self.lines:
                return self.lines[path[:length]]
        return None


def scan_lines(text: str) -> LineMap:
    """Return the line of every key, table and list element in a valid TOML text.

    A table stands where its header is, or, with none, where it is first written to. A key stands where it begins,
    however many lines its value takes. Source: TOML v1.0.0; line feed and carriage return with line feed end a line.
    """
    scanner = _Scanner(text)
    scanner.document()
    return LineMap(scanner.lines)


class _Scanner:
    """Walks once through a text and notes lines. Strings and comments are taken whole, so nothing in them misleads."""

    def __init__(self, text: str) -> None:
        self.lines: dict[KeyPath, int] = {}
        self._text = text
        self._at = 0
        self._line_ends = [found.start() for found in re.finditer("\n", text)]
        self._array_sizes: dict[KeyPath, int] = {}

    def document(self) -> None:
        table: KeyPath = ()
        while self._skip_to_next():
            if self._has("[["):
                table = self._array_header()
            elif self._has("["):
                table = self._table_header()
            else:
                self._key_and_value(table)

    def _array_header(self) -> KeyPath:
        line = self._line()
        self._at += 2
        path = self._resolved(self._key(), line)
        self._at += 2
        size = self._array_sizes[path] = self._array_sizes.get(path, 0) + 1
        self.lines.setdefault(path, line)
        element = (*path, size - 1)
        self.lines[element] = line
        return element

    def _table_header(self) -> KeyPath:
        line = self._line()
        self._at += 1
        path = self._resolved(self._key(), line)
        self._at += 1
        self.lines[path] = line
        return path

    def _resolved(self, key: list[str], line: int) -> KeyPath:
        """The path of a header's key: on its way it leads through the latest element of each array of tables."""
        path: KeyPath = ()
        for part in key[:-1]:
            path = (*path, part)
            self.lines.setdefault(path, line)
            if path in self._array_sizes:
                path = (*path, self._array_sizes[path] - 1)
        return (*path, key[-1])

    def _key_and_value(self, table: KeyPath) -> None:
        line = self._line()
        path = table
        for part in self._key():
            path = (*path, part)
            self.lines.setdefault(path, line)
        self._take(_EQUALS)
        self._value(path)

    def _value(self, path: KeyPath) -> None:
        if self._has("["):
            self._list(path)
        elif self._has("{"):
            self._inline_table(path)
        else:
            self._take(_SCALAR)

    def _list(self, path: KeyPath) -> None:
        self._at += 1
        index = 0
        while self._skip_to_next() and not self._has("]"):
            if self._has(","):
                self._at += 1
                continue
            element = (*path, index)
            self.lines[element] = self._line()
            self._value(element)
            index += 1
        self._at += 1

    def _inline_table(self, path: KeyPath) -> None:
        self._at += 1
        while self._skip_to_next() and not self._has("}"):
            if self._has(","):
                self._at += 1
            else:
                self._key_and_value(path)
        self._at += 1

    def _key(self) -> list[str]:
        parts = [self._key_part()]
        while self._has("."):
            self._at += 1
            parts.append(self._key_part())
        return parts

    def _key_part(self) -> str:
        written = self._take(_KEY_PART).strip(" \t")
        # The library knows the escapes of a quoted key; a bare key is what it says.
        return str(tomllib.loads(f"key = {written}")["key"]) if written[0] in "\"'" else written

    def _skip_to_next(self) -> bool:
        """Go past white space, line ends and comments; False at the end of the text."""
        self._take(_BETWEEN)
        return self._at < len(self._text)

    def _take(self, pattern: re.Pattern[str]) -> str:
        found = pattern.match(self._text, self._at)
        if found is None:
            raise ValueError(
                f"not TOML on line {self._line()}; only a text that the parser has accepted can be scanned"
            )
        self._at = found.end()
        return found[0]

    def _has(self, start: str) -> bool:
        return self._text.startswith(start, self._at)

    def _line(self) -> int:
        return bisect_right(self._line_ends, self._at - 1) + 1


_BETWEEN = re.compile(r"(?:[ \t\r\n]|#[^\n]*+)*+")
_EQUALS = re.compile(r"[ \t]*+=[ \t]*+")
_BASIC = r'"(?:[^"\\\n]|\\.)*+"'
_LITERAL = r"'[^'\n]*+'"
_KEY_PART = re.compile(rf"[ \t]*+(?:{_BASIC}|{_LITERAL}|[A-Za-z0-9_-]++)[ \t]*+")
# A multi-line string may hold one or two quotes anywhere, also just before the three that end it.
_SCALAR = re.compile(
    r'"""(?:[^"\\]|\\.|"{1,2}(?!"))*+"{3,5}'
    r"|'''(?:[^']|'{1,2}(?!'))*+'{3,5}"
    rf"|{_BASIC}|{_LITERAL}"
    r"|[^\s,\[\]{}#\"'](?:[^,\]}#\n])*+",  # numbers, dates (which may hold a space), true and false
    re.DOTALL,
)
