"""The certificate and the label in a real browser: axe finds nothing, one sheet of paper, and the code is read back.

Source: axe-core with all of its rules; zxing-cpp as an independent decoder of the label's picture at 300 dots an inch.
"""

import io
import re
from collections.abc import AsyncIterator
from itertools import pairwise
from pathlib import Path

import pytest
import pytest_asyncio
import zxingcpp
from PIL import Image, ImageFilter
from playwright.async_api import Browser

from browser.chromium import Scheme, running_chromium, shown
from pattress.report.certificate import certificate_html
from pattress.report.certificate_record import CertificateRecord
from pattress.report.label import label_html, label_svg
from unit.report.certificates import (
    GIVEN_UP,
    IN_ORDER,
    NOT_IN_ORDER,
    UNFINISHED,
    WITH_GAPS,
    check,
    hostile_record,
    record,
)
from unit.report.test_label import named

PHONE, DESK = 360, 1280
DOTS_PER_PIXEL = 300 / 96  # a CSS pixel is a 96th of an inch
RECORDS = {
    "in order": IN_ORDER,
    "with gaps": WITH_GAPS,
    "not in order": NOT_IN_ORDER,
    "unfinished": UNFINISHED,
    "given up, and a newer one": record(GIVEN_UP.check, agreed=None, newer=check()),
    "hostile": hostile_record(),
}
LABELS = {
    "short": named("a"),
    "ordinary": IN_ORDER,
    "with gaps": WITH_GAPS,
    "as long as can be": named("x" * 64),
    "another script": named("浴室" * 10),
    "no page": record(page_url=None),
}
pytestmark = [pytest.mark.peer, pytest.mark.asyncio(loop_scope="module")]
records = pytest.mark.parametrize("of", RECORDS.values(), ids=RECORDS.keys())
labels = pytest.mark.parametrize("of", LABELS.values(), ids=LABELS.keys())


@pytest_asyncio.fixture(scope="module", loop_scope="module")
async def browser() -> AsyncIterator[Browser]:
    async with running_chromium() as running:
        yield running


def written(text: str, folder: Path, name: str = "page.html") -> Path:
    file = folder / name
    file.write_text(text, encoding="utf-8")
    return file


def sheets(pdf: bytes) -> int:
    return len(re.findall(rb"/Type\s*/Page\b", pdf))


@records
async def test_axe_finds_no_violation_nothing_is_loaded_and_nothing_reaches_past_the_edge(
    of: CertificateRecord, browser: Browser, tmp_path: Path
) -> None:
    file = written(certificate_html(of), tmp_path)
    schemes: tuple[Scheme, ...] = ("light", "dark")

    for width in (PHONE, DESK):
        for scheme in schemes:
            async with shown(browser, file, width=width, scheme=scheme) as page:
                assert await page.violations() == [], f"{width} px, {scheme}"
                assert await page.overflow_px() == 0
            assert (page.said, page.asked) == ([], [file.as_uri()])


@pytest.mark.parametrize("paper", ["A4", "Letter"])
@pytest.mark.parametrize("of", [IN_ORDER, WITH_GAPS, NOT_IN_ORDER, UNFINISHED, GIVEN_UP], ids=lambda of: of.verdict)
async def test_an_ordinary_check_fits_one_sheet(
    of: CertificateRecord, paper: str, browser: Browser, tmp_path: Path
) -> None:
    async with shown(browser, written(certificate_html(of), tmp_path), width=DESK, scheme="dark") as page:
        pdf = await page.page.pdf(format=paper)
        await page.page.emulate_media(media="print", color_scheme="dark")
        ink = await page.page.evaluate("() => getComputedStyle(document.body).color")

    assert sheets(pdf) == 1
    assert ink == "rgb(0, 0, 0)"
    size = {"A4": rb"/MediaBox \[0 0 59[45][.0-9]* 84[12][.0-9]*\]", "Letter": rb"/MediaBox \[0 0 612 792\]"}[paper]
    assert re.search(size, pdf)


async def test_a_check_that_is_not_in_order_says_so_in_the_largest_letters_of_its_page(
    browser: Browser, tmp_path: Path
) -> None:
    sizes = "() => [...document.querySelectorAll('.stamp > strong, main *')].map(e => [parseFloat(getComputedStyle(e)"
    async with shown(browser, written(certificate_html(UNFINISHED), tmp_path), width=PHONE, scheme="light") as page:
        stamp, *others = await page.page.evaluate(f"{sizes}.fontSize), e.className])")
        words = await page.page.evaluate("() => document.querySelector('.stamp > strong').innerText")

    assert stamp[0] > max(size for size, _ in others)
    assert words == "UNFINISHED: not signed off"


@labels
async def test_a_label_is_one_page_of_its_size_and_axe_finds_nothing(
    of: CertificateRecord, browser: Browser, tmp_path: Path
) -> None:
    async with shown(browser, written(label_html(of), tmp_path), width=PHONE, scheme="dark") as page:
        pdf = await page.page.pdf(prefer_css_page_size=True)
        found = await page.violations()
        overflow_px = await page.overflow_px()

    assert sheets(pdf) == 1
    [(width, height)] = re.findall(rb"/MediaBox \[0 0 ([.0-9]+) ([.0-9]+)\]", pdf)
    assert float(width) == pytest.approx(40 / 25.4 * 72, abs=0.8)
    assert float(height) == pytest.approx(20 / 25.4 * 72, abs=0.8)
    assert (found, overflow_px) == ([], 0)


@pytest.mark.parametrize("form", ["html", "svg"])
@labels
async def test_the_code_is_read_back_from_a_print_at_300_dots_even_a_blurred_one(
    of: CertificateRecord, form: str, browser: Browser, tmp_path: Path
) -> None:
    text = label_html(of) if form == "html" else label_svg(of)
    file = written(text, tmp_path, f"label.{form}")

    async with shown(browser, file, width=152, height=76, scheme="light", dots_per_pixel=DOTS_PER_PIXEL) as page:
        await page.page.emulate_media(media="print")
        picture = Image.open(io.BytesIO(await page.page.screenshot())).convert("L")
    printed = picture.point(lambda grey: 255 if grey > 127 else 0)  # a printer of labels knows black and white
    blurred = printed.filter(ImageFilter.GaussianBlur(1.2)).rotate(7, expand=True, fillcolor=255)

    assert picture.width == pytest.approx(40 / 25.4 * 300, abs=4)
    for one in (printed, blurred):
        assert [found.text for found in zxingcpp.read_barcodes(one)] == [of.code_text]


@labels
async def test_every_text_of_a_label_is_on_the_label_and_none_on_another(
    of: CertificateRecord, browser: Browser, tmp_path: Path
) -> None:
    box = "const box = e.getBBox(); return [box.x, box.y, box.width, box.height]"
    async with shown(browser, written(label_svg(of), tmp_path, "label.svg"), width=400, scheme="light") as page:
        found = await page.page.evaluate(f"() => [...document.querySelectorAll('text')].map(e => {{{box}}})")

    assert all(x >= 19 and y >= 0 and x + width <= 40 and y + height <= 20.2 for x, y, width, height in found)
    by_height = sorted(found, key=lambda one: float(one[1]))
    assert all(above[1] + above[3] <= below[1] + 0.45 * below[3] for above, below in pairwise(by_height))
