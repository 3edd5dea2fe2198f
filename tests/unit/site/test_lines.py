"""Where keys stand in TOML texts, easy and tricky."""

import tomllib
from collections.abc import Iterator

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pattress.site.lines import KeyPath, scan_lines


def every_path(value: object, path: KeyPath = ()) -> Iterator[KeyPath]:
    """Yield the path of everything that the library's parser has found below a value."""
    if path:
        yield path
    if isinstance(value, dict):
        for key, element in value.items():
            yield from every_path(element, (*path, key))
    elif isinstance(value, list):
        for index, element in enumerate(value):
            yield from every_path(element, (*path, index))


TRICKY = '''\
# [not.a.table] = "nor a key"
title = "a # that is no comment, a [ and a ] and an escaped \\" quote"   # a comment with "quotes
plain = 'C:\\[not]\\#'
long = """
[[point]]
name = "not a point"
\\""" still inside, with two quotes ""
# no comment
"""
after = 1
raw = \'\'\'
x = ''no end''
[x]\'\'\'
ends = """two quotes at its end"""""
list = [ # a comment with ]
  1, "],", # and another
  [ 2,
    3 ],
  { name = "inline", deep = { at = [ 4, 5 ] } },
]
when = 2027-03-01 08:00:00  # a date with a space
"quoted key" = true
"dotted.in.quotes".below = 'x'
"esc\\u0061ped" = 0
site . "a b" . 'c' = 1.5

[[point]]
name = "one"
plan.input.1.action = "reports"
[point.plan.output]
1.on = true

[[point]] # the second
name = "two"
[[point.extra]]
x = 1
[[point.extra]]
y = 1
[point.plan]
a.b = 1
a.c = 2

[ late . "ta]ble" ]
key = {}
[late]
own = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("plain",), 3),
        (("long",), 4),
        (("after",), 10),
        (("raw",), 11),
        (("ends",), 14),
        (("list",), 15),
        (("list", 0), 16),
        (("list", 1), 16),
        (("list", 2), 17),
        (("list", 2, 0), 17),
        (("list", 2, 1), 18),
        (("list", 3), 19),
        (("list", 3, "deep", "at", 1), 19),
        (("when",), 21),
        (("quoted key",), 22),
        (("dotted.in.quotes", "below"), 23),
        (("escaped",), 24),
        (("site", "a b", "c"), 25),
        (("point",), 27),
        (("point", 0), 27),
        (("point", 0, "name"), 28),
        (("point", 0, "plan"), 29),
        (("point", 0, "plan", "input", "1", "action"), 29),
        (("point", 0, "plan", "output"), 30),
        (("point", 0, "plan", "output", "1", "on"), 31),
        (("point", 1), 33),
        (("point", 1, "name"), 34),
        (("point", 1, "extra"), 35),
        (("point", 1, "extra", 0, "x"), 36),
        (("point", 1, "extra", 1), 37),
        (("point", 1, "extra", 1, "y"), 38),
        (("point", 1, "plan"), 39),
        (("point", 1, "plan", "a"), 40),
        (("point", 1, "plan", "a", "c"), 41),
        (("late", "ta]ble"), 43),
        (("late", "ta]ble", "key"), 44),
        (("late",), 45),
    ],
)
def test_a_key_stands_where_it_is_written(path: KeyPath, line: int) -> None:
    found = scan_lines(TRICKY).line_of(path)

    assert found == line


def test_everything_that_the_parser_finds_has_a_line_and_nothing_else_has() -> None:
    parsed = tomllib.loads(TRICKY)

    lines = scan_lines(TRICKY).lines

    assert set(lines) == set(every_path(parsed))


def test_windows_line_ends_count_as_one() -> None:
    lines = scan_lines('a = """\r\nx\r\n"""\r\nb = [\r\n1,\r\n]\r\n')

    assert (lines.line_of(("a",)), lines.line_of(("b",)), lines.line_of(("b", 0))) == (1, 4, 5)


def test_what_is_not_written_stands_where_its_nearest_table_does() -> None:
    lines = scan_lines("\n[a]\nb = { c = 1 }\n")

    assert lines.line_of(("a", "missing")) == 2
    assert lines.line_of(("a", "b", "missing", 3)) == 3


def test_what_no_table_holds_stands_nowhere() -> None:
    lines = scan_lines("a = 1\n")

    assert lines.line_of(("missing",)) is None
    assert lines.line_of(()) is None


def test_a_text_that_is_not_toml_is_refused_and_not_misread() -> None:
    with pytest.raises(ValueError, match="not TOML on line 2"):
        scan_lines("a = 1\nb = \n")


BARE = st.text("abcXYZ019_-", min_size=1, max_size=4)
NASTY = st.lists(
    st.sampled_from(["[", "]", "[[x]]", "{", "}", "#", "=", ",", ".", "'", '"', "\\", "\n", "k = 1", " ", "é", "\t"]),
    max_size=6,
).map("".join)


def basic(text: str) -> str:
    escapes = {'"': '\\"', "\\": "\\\\", "\n": "\\n", "\t": "\\t"}
    return '"' + "".join(escapes.get(one, one) for one in text) + '"'


def literal(text: str) -> str:
    return "'" + text.replace("'", "").replace("\n", "") + "'"


def multi_line(text: str, quote: str, newline: str) -> str:
    inner = text.replace("\\", "\\\\") if quote == '"' else text
    while quote * 3 in inner:
        inner = inner.replace(quote * 3, quote * 2)
    return quote * 3 + newline + inner.rstrip(quote) + quote * 3


class Writer:
    """Writes TOML by chance and knows the line of everything it has written."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw = draw
        self.text = ""
        self.lines: dict[KeyPath, int] = {}

    def line(self) -> int:
        return self.text.count("\n") + 1

    def gap(self) -> None:
        """Whatever may stand between two statements or two elements."""
        for _ in range(self.draw(st.integers(0, 2))):
            comment = self.draw(NASTY).replace("\n", "")
            self.text += self.draw(st.sampled_from(["\n", "  \n", "\t", f"# {comment}\n"]))

    def key(self, name: str) -> None:
        is_bare = name != "" and all(one in "abcXYZ019_-" for one in name)
        self.text += name if is_bare and self.draw(st.booleans()) else basic(name)

    def keys(self, table: KeyPath, names: list[str]) -> KeyPath:
        line, path = self.line(), table
        for number, name in enumerate(names):
            self.text += self.draw(st.sampled_from(["", " "])) if number else ""
            self.text += "." if number else ""
            self.key(name)
            path = (*path, name)
            self.lines.setdefault(path, line)
        return path

    def value(self, path: KeyPath, depth: int) -> None:
        kinds = ["scalar", "basic", "literal", "multi"] + (["list", "table"] if depth < 3 else [])
        match self.draw(st.sampled_from(kinds)):
            case "scalar":
                scalars = ["1", "-0.5", "true", "inf", "0xdead", "2027-03-01", "2027-03-01 08:00:00Z", "08:00:00"]
                self.text += self.draw(st.sampled_from(scalars))
            case "basic":
                self.text += basic(self.draw(NASTY))
            case "literal":
                self.text += literal(self.draw(NASTY))
            case "multi":
                newline = self.draw(st.sampled_from(["", "\n"]))
                self.text += multi_line(self.draw(NASTY), self.draw(st.sampled_from(["'", '"'])), newline)
            case "list":
                self.elements(path, depth)
            case "table":
                self.inline_table(path, depth)

    def elements(self, path: KeyPath, depth: int) -> None:
        self.text += "["
        for index in range(self.draw(st.integers(0, 3))):
            self.gap()
            self.lines[(*path, index)] = self.line()
            self.value((*path, index), depth + 1)
            self.gap()
            self.text += ","
        self.gap()
        self.text += "]"

    def inline_table(self, path: KeyPath, depth: int) -> None:
        self.text += "{"
        for number, name in enumerate(self.draw(st.lists(st.one_of(BARE, NASTY), max_size=3, unique=True))):
            self.text += ", " if number else " "
            below = self.keys(path, [name, *self.draw(st.lists(BARE, max_size=1))])
            self.text += " = "
            self.value(below, depth + 1)
        self.text += " }"

    def body(self, table: KeyPath) -> None:
        for name in self.draw(st.lists(st.one_of(BARE, NASTY), max_size=3, unique=True)):
            self.gap()
            self.text += self.draw(st.sampled_from(["", "  "]))
            path = self.keys(table, [name, *self.draw(st.lists(BARE, max_size=2))])
            self.text += self.draw(st.sampled_from(["=", " = ", "\t=  "]))
            self.value(path, 0)
            self.text += self.draw(st.sampled_from(["\n", '  # [x] = "\n']))

    def header(self, path: KeyPath, names: list[str], *, is_array: bool) -> None:
        self.gap()
        line = self.line()
        self.text += "[[" if is_array else "["
        for number, name in enumerate(names):
            self.text += self.draw(st.sampled_from([".", " . "])) if number else ""
            self.key(name)
        self.text += "]]\n" if is_array else "]  # ]]\n"
        if is_array:
            self.lines.setdefault(path[:-1], line)
        self.lines[path] = line

    def document(self) -> None:
        self.body(())
        # Names of headers begin with an upper case letter that no name of a key does, so that none is defined twice.
        for number, name in enumerate(self.draw(st.lists(NASTY, max_size=3, unique=True))):
            top = f"T{number}{name}"
            if self.draw(st.booleans()):
                self.header((top,), [top], is_array=False)
                self.body((top,))
                continue
            for index in range(self.draw(st.integers(1, 3))):
                self.header((top, index), [top], is_array=True)
                self.body((top, index))
                if self.draw(st.booleans()):
                    self.header((top, index, "Under"), [top, "Under"], is_array=False)
                    self.body((top, index, "Under"))


@st.composite
def documents(draw: st.DrawFn) -> Writer:
    writer = Writer(draw)
    writer.document()
    return writer


@given(documents())
def test_the_lines_of_any_text_are_those_it_was_written_on(writer: Writer) -> None:
    parsed = tomllib.loads(writer.text)

    lines = scan_lines(writer.text).lines

    assert lines == writer.lines
    assert set(lines) == set(every_path(parsed))
