"""Text into markup, safely."""

from html.parser import HTMLParser

from hypothesis import given
from hypothesis import strategies as st

from pattress.report.markup import breakable, lines, tag, together
from pattress.report.visible import visible


class Texts(HTMLParser):
    """Gathers what a browser would see: tags and text."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.text = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.text += data


def parsed(html: str) -> Texts:
    texts = Texts()
    texts.feed(html)
    texts.close()
    return texts


@given(st.text())
def test_text_is_text_in_an_element_and_in_an_attribute(text: str) -> None:
    seen = parsed(tag("p", text, title=text).html)

    assert seen.tags == [("p", {"title": visible(text)})]
    assert seen.text == visible(text)


@given(st.text())
def test_a_breakable_text_is_the_same_text(text: str) -> None:
    assert parsed(breakable(text).html).text == visible(text)


def test_a_long_word_may_break_after_its_dots() -> None:
    assert breakable("output.1.over_temperature.enabled on").html == (
        "output.<wbr>1.<wbr>over_<wbr>temperature.<wbr>enabled on"
    )
    assert breakable("mqtt.host").html == "mqtt.host"


def test_markup_passes_and_nothing_adds_nothing() -> None:
    assert tag("p", tag("b", "x"), None, "<").html == "<p><b>x</b>&lt;</p>"
    assert together("a", None, "b").html == "ab"
    assert lines(["a", "b"]).html == "a\nb"


def test_attributes_are_named_as_html_names_them() -> None:
    made = tag("meta", http_equiv="x", class_="c", hidden=True, open=False, title=None)

    assert made.html == '<meta http-equiv="x" class="c" hidden>'
