"""Reading one TOML file, and collecting every fault of it in plain words.

What belongs here: what all kinds of file share. What does not: what a kind of file may hold, which is with its
loader.
"""

import re
import stat
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path
from typing import Any, TypeVar, get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from pattress.model.errors import Fault
from pattress.site.lines import KeyPath, LineMap, scan_lines
from pattress.site.names import nearest
from pattress.site.shapes import Mismatch, Shape, Table, keys_of, unknown_keys
from pattress.site.words import place_of, said, value_at

MAX_FILE_BYTES = 1_048_576  # a point takes about 400 bytes: room for 2,600 of them in one file
SECRET_KEYS = frozenset({"password_file", "secret_file"})
"""Keys where a person may write the secret itself by mistake: their values are never shown."""

AnyShape = TypeVar("AnyShape", bound=Shape)


@dataclass(slots=True, kw_only=True)
class TomlFile:
    """One file as it was read, and its faults so far.

    `shown` is the file's name in faults. `is_readable` is False where there is nothing to check: the one fault is
    that the file could not be read, and `data` is empty.
    """

    shown: str
    data: Mapping[str, Any] = field(default_factory=dict)
    lines: LineMap = field(default_factory=lambda: LineMap({}))
    digest: str = ""
    is_readable: bool = True
    faults: list[Fault] = field(default_factory=list)

    def fault(
        self,
        path: KeyPath,
        *,
        found: str,
        expected: str,
        nearest: str | None = None,
        place: KeyPath | None = None,
    ) -> None:
        """Note a fault at a key. `place` is the way to show where the keys of `path` are not what a person sees."""
        self.faults.append(
            Fault(
                file=self.shown,
                line=self.lines.line_of(path),
                place=place_of(self.data, path if place is None else place),
                found=found,
                expected=expected,
                nearest=nearest,
            )
        )

    def mismatch(self, path: KeyPath, value: object, error: Mismatch, *, place: KeyPath | None = None) -> None:
        """Note that the value at a key is not what belongs there."""
        found = error.found or said(value)
        self.fault(path, found=found, expected=error.expected, nearest=error.nearest, place=place)

    def check_unique(
        self,
        first: dict[str, KeyPath],
        path: KeyPath,
        value: object,
        *,
        expected: str,
        place: KeyPath | None = None,
    ) -> None:
        """Note a fault where `first` holds the value already, naming the line of the first; else remember it there."""
        if not isinstance(value, str):
            return
        if value in first:
            line = self.lines.line_of(first[value])
            self.fault(path, found=f"{said(value)} again (first in line {line})", expected=expected, place=place)
        first.setdefault(value, path)

    def check_one(self, path: KeyPath, table: Table, keys: Sequence[str], *, shape: type[Shape] | None = None) -> bool:
        """Whether a table has at most one of some keys, after noting the fault where not; with its `shape` exactly one.

        A table that has none of them and an unknown key has one fault already: that key may be one of them, misspelt.
        """
        written = [key for key in keys if key in table]
        if len(written) == 1 or not (written or shape):
            return True
        if written or (shape and not unknown_keys(shape, table)):
            how_many = "exactly" if shape else "at most"
            expected = f"{how_many} one of {', '.join(keys[:-1])} and {keys[-1]}"
            self.fault(path, found=" and ".join(written) or "none of them", expected=expected)
        return False

    def table(self, *path: str | int) -> tuple[KeyPath, dict[str, Any]] | None:
        """Return the table at a path with its path, or None where there is none (or something else: a fault of it)."""
        here = value_at(self.data, path)
        return (path, here) if isinstance(here, dict) else None

    def tables(self, *path: str | int) -> Iterator[tuple[KeyPath, dict[str, Any]]]:
        """Yield each table of an array of tables with its path."""
        here = value_at(self.data, path)
        for index, element in enumerate(here if isinstance(here, list) else ()):
            if isinstance(element, dict):
                yield (*path, index), element

    def checked(self, shape: type[AnyShape], path: KeyPath, value: object) -> AnyShape | None:
        """Return a table as its shape, or None after noting each of its faults."""
        try:
            return shape.model_validate(value)
        except ValidationError as error:
            details = error.errors(include_url=False)
        self._note(shape, path, value, details)
        return None

    def _note(self, shape: type[Shape], path: KeyPath, value: object, details: Sequence[ErrorDetails]) -> None:
        keys = keys_of(shape)
        free = [key for key in keys if not (isinstance(value, dict) and key in value)]
        # A key that is missing because it is misspelt is one mistake, not two.
        meant = {detail["loc"][-1]: nearest(detail["loc"][-1], free) for detail in details if _is_unknown(detail)}
        for detail in details:
            at = (*path, *detail["loc"])
            if _is_unknown(detail):
                name = str(detail["loc"][-1])
                close = meant[name] or nearest(name, keys)
                self.fault(at, found="an unknown key", expected=_one_of(keys), nearest=close)
            elif detail["type"] == "missing":
                if detail["loc"][-1] not in meant.values():
                    self.fault(at, found="nothing", expected=_description(shape, detail) or "a value")
            else:
                expected, close = _expected(shape, detail)
                self.fault(at, found=_found(detail, at), expected=expected, nearest=close)


