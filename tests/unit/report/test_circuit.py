"""Answers about circuits as text and as documents."""

from pattress.circuit.conductors import size_of
from pattress.circuit.load import breaker_answer, draw_of, load_answer
from pattress.circuit.working import LAST_WORD, Answer, step
from pattress.model.circuit import Conductors, Load
from pattress.report.circuit import circuit_document, circuit_text, tables_text
from pattress.report.text import Style
from pattress.site.tables_file import shipped_tables

IEC = shipped_tables("iec")
LAMPS = Load(channel="output.1", kind="led-lamp", name="six downlights", power_w=9, count=6, power_factor=0.9)


def test_a_working_is_shown_line_by_line_with_its_sources() -> None:
    text = circuit_text(load_answer(LAMPS, 230, IEC), IEC, Style(width=100))

    assert text == (
        "Six downlights: 0.2609 A at 230 V (54 W, power factor 0.9).\n"
        "\n"
        "1. power\n"
        "    P = p · n = 9 W · 6 = 54 W\n"
        "    by: as asked\n"
        "\n"
        "2. volt-amperes\n"
        "    S = P / cos φ = 54 W / 0.9 = 60 VA\n"
        "    by: cos φ: as asked\n"
        "\n"
        "3. current\n"
        "    I = S / U = 60 VA / (230 V) = 0.2609 A\n"
        "    by: derived\n"
        "\n"
        "Mind: All pieces are taken to run together, at the power that is marked on them.\n"
        "Tables: IEC style, IEC 60228:2004; BS 7671:2018.\n"
        "The code in force at the place and a licensed electrician have the last word: this is a calculation\n"
        "   and no inspection.\n"
    )


def test_a_verdict_stands_first_and_a_comparison_is_not_called_equal() -> None:
    thin = size_of(Conductors(mm2=1.5), IEC)
    text = circuit_text(breaker_answer([draw_of(LAMPS, 230, IEC)], 6, IEC, size=thin), IEC, Style(width=100))

    assert text.startswith("FITS\n")
    assert "    I counted ≤ In: 0.2609 A ≤ 6 A\n" in text


def test_no_line_is_wider_than_the_terminal_and_colour_is_only_where_it_may_be() -> None:
    answer = breaker_answer([draw_of(LAMPS, 230, IEC)], 0.1, IEC)

    plain = circuit_text(answer, IEC, Style(width=60))
    coloured = circuit_text(answer, IEC, Style(width=60, has_colour=True))

    assert max(len(line) for line in plain.splitlines()) <= 60
    assert "\x1b" not in plain
    assert coloured.startswith("\x1b[1;31mDOES NOT FIT")


def test_a_name_from_a_file_cannot_act_on_a_terminal() -> None:
    answer = Answer(question="load", verdict="figure", sentence="lamps \x1b[2J", lines=())

    assert "\x1b" not in circuit_text(answer, IEC, Style())


def test_a_document_has_every_line_value_and_caution() -> None:
    line = step("power", "P", "5 W", 5.0, "W", "derived")
    answer = Answer(
        question="load",
        verdict="unfit",
        sentence="No.",
        values={"b": 2.0, "a": 1.0},
        lines=(line,),
        cautions=("Mind.",),
    )

    document = circuit_document(answer, IEC)

    assert document["working"] == [
        {"what": "power", "formula": "P", "numbers": "5 W", "result": 5.0, "unit": "W", "source": "derived"}
    ]
    assert list(document["values"]) == ["a", "b"]
    assert document["cautions"] == ["Mind."]
    assert document["last_word"] == LAST_WORD
    assert document["tables"]["family"] == "iec"


def test_the_tables_show_every_figure_with_its_source() -> None:
    text = " ".join(tables_text(IEC, Style(width=100)).split())

    for name, figure in IEC.figures.items():
        assert f"{name} = " in text
        assert " ".join(figure.source.split()) in text
    for kind, facts in IEC.kinds.items():
        assert kind in text
        assert facts.inrush.source in text
