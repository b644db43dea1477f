"""The page measured: a phone shows slider, schematic and curve at once, paper takes four pages, nothing is cut."""

from __future__ import annotations

import base64
import io
from functools import cache
from pathlib import Path
from typing import Any

import pypdf
import pytest

from tapplan.checks.review import Review, review
from tapplan.design.file import load
from tapplan.design.fingerprint import fingerprint
from tests.engines.browsing import opened
from tests.examples import SHIPPED, long_chain, narrow_chain

PHONE = {"width": 390, "height": 844, "deviceScaleFactor": 1, "mobile": True}
DESK = {"width": 1280, "height": 900, "deviceScaleFactor": 1, "mobile": False}
SHEET = {"width": 688, "height": 1009, "deviceScaleFactor": 1, "mobile": False}  # A4 without its margins of 14 mm
BOXES = """
    return Object.fromEntries(arguments[0].map((one) => {
        const box = document.querySelector(one).getBoundingClientRect();
        return [one, { left: box.left, right: box.right, top: box.top, bottom: box.bottom }];
    }));
"""
LETTERS = """
    const picture = document.getElementById("narrow-curve"), scale = picture.getBoundingClientRect().width / 370;
    return Array.from(picture.querySelectorAll("text"), (one) => scale * parseFloat(getComputedStyle(one).fontSize));
"""
CUT = """
    return Array.from(document.querySelectorAll(".wide, svg, table, .deck, h1, p, li")).filter((one) => {
        const box = one.getBoundingClientRect();
        const scrolls = arguments[0] && one.closest(".wide");
        const scrolled = !arguments[0] && one.scrollWidth > one.clientWidth + 1;
        return box.width && !scrolls && (box.right > innerWidth + 1 || scrolled);
    }).map((one) => one.outerHTML.slice(0, 90));
"""

BIG = {"eight relays": narrow_chain, "twelve relays": long_chain}
NAMES = [*(path.stem for path in SHIPPED), *BIG]
EACH = pytest.mark.parametrize("name", NAMES)


@cache
def reviewed(name: str) -> Review:
    return review(BIG[name]() if name in BIG else load(next(path for path in SHIPPED if path.stem == name)))


def sized(browser: Any, size: dict[str, Any]) -> None:
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)


def plain(browser: Any) -> None:
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": ""})


@EACH
def test_a_phone_shows_slider_schematic_and_curve_at_once(name: str, browser: Any, tmp_path: Path) -> None:
    sized(browser, PHONE)
    opened(browser, tmp_path, reviewed(name))
    browser.execute_script("document.querySelector('.deck').scrollIntoView(); window.scrollBy(0, 1)")
    boxes = browser.execute_script(BOXES, ["#volts", ".deck", "#schematic", "#narrow-curve"])
    letters = browser.execute_script(LETTERS)
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    cut = browser.execute_script(CUT, True)
    plain(browser)
    assert wide <= PHONE["width"]
    assert cut == []
    assert boxes["#volts"]["top"] >= 0
    assert boxes["#schematic"]["top"] >= boxes[".deck"]["bottom"] - 1
    assert boxes["#narrow-curve"]["bottom"] <= PHONE["height"]
    assert min(letters) >= 10.5  # points of the screen


@EACH
def test_a_desk_shows_them_side_by_side(name: str, browser: Any, tmp_path: Path) -> None:
    sized(browser, DESK)
    opened(browser, tmp_path, reviewed(name))
    browser.execute_script("document.querySelector('.deck').scrollIntoView()")
    boxes = browser.execute_script(BOXES, [".deck", "#schematic", "#curve", "#bands"])
    wide = browser.execute_script("return document.documentElement.scrollWidth")
    plain(browser)
    assert wide <= DESK["width"]
    assert boxes["#schematic"]["right"] <= boxes["#curve"]["left"]
    assert boxes["#schematic"]["bottom"] <= DESK["height"]
    assert boxes["#curve"]["bottom"] <= boxes["#bands"]["top"]
    assert boxes["#curve"]["bottom"] <= DESK["height"]


def printed(browser: Any) -> list[str]:
    """The text of each page."""
    found = browser.execute_cdp_cmd("Page.printToPDF", {"preferCSSPageSize": True, "printBackground": True})
    pages = pypdf.PdfReader(io.BytesIO(base64.b64decode(found["data"]))).pages
    assert {(round(float(one.mediabox.width)), round(float(one.mediabox.height))) for one in pages} == {(595, 842)}
    return [" ".join(one.extract_text().split()) for one in pages]


@EACH
def test_paper_takes_four_pages_each_with_the_fingerprint(name: str, browser: Any, tmp_path: Path) -> None:
    """Verdict and promises, schematic and table, curve and bands, ratings and winding; wide tables may take more."""
    one = reviewed(name)
    opened(browser, tmp_path, one)
    pages = printed(browser)
    if len(one.circuit.relays) <= 4:
        assert len(pages) == 4
    for number, text in enumerate(pages, 1):
        assert f"design {fingerprint(one.table.stated)}" in text
        assert f"page {number} of {len(pages)}" in text
    first, *others = pages
    assert "Promises" in first
    assert "Caution" in first
    assert "Truth table" in others[0]
    assert "Where bars overlap" in "".join(others)
    assert "Windings, each at its worst" in others[-1]
    assert "Line voltage" not in "".join(pages)


@EACH
def test_nothing_is_cut_on_paper(name: str, browser: Any, tmp_path: Path) -> None:
    sized(browser, SHEET)
    opened(browser, tmp_path, reviewed(name))
    browser.execute_script("document.getElementById('with-appendix').click()")
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    browser.execute_script("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    cut = browser.execute_script(CUT, False)
    plain(browser)
    assert cut == []


def test_the_appendix_is_printed_when_it_is_asked_for(browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, reviewed("ridge-dispensary"))
    short = printed(browser)
    browser.find_element("id", "with-appendix").click()
    long = printed(browser)
    assert len(short) == 4 < len(long)
    told = " ".join(long)
    for heading in (
        "Sudden steps against",
        "Moves of the relays",
        "Single faults by band",
        "Margins at the worst corner",
    ):
        assert heading not in " ".join(short)
        assert heading in told
    assert "How neighbours share what they could" in told  # folded on the screen


def test_a_filter_leaves_the_rows_with_every_word(browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, reviewed("ridge-dispensary"))
    field = browser.find_element("css selector", "input[data-filters=faults-table]")
    field.send_keys("ko open")
    shown = (
        "return Array.from(document.querySelectorAll('#faults-table tbody tr')).filter((one) => !one.hidden).length"
    )
    rows = browser.execute_script(
        "return Array.from(document.querySelectorAll('#faults-table tbody tr'), (r) => r.textContent)"
    )
    expected = sum("ko" in row.lower() and "open" in row.lower() for row in rows)
    assert 0 < browser.execute_script(shown) == expected < len(rows)
    assert browser.find_element("id", "faults-table-says").text == f"{expected} rows"


def test_a_shared_anchor_unfolds_what_it_names(browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, reviewed("ridge-dispensary"))
    browser.execute_script("location.hash = 'steps-table'")
    opens = "return document.querySelector('#steps-table').closest('details').open"
    for _ in range(50):
        if browser.execute_script(opens):
            break
    assert browser.execute_script(opens)