def read_toml(path: Path, shown: str) -> TomlFile:
    """Return a file read and scanned. One that cannot be read is returned with its one fault, never raised."""
    try:
        if not stat.S_ISREG(path.stat().st_mode):
            return _unreadable(shown, "something that is not a regular file", "a TOML file")
        with path.open("rb") as stream:
            data = stream.read(MAX_FILE_BYTES + 1)
    except FileNotFoundError:
        return _unreadable(shown, "no such file", "a TOML file")
    except OSError as error:
        return _unreadable(
            shown, f"a file that cannot be read ({(error.strerror or 'no reason').lower()})", "a TOML file"
        )
    if len(data) > MAX_FILE_BYTES:
        return _unreadable(shown, f"more than {MAX_FILE_BYTES} bytes", "a file of at most 1 MiB")
    return parse_toml(data, shown)


def parse_toml(data: bytes, shown: str) -> TomlFile:
    """Return the bytes of a file parsed and scanned, or with the one fault that they are not TOML."""
    try:
        text = data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        return _unreadable(shown, f"the byte 0x{data[error.start]:02x}", "text in UTF-8", line)
    try:
        parsed = tomllib.loads(text)
        lines = scan_lines(text)
    except tomllib.TOMLDecodeError as error:
        return _not_toml(shown, text, error)
    except RecursionError:
        return _unreadable(shown, "lists or tables nested too deep", "at most a few levels of nesting")
    except ValueError:  # a whole number of more digits than the interpreter converts
        return _unreadable(shown, "a number with too many digits", "numbers of at most 19 digits")
    return TomlFile(shown=shown, data=parsed, lines=lines, digest=sha256(data).hexdigest())


def _is_unknown(detail: ErrorDetails) -> bool:
    return detail["type"] == "extra_forbidden"


def _one_of(names: Sequence[str]) -> str:
    return "one of the keys " + ", ".join(names) if len(names) > 1 else f"only the key {names[0]}"


def _found(detail: ErrorDetails, path: KeyPath) -> str:
    value = detail["input"]
    mismatch = _mismatch(detail)
    if mismatch is not None and mismatch.found is not None:
        return mismatch.found
    if not SECRET_KEYS.isdisjoint(path) and isinstance(value, str | int | float):
        return "a value that is not shown here"
    return said(value)


def _mismatch(detail: ErrorDetails) -> Mismatch | None:
    error = detail.get("ctx", {}).get("error")
    return error if isinstance(error, Mismatch) else None


def _expected(shape: type[Shape], detail: ErrorDetails) -> tuple[str, str | None]:
    """What belongs there, and the nearest valid choice."""
    mismatch = _mismatch(detail)
    if mismatch is not None:
        return mismatch.expected, mismatch.nearest
    if detail["type"] == "literal_error":
        choices = _choices(shape, detail)
        return "one of " + ", ".join(choices), nearest(detail["input"], choices)
    # The description is that of the key's whole value; an element of a list has its type only.
    described = _description(shape, detail) if len(detail["loc"]) == 1 else None
    return described or _TYPES.get(detail["type"], "a valid value"), None


def _description(shape: type[Shape], detail: ErrorDetails) -> str | None:
    return next(
        (field.description for name, field in shape.model_fields.items() if (field.alias or name) == detail["loc"][0]),
        None,
    )


def _choices(shape: type[Shape], detail: ErrorDetails) -> tuple[str, ...]:
    for name, field_info in shape.model_fields.items():
        if (field_info.alias or name) == detail["loc"][0]:
            return tuple(_literals(field_info.annotation))
    return ()


def _literals(annotation: object) -> Iterator[str]:
    for argument in get_args(annotation):
        if isinstance(argument, str):
            yield argument
        else:
            yield from _literals(argument)


def _unreadable(shown: str, found: str, expected: str, line: int | None = None) -> TomlFile:
    fault = Fault(file=shown, line=line, place="", found=found, expected=expected)
    return TomlFile(shown=shown, is_readable=False, faults=[fault])


def _not_toml(shown: str, text: str, error: tomllib.TOMLDecodeError) -> TomlFile:
    # The parser's words quote keys and single characters, never a value: no secret can come along.
    message = str(error)
    position = re.search(r" \(at (?:line (\d+), column \d+|end of document)\)$", message)
    reason = message[: position.start()] if position else message
    line = int(position[1]) if position and position[1] else len(text.rstrip("\n").split("\n"))
    return _unreadable(shown, f"what is not TOML ({reason[:1].lower()}{reason[1:]})", "valid TOML", line)


_TYPES = {
    "string_type": "text",
    "bool_type": "true or false",
    "int_type": "a whole number",
    "float_type": "a number",
    "finite_number": "a number",
    "list_type": "a list",
    "dict_type": "a table",
    "model_type": "a table",
    "date_type": "a date such as 2027-03-01",
}
