"""The sections of the page of a close-in check that show what was kept beside its steps: gaps, heat, circuit, settings.

What belongs here: these sections. What does not: the page around them (see `certificate`).
"""

from collections.abc import Iterable, Mapping

from pattress.model.closein import Sample, StepResult
from pattress.model.vocabulary import Value
from pattress.report.certificate_record import STEP_WORDS, CertificateRecord
from pattress.report.chart import Level, line_chart
from pattress.report.markup import Content, Markup, breakable, lines, tag
from pattress.report.planned import circuit_lines
from pattress.report.text import counted

TEMPERATURE = "health.temperature_c"
MAX_FACTS = 8  # of a step on the page; all of them are in the document for machines
MIN_CHART_SAMPLES = 3
# By the end of a name. What is not here is a count, or says its unit in its name.
_UNITS = {
    "c": "°C", "k": "K", "w": "W", "va": "VA", "wh": "Wh", "v": "V", "a": "A", "s": "s", "ms": "ms", "m": "m",
    "min": "min", "dbm": "dBm", "db": "dB", "pct": "%", "mm2": "mm²", "cm3": "cm³",
}  # fmt: skip


def gaps_section(record: CertificateRecord) -> Markup | None:
    """Return what the check does not show, and why, so that nobody must look for it; nothing where it has no gap."""
    gaps = [one for one in record.check.results if one.outcome in ("unverified", "skipped")]
    if not gaps and not record.not_done:
        return None
    names = [f"{one.title} ({STEP_WORDS[one.outcome].lower()})" for one in gaps]
    names += [f"{title} (not done)" for title in record.not_done.values()]
    return tag("p", tag("strong", "This check does not show: "), breakable(f"{'; '.join(names)}."), class_="gaps")


def facts_words(facts: Mapping[str, Value]) -> str:
    """Return the numbers among facts in words: `settles 61 °C, limit 95 °C`."""
    numbers = [(name, one) for name, one in facts.items() if isinstance(one, int | float) and not isinstance(one, bool)]
    return ", ".join(_fact(name, number) for name, number in numbers[:MAX_FACTS])


def heat_section(record: CertificateRecord) -> Markup | None:
    """Return how warm the module got as a chart; nothing where that was not watched."""
    result = next((one for one in record.check.results if one.kind == "heat"), None)
    points = [] if result is None else _temperatures(result.samples)
    if result is None or len(points) < MIN_CHART_SAMPLES:
        return None
    last_minute, last_c = points[-1]
    span = f"over {counted(round(last_minute), 'minute')}, from {points[0][1]:g} to {last_c:g} °C"
    summary = f"Temperature in the module {span}"
    return section(
        "heat",
        "Heat",
        tag(
            "figure", line_chart(points, _levels(result), unit="°C", summary=summary), tag("figcaption", f"{summary}.")
        ),
    )


def circuit_section(record: CertificateRecord) -> Markup | None:
    """Return the circuit as planned; nothing where none is."""
    rows = circuit_lines(record.plan)
    if not rows:
        return None
    when = (
        None if record.is_plan_of_then else tag("p", "From the site's files of today: it was not kept.", class_="lead")
    )
    return section("circuit", "The circuit as planned", when, _broken_up(rows))


def settings_section(record: CertificateRecord) -> Markup | None:
    """Return the settings that were signed off; where there are none, that."""
    agreed = record.agreed
    if agreed is None:
        return None if not record.check.is_signed_off else section(
            "settings", "The settings as signed off", tag("p", "They were not kept.")
        )  # fmt: skip
    values = [(name, _value(agreed.values[name])) for name in sorted(agreed.values)]
    return section("settings", f"The settings as signed off: {len(values)}", _broken_up(values))


def section(section_id: str, title: str, *contents: Content) -> Markup:
    """Return a section of the page under its heading."""
    heading = tag("h2", title, id=f"{section_id}-title")
    return tag("section", heading, lines(contents), id=section_id, aria_labelledby=f"{section_id}-title")


def facts_list(rows: Iterable[tuple[Content, Content]]) -> Markup:
    """Return facts as a list, each under its title."""
    return tag("dl", lines(tag("div", tag("dt", title), tag("dd", value)) for title, value in rows))


def _broken_up(rows: Iterable[tuple[str, str]]) -> Markup:
    return facts_list((breakable(name), breakable(value)) for name, value in rows)


def _temperatures(samples: tuple[Sample, ...]) -> list[tuple[float, float]]:
    """Return minutes since the first, and degrees."""
    read = [
        (one.at, float(one.value))
        for one in samples
        if one.name == TEMPERATURE and isinstance(one.value, int | float) and not isinstance(one.value, bool)
    ]
    return [((at - read[0][0]).total_seconds() / 60, value) for at, value in read]


def _levels(result: StepResult) -> list[Level]:
    found = []
    facts = {name: float(one) for name, one in result.facts.items() if isinstance(one, int | float)}
    if "settles_c" in facts:
        settles, low, high = facts["settles_c"], facts.get("low_c"), facts.get("high_c")
        span = "" if low is None or high is None else f" ({low:.0f} to {high:.0f})"
        found.append(
            Level(value=settles, words=f"settles at {settles:.0f} °C{span}", style="settles", low=low, high=high)
        )
    if "limit_c" in facts:
        found.append(Level(value=facts["limit_c"], words=f"limit {facts['limit_c']:g} °C", style="limit"))
    return found


def _fact(name: str, number: float) -> str:
    words, _, unit = name.rpartition("_")
    if words and unit in _UNITS:
        return f"{words.replace('_', ' ')} {number:g} {_UNITS[unit]}"
    return f"{name.replace('_', ' ')} {number:g}"


def _value(value: Value) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value) if value != "" else "(empty)"
