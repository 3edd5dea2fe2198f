"""The page of an audit, as text. What a browser makes of it is tested with one."""

import base64
import hashlib
import itertools
import re
from dataclasses import replace
from html.parser import HTMLParser

import pytest

from pattress.model.finding import Finding, Subject
from pattress.policy.builtin import CAUTION
from pattress.report.formats import AuditResult
from pattress.report.places import MAX_PLACES
from unit.report.examples import (
    ANSWERS,
    ATTIC,
    BROKEN,
    FINDINGS,
    HALL,
    HEADING,
    HEAT,
    MET,
    SIGNAL,
    UNVERIFIED,
    WAIVED,
    hostile_result,
    result,
    whole,
)


class Page(HTMLParser):
    """The elements of a page in order, each with its attributes, and the text of all."""

    def __init__(self) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.texts: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.texts.append(data)

    def all(self, name: str) -> list[dict[str, str | None]]:
        return [attributes for element, attributes in self.elements if element == name]

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.texts).split())


def page(audit: AuditResult) -> Page:
    parser = Page()
    parser.feed(whole(audit, "html"))
    return parser


def only(*findings: Finding) -> Page:
    return page(result(findings))


def test_broken_comes_first_then_what_could_not_be_checked_then_what_is_accepted_then_a_count_of_what_is_met() -> None:
    ids = [section["id"] for section in page(result()).all("section")]

    assert ids == ["broken", "unverified", "waived", "met", "sources", "overridden"]
    assert "Met: 1 of 4 checks" in page(result()).text


def test_it_says_which_run_of_which_site_by_which_policy_and_how_long() -> None:
    seen = page(result())

    for fact in ("Larkspur Mill", "Audit 7", "2026-11-25 03:10 UTC", "4.2 s", "isolated-house", "0123456789abcdef" * 4):
        assert fact in seen.text, fact
    assert seen.all("time") == [{"datetime": "2026-11-25T03:10:00+00:00"}]


def test_a_broken_rule_is_explained_once_and_linked_from_each_place() -> None:
    seen = only(BROKEN, Finding(HEAT, ATTIC, "output.1.over_temperature.enabled", "broken", "true", False))

    assert seen.text.count("Why. A relay in a closed box has no other way to shed an overload.") == 1
    assert seen.text.count("Turn it on.") == 1
    assert "IEC 60669-2-1" in seen.text
    links = [link["href"] for link in seen.all("a")]
    assert links.count("#rule-over-temperature") == 2


def test_every_link_leads_to_a_place_in_the_page() -> None:
    for audit in (result(), result([MET]), result([]), hostile_result()):
        seen = page(audit)
        ids = [attributes["id"] for _, attributes in seen.elements if "id" in attributes]
        assert len(ids) == len(set(ids))
        assert {link["href"] for link in seen.all("a")} <= {f"#{one}" for one in ids}


@pytest.mark.parametrize(
    ("findings", "times"),
    [
        ((BROKEN,), 1),
        ((BROKEN, Finding(HEAT, ATTIC, "x", "unverified", "true", remark="no answer")), 1),
        ((Finding(HEAT, ATTIC, "x", "unverified", "true", remark="no answer"),), 1),
        ((Finding(SIGNAL, HALL, "net.rssi_dbm", "broken", "more", -90), UNVERIFIED, MET), 0),
    ],
)
def test_the_caution_stands_once_wherever_somebody_may_open_a_box_for_a_danger(
    findings: tuple[Finding, ...], times: int
) -> None:
    assert only(*findings).text.count(CAUTION) == times


def test_a_severity_and_an_outcome_are_words_and_shapes_not_only_colours() -> None:
    seen = page(result())

    shapes = {use["href"] for use in seen.all("use")}
    assert shapes >= {
        f"#mark-{name}" for name in ("broken", "unverified", "waived", "met", "danger", "fault", "advice")
    }
    for word in ("Broken", "Could not be checked", "Accepted", "Met", "danger", "fault", "advice"):
        assert word in seen.text


