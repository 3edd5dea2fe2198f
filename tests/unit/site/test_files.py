"""Reading one file, and saying what is wrong with it."""

import os
from pathlib import Path

import pytest
from pydantic import Field

from pattress.site.files import MAX_FILE_BYTES, TomlFile, parse_toml, read_toml
from pattress.site.shapes import Shape


class LampShape(Shape):
    name: str
    power_w: float = 1.0
    colours: list[str] = Field(default=[])
    names: dict[str, str] = Field(default={})


def only_fault(file: TomlFile) -> str:
    assert not file.is_readable
    assert file.data == {}
    [fault] = file.faults
    return str(fault)


def lamp_faults(text: str) -> list[str]:
    file = parse_toml(text.encode(), "lamp.toml")
    assert file.is_readable, file.faults
    file.checked(LampShape, (), file.data)
    return [str(fault) for fault in file.faults]


def test_a_file_at_the_limit_is_read_and_one_byte_more_is_not(tmp_path: Path) -> None:
    at_limit, above = tmp_path / "at.toml", tmp_path / "above.toml"
    at_limit.write_bytes(b"#" * MAX_FILE_BYTES)
    above.write_bytes(b"#" * (MAX_FILE_BYTES + 1))

    files = [read_toml(path, path.name) for path in (at_limit, above)]

    assert files[0].is_readable
    assert only_fault(files[1]) == "above.toml: found more than 1048576 bytes, expected a file of at most 1 MiB."


def test_a_pipe_is_not_waited_for(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe.toml")

    file = read_toml(tmp_path / "pipe.toml", "pipe.toml")

    assert only_fault(file) == "pipe.toml: found something that is not a regular file, expected a TOML file."


@pytest.mark.parametrize(
    ("data", "message"),
    [
        (b'a = 1\nb = "\xff"\n', "f.toml, line 2: found the byte 0xff, expected text in UTF-8."),
        (b"a = 1\nb =\nc = 2\n", "f.toml, line 2: found what is not TOML (invalid value), expected valid TOML."),
        (b"a = 1\n\nb = [1,\n", "f.toml, line 3: found what is not TOML (invalid value), expected valid TOML."),
        (
            b"[a]\n[a]\n",
            "f.toml, line 2: found what is not TOML (cannot declare ('a',) twice), expected valid TOML.",
        ),
        (
            b"a = " + b"[" * 9000 + b"]" * 9000,
            "f.toml: found lists or tables nested too deep, expected at most a few levels of nesting.",
        ),
        (
            b"a = " + b"9" * 5000,
            "f.toml: found a number with too many digits, expected numbers of at most 19 digits.",
        ),
    ],
    ids=["not UTF-8", "no value", "unclosed list", "table twice", "too deep", "too many digits"],
)
def test_what_is_no_toml_is_one_fault(data: bytes, message: str) -> None:
    file = parse_toml(data, "f.toml")

    assert only_fault(file) == message


def test_a_byte_order_mark_is_skipped() -> None:
    file = parse_toml(b"\xef\xbb\xbfname = 1\r\n", "f.toml")

    assert (file.data, file.faults) == ({"name": 1}, [])


@pytest.mark.parametrize(
    ("text", "messages"),
    [
        ('name = "a"\npower_w = 5', []),
        ("", ["lamp.toml: name: found nothing, expected a value."]),
        (
            'nmae = "a"',
            [
                "lamp.toml, line 1: nmae: found an unknown key, expected one of the keys name, power_w, colours, "
                "names. Did you mean name?"
            ],
        ),
        (
            'name = "a"\npower_w = true\ncolours = ["red",\n1]\nnames.en = 2',
            [
                "lamp.toml, line 2: power_w: found true, expected a number.",
                "lamp.toml, line 4: colours 2: found 1, expected text.",
                "lamp.toml, line 5: names, en: found 2, expected text.",
            ],
        ),
        ('name = "a"\npower_w = nan', ["lamp.toml, line 2: power_w: found nan, expected a number."]),
        ("name = 2027-01-01", ["lamp.toml, line 1: name: found the date 2027-01-01, expected text."]),
        ("name = 08:00:00", ["lamp.toml, line 1: name: found the time 08:00:00, expected text."]),
        (
            "name = 123456789012345678901234567890",
            ["lamp.toml, line 1: name: found a number of more than 20 digits, expected text."],
        ),
        (
            'name = "a"\n"\\u001b[2J" = 1',
            [
                "lamp.toml, line 2: \\x1b[2J: found an unknown key, expected one of the keys name, power_w, colours, "
                "names."
            ],
        ),
    ],
)
def test_what_a_table_may_not_hold_is_said_in_plain_words(text: str, messages: list[str]) -> None:
    faults = lamp_faults(text)

    assert faults == messages


def test_a_file_that_may_not_be_read_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "f.toml").touch()

    def refuse(*_: object, **__: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(Path, "open", refuse)

    file = read_toml(tmp_path / "f.toml", "f.toml")

    assert only_fault(file) == "f.toml: found a file that cannot be read (permission denied), expected a TOML file."
