"""A code is what an independent decoder reads, with the quiet zone of the standard around it.

Source: ISO/IEC 18004 section 6.3.8 (four modules are kept light), read back by zxing-cpp.
"""

import numpy as np
import pytest
import zxingcpp

from pattress.report.qr_code import QUIET_MODULES, dark_path, qr_modules


def read(modules: tuple[tuple[bool, ...], ...]) -> list[str]:
    dark = np.pad(np.array(modules), QUIET_MODULES)
    picture = np.where(dark, 0, 255).astype(np.uint8).repeat(4, axis=0).repeat(4, axis=1)
    return [one.text for one in zxingcpp.read_barcodes(picture)]


@pytest.mark.parametrize(
    "text",
    ["pattress:Larkspur%20Mill/hall-lights", "http://pattress.home.arpa/points/hall-lights", "a", "é" * 50, "x" * 900],
)
def test_a_text_is_read_back_as_it_was(text: str) -> None:
    assert read(qr_modules(text)) == [text]


def test_a_code_is_still_read_where_a_tenth_of_it_is_dirty() -> None:
    """Level M restores about 15 % of the code words: ISO/IEC 18004 table 8."""
    modules = [list(row) for row in qr_modules("http://pattress.home.arpa/points/hall-lights")]
    side = len(modules)
    for y in range(side // 2, side // 2 + side // 4):
        for x in range(side // 2, side // 2 + side // 4):
            modules[y][x] = True

    assert read(tuple(map(tuple, modules))) == ["http://pattress.home.arpa/points/hall-lights"]


def test_the_same_text_gives_the_same_code() -> None:
    assert qr_modules("hall-lights") == qr_modules("hall-lights") != qr_modules("hall-light")


def test_the_path_covers_the_dark_modules_and_nothing_else() -> None:
    modules = ((True, True, False, True), (False, False, False, False), (False, True, True, True))

    assert dark_path(modules) == "M4 4h2v1h-2zM7 4h1v1h-1zM5 6h3v1h-3z"


def test_what_no_code_can_hold_is_refused() -> None:
    with pytest.raises(ValueError, match="too many for a code"):
        qr_modules("é" * 2_000)
