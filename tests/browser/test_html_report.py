"""The page of an audit in a real browser: axe finds nothing, nothing runs or is loaded, and it fits on a phone.

Source: axe-core with all of its rules, WCAG 2.2 A and AA and its own advice.
"""

from collections.abc import AsyncIterator
from pathlib import Path

import pytest
import pytest_asyncio
from playwright.async_api import Browser

from browser.chromium import Scheme, running_chromium, shown
from pattress.model.finding import Finding
from pattress.report.formats import AuditResult
from unit.report.examples import ATTIC, DRIFT, FINDINGS, HEAT, MET, hostile_result, result, whole

PHONE, DESK = 360, 1280
GAPS = [Finding(HEAT, ATTIC, f"output.{number}.on", "unverified", "true", remark="no answer") for number in range(1, 9)]
AUDITS = {
    "one of each outcome": result((*FINDINGS, DRIFT, *GAPS)),
    "all met": result((MET,)),
    "nothing": result(()),
    "hostile": hostile_result(),
}
pytestmark = [pytest.mark.peer, pytest.mark.asyncio(loop_scope="module")]  # one browser for all: it takes 3 s to start
audits = pytest.mark.parametrize("audit", AUDITS.values(), ids=AUDITS.keys())
widths = pytest.mark.parametrize("width", [PHONE, DESK])


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser() -> AsyncIterator[Browser]:
    async with running_chromium() as running:
        yield running


def page_of(audit: AuditResult, folder: Path) -> Path:
    file = folder / "report.html"
    file.write_text(whole(audit, "html"), encoding="utf-8")
    return file


@audits
async def test_axe_finds_no_violation_in_light_or_dark_on_a_phone_or_a_desk(
    audit: AuditResult, browser: Browser, tmp_path: Path
) -> None:
    schemes: tuple[Scheme, ...] = ("light", "dark")
    for width in (PHONE, DESK):
        for scheme in schemes:
            async with shown(browser, page_of(audit, tmp_path), width=width, scheme=scheme) as page:
                await page.page.evaluate("() => document.querySelectorAll('details').forEach(one => one.open = true)")

                assert await page.violations() == [], f"{width} px, {scheme}"


async def test_axe_finds_a_violation_where_there_is_one(browser: Browser, tmp_path: Path) -> None:
    file = tmp_path / "wrong.html"
    html = whole(result(), "html").replace('lang="en"', "").replace("<h1>", "<h5>").replace("</h1>", "</h5>")
    file.write_text(html, encoding="utf-8")

    async with shown(browser, file, width=DESK, scheme="light") as page:
        found = await page.violations()

    assert {one.split(":")[0] for one in found} >= {"html-has-lang", "page-has-heading-one"}


@widths
@audits
async def test_nothing_runs_nothing_is_loaded_and_nothing_reaches_past_the_edge(
    audit: AuditResult, width: int, browser: Browser, tmp_path: Path
) -> None:
    file = page_of(audit, tmp_path)

    async with shown(browser, file, width=width, scheme="light") as page:
        await page.page.evaluate("() => document.querySelectorAll('details').forEach(one => one.open = true)")
        overflow_px = await page.overflow_px()

    assert page.said == []
    assert page.asked == [file.as_uri()]
    assert overflow_px == 0


async def test_the_policy_of_the_page_stops_a_script_that_should_never_be_there(
    browser: Browser, tmp_path: Path
) -> None:
    """What the page forbids must be forbidden indeed, and what is forbidden must be seen by the test above."""
    file = tmp_path / "wrong.html"
    html = whole(result(), "html")
    inject = "<script>document.title = 'ran'</script><img src='file:///x.png' onerror=\"document.title = 'ran'\">"
    file.write_text(html.replace("<main>", f"<main>{inject}"), encoding="utf-8")

    async with shown(browser, file, width=DESK, scheme="light") as page:
        title = await page.page.title()

    assert title == "Larkspur Mill: audit 7"
    assert len(page.said) >= 2


async def test_what_a_finger_must_hit_is_large_enough_for_a_glove(browser: Browser, tmp_path: Path) -> None:
    """48 CSS pixels: WCAG 2.2 success criterion 2.5.8 asks for 24 at least; 48 is common practice for touch."""
    async with shown(browser, page_of(AUDITS["one of each outcome"], tmp_path), width=PHONE, scheme="dark") as page:
        heights = await page.page.evaluate(
            "() => [...document.querySelectorAll('a, summary')].map(one => one.getBoundingClientRect().height)"
        )

    assert len(heights) > 8
    assert min(heights) >= 48


async def test_the_style_holds_and_the_dark_one_is_dark(browser: Browser, tmp_path: Path) -> None:
    grounds = {}
    schemes: tuple[Scheme, ...] = ("light", "dark")
    for scheme in schemes:
        async with shown(browser, page_of(result(), tmp_path), width=DESK, scheme=scheme) as page:
            grounds[scheme] = await page.page.evaluate("() => getComputedStyle(document.body).backgroundColor")

    assert grounds == {"light": "rgb(242, 239, 230)", "dark": "rgb(15, 23, 25)"}


async def test_on_paper_it_is_a4_and_in_dark_ink_whatever_the_screen(browser: Browser, tmp_path: Path) -> None:
    async with shown(browser, page_of(result(), tmp_path), width=DESK, scheme="dark") as page:
        await page.page.emulate_media(media="print", color_scheme="dark")
        ink = await page.page.evaluate("() => getComputedStyle(document.body).color")
        paper = await page.page.pdf(prefer_css_page_size=True)

    assert ink == "rgb(0, 0, 0)"
    assert b"/MediaBox [0 0 594.95996 841.91998]" in paper or b"/MediaBox [0 0 595" in paper, "A4 is 595 by 842 points"
