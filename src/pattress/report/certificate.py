"""The certificate of a close-in check as one page that prints on one sheet of A4 or Letter, and reads well on a phone.

What belongs here: the page. What does not: how the check stands (`certificate_record`), and the label (`label`). A
check that was not signed off gets a page that says so before anything else, and never the word certificate as its own.
"""

from datetime import UTC, datetime

from pattress.model.closein import StepResult
from pattress.model.finding import Outcome
from pattress.policy.builtin import CAUTION
from pattress.report.certificate_record import (
    STEP_WORDS,
    VERDICT_WORDS,
    CertificateRecord,
    Verdict,
    verdict_sentence,
)
from pattress.report.certificate_sections import (
    circuit_section,
    facts_list,
    facts_words,
    gaps_section,
    heat_section,
    section,
    settings_section,
)
from pattress.report.marks import mark, sheet
from pattress.report.markup import Content, Markup, breakable, lines, tag
from pattress.report.page import html_document, style_of
from pattress.report.planned import hazards_of
from pattress.report.qr_code import QUIET_MODULES, dark_path, qr_modules

NO_SUBSTITUTE = "This check is no substitute for the inspection that the code requires."
LAST_WORD = "Local codes and a licensed electrician have the last word."
_OUTCOMES: dict[Verdict, Outcome] = {
    "in-order": "met",
    "with-gaps": "unverified",
    "not-in-order": "broken",
    "unfinished": "broken",
    "given-up": "broken",
}
_HAZARDS = {
    "heats": "It feeds a load that heats: it may come on by itself, and is hot after it was on.",
    "pumps": "It feeds a pump: it may run by itself.",
    "moves": "It feeds something that moves: it may start by itself. Keep clear of it.",
    "mixed": "Mains and extra-low voltage share this box: prove both dead, and keep them apart.",
}


def certificate_html(record: CertificateRecord) -> str:
    """Return the page of a check as an HTML document.

    Raises:
        ValueError: If what the code must hold is too long for any code.
    """
    sections = [
        _newer(record),
        _about(record),
        gaps_section(record),
        _steps(record),
        _side_by_side(heat_section(record), circuit_section(record)),
        settings_section(record),
        _cautions(record),
    ]
    return html_document(
        f"{record.site_name}: {record.check.point}, {_name(record)}",
        style_of("page.css", "certificate.css"),
        sheet(),
        _header(record),
        tag("main", lines(one for one in sections if one is not None)),
        _footer(record),
    )


def _name(record: CertificateRecord) -> str:
    if record.is_signed:
        return f"close-in certificate {record.short_id}"
    return f"close-in check {record.short_id}, no certificate"


def _header(record: CertificateRecord) -> Markup:
    outcome = _OUTCOMES[record.verdict]
    room = record.plan.get("room")
    place = record.site_name if room is None else f"{record.site_name}, {room}"
    return tag(
        "header",
        tag("p", place, class_="kicker"),
        tag("h1", breakable(record.check.point)),
        tag("p", f"{_name(record)[:1].upper()}{_name(record)[1:]}", class_="when"),
        tag(
            "p",
            mark(outcome),
            tag("strong", VERDICT_WORDS[record.verdict]),
            tag("span", verdict_sentence(record)),
            class_=f"stamp {outcome}",
        ),
    )


def _newer(record: CertificateRecord) -> Markup | None:
    newer = record.newer
    if newer is None:
        return None
    ended = "is not finished" if newer.ended_at is None else "was signed off" if newer.is_signed_off else "was given up"
    words = f"There is a newer check of this point: {newer.id}, begun {_when(newer.began_at)}, which {ended}."
    return tag("p", mark("danger"), tag("span", words), class_="caution")


def _about(record: CertificateRecord) -> Markup:
    check = record.check
    known = [(title, record.value_of(name)) for title, name in _MODULE]
    rows: list[tuple[Content, Content]] = [
        ("Checked by", check.who),
        *([("Signed off by", record.agreed.who)] if record.agreed and record.agreed.who != check.who else []),
        ("Began", _time(check.began_at)),
        ("Ended", "not yet" if check.ended_at is None else _time(check.ended_at)),
        *((title, breakable(value)) for title, value in known if value is not None),
    ]
    if check.device is None:
        rows.append(("Device", tag("strong", "none was found")))
    elif record.value_of("mac") is None:
        rows.append(("Device", breakable(check.device)))
    return section(
        "about",
        "Who, when and what",
        tag("div", facts_list(rows), _code(record), class_="beside"),
    )