@pytest.mark.parametrize(
    ("findings", "verdict"),
    [
        (FINDINGS, "Not as intended: 1 check failed, and 1 check could not be made."),
        ((BROKEN,), "Not as intended: 1 check failed."),
        ((UNVERIFIED, MET), "Not known to be as intended: 1 check could not be made."),
        ((WAIVED, MET), "Everything that was checked is as intended, or accepted."),
        ((MET,), "All as intended."),
        ((), "Nothing was checked."),
    ],
)
def test_the_verdict_never_calls_fine_what_could_not_be_checked(findings: tuple[Finding, ...], verdict: str) -> None:
    assert verdict in only(*findings).text


def test_many_checks_that_fail_for_one_reason_are_one_entry_with_all_names_to_unfold() -> None:
    names = [f"output.{number}.on" for number in range(1, 9)]

    seen = only(*(Finding(HEAT, ATTIC, name, "unverified", "true", remark="no answer") for name in names))

    assert "no answer: 8 checks" in seen.text
    assert len([one for one in seen.all("details") if not one]) == 1
    for name in names:
        assert name in seen.text


def test_what_is_accepted_says_by_whom_why_and_until_when() -> None:
    text = only(WAIVED).text

    assert "accepted until 2027-01-01: a thick wall" in text
    assert "Accepted by A. Keeper" in text


def test_a_silent_source_says_whether_something_depends_on_it() -> None:
    text = page(result()).text

    assert "mDNS on iot0 silent nothing was heard; a point of the plan depends on it" in text
    assert "broker house heard 6 messages" in text


def test_what_is_met_is_a_table_with_headers_for_columns_and_rows() -> None:
    seen = only(MET)

    assert [one.get("scope") for one in seen.all("th")] == ["col", "col", "row"]
    assert "Met at attic-fan" in seen.text


def test_headings_go_down_one_step_at_a_time() -> None:
    levels = [int(name[1]) for name, _ in page(result()).elements if re.fullmatch("h[1-6]", name)]

    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in itertools.pairwise(levels))


def test_nothing_is_loaded_and_no_script_can_run() -> None:
    html = whole(hostile_result(), "html")
    seen = page(hostile_result())

    assert not {name for name, _ in seen.elements} & {"script", "img", "link", "iframe", "object", "form", "base"}
    attributes = {name for _, names in seen.elements for name in names}
    assert not [name for name in attributes if name.startswith("on") or name in ("src", "style", "srcset")]
    assert "url(" not in html
    assert "@import" not in html
    assert "alert(1)" in seen.text, "it is shown as what it is"


def test_what_a_file_overrode_of_the_policy_has_a_section() -> None:
    seen = page(result())

    assert "Rules that were overridden" in seen.text
    assert "signal: severity, require changed by house.toml: thick walls" in seen.text
    assert "Rules that were overridden" not in page(result(heading=replace(HEADING, overridden=()))).text


def test_only_the_style_of_the_page_is_allowed() -> None:
    html = whole(result(), "html")

    [style] = re.findall("<style>(.*?)</style>", html, re.DOTALL)
    digest = base64.b64encode(hashlib.sha256(style.encode()).digest()).decode()
    [policy] = [one["content"] for one in page(result()).all("meta") if one.get("http-equiv")]
    assert policy == f"default-src 'none'; style-src 'sha256-{digest}'; base-uri 'none'; form-action 'none'"


def test_hidden_characters_are_shown_as_numbers() -> None:
    html = whole(hostile_result(), "html")

    assert not re.search("[\x00-\x09\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069\ufffe\ud800]", html)
    assert "&lt;U+202E&gt;" in html
    assert html.encode("utf-8")


def test_a_flood_of_strangers_does_not_bury_the_page() -> None:
    strangers = [
        Finding(ANSWERS, Subject(device=f"name:{number}", device_title=f"fake {number:04}"), None, "broken", "x", "y")
        for number in range(1_000)
    ]

    text = only(*strangers, BROKEN).text

    assert f"and {1_000 - MAX_PLACES} more, all of them in the report as JSON" in text
    assert "Broken: 1001" in text
    assert "fake 0500" not in text


def test_the_same_audit_gives_the_same_page() -> None:
    assert whole(result(), "html") == whole(result(), "html")
    assert whole(result(heading=replace(HEADING, run=8)), "html") != whole(result(), "html")