def _code(record: CertificateRecord) -> Markup:
    modules = qr_modules(record.code_text)
    side = len(modules) + 2 * QUIET_MODULES
    leads = "leads to" if record.page_url is not None else "holds no address, only"
    svg = tag(
        "svg",
        tag("title", f"A code that {leads} {record.code_text}"),
        tag("rect", width=str(side), height=str(side), fill="#fff"),
        tag("path", d=dark_path(modules), fill="#000"),
        viewBox=f"0 0 {side} {side}",
        shape_rendering="crispEdges",
        role="img",
    )
    words = tag("figcaption", f"The code {leads} ", breakable(record.code_text))
    return tag("figure", svg, words, class_="code")


def _side_by_side(*sections: Markup | None) -> Markup | None:
    shown = [one for one in sections if one is not None]
    return tag("div", lines(shown), class_="pair") if shown else None


def _steps(record: CertificateRecord) -> Markup:
    head = tag("tr", *(tag("th", words, scope="col") for words in ("Step", "Outcome", "What was found")))
    rows = [_step(one) for one in record.check.results]
    rows += [_missing(name, title) for name, title in record.not_done.items()]
    body = tag("tbody", lines(rows)) if rows else None
    table = tag("table", tag("thead", head), body, class_="steps") if body else tag("p", "Nothing was done.")
    return section("steps", "What was checked", table)


def _step(result: StepResult) -> Markup:
    numbers = facts_words(result.facts)
    tried = f"{_ORDINALS.get(result.number, f'{result.number}th')} try, " if result.number > 1 else ""
    when = f"{tried}{_clock(result.began_at)} to {_clock(result.ended_at)}"
    return tag(
        "tr",
        tag("th", result.title, " ", tag("code", result.step), scope="row"),
        tag("td", tag("span", mark(result.outcome), tag("span", STEP_WORDS[result.outcome]), class_="badge")),
        tag(
            "td",
            tag("p", breakable(_sentence(result.sentence))),
            " ",
            tag("p", ". ".join(one for one in (numbers, when) if one), class_="numbers"),
        ),
        class_=result.outcome,
    )


def _missing(name: str, title: str) -> Markup:
    words = title if title == name else f"{title} "
    return tag(
        "tr",
        tag("th", words, tag("code", name) if title != name else None, scope="row"),
        tag("td", tag("span", mark("unverified"), tag("span", "Not done"), class_="badge")),
        tag("td", tag("p", "There is no result of this step.")),
        class_="unverified",
    )


def _cautions(record: CertificateRecord) -> Markup:
    hazards = hazards_of(record.plan)
    words = [CAUTION, *(text for hazard, text in _HAZARDS.items() if hazard in hazards)]
    return section(
        "cautions",
        "Before this box is opened again",
        tag("p", mark("danger"), tag("span", " ".join(words)), class_="caution"),
        tag("p", tag("strong", NO_SUBSTITUTE), f" {LAST_WORD}", class_="substitute"),
    )


def _footer(record: CertificateRecord) -> Markup:
    return tag(
        "footer",
        tag(
            "p",
            f"Record {record.short_id} of {record.site_name}. SHA-256 of what was kept: ",
            tag("code", record.digest),
        ),
    )


def _sentence(text: str) -> str:
    """Return a step's words as a sentence."""
    text = text.strip() or "Nothing was said."
    return f"{text[:1].upper()}{text[1:]}{'' if text.endswith(('.', '!', '?')) else '.'}"


def _time(moment: datetime) -> Markup:
    return tag("time", _when(moment), datetime=moment.astimezone(UTC).isoformat(timespec="seconds"))


def _when(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M} UTC"


def _clock(moment: datetime) -> str:
    return f"{moment.astimezone(UTC):%H:%M:%S}"


_ORDINALS = {2: "second", 3: "third"}
_MODULE = (
    ("Kind", "kind"),
    ("Maker", "maker"),
    ("Model", "model"),
    ("Hardware address", "mac"),
    ("Serial", "serial"),
    ("Firmware", "firmware.version"),
)
