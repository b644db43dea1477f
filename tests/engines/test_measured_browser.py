"""The page with a log in a real browser: read by everyone, on a phone and on paper, no word upon another."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path
from typing import Any

import pytest

from tapplan.checks.review import review_of
from tapplan.pages.report import report
from tests.examples import SHIPPED
from tests.pictures.measured import DAY, HOUR, MINUTE, Site, level, site, stage, wandering

LONG_NAME = "as long a name of a band as nobody ever gave one"
PHONE = {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True}
DESK = {"width": 1280, "height": 900, "deviceScaleFactor": 1, "mobile": False}
SHEET_WIDE, SHEET_HIGH = 680, 1009  # A4 with margins of 15 mm, in points of a browser


@cache
def a_site(name: str) -> Site:
    """Logs of a minute, some hours, a day, weeks, years; of one band and of many, well and badly kept."""
    ridge = stage("ridge-dispensary")
    match name:
        case "two minutes":
            return site(level([230, 170, 300, 230] * 30, step=MINUTE // 60), ridge)
        case "a day":
            return site(wandering(1, MINUTE), ridge, "Europe/Madrid")
        case "five weeks, made up":
            return site(replace(wandering(35, 10 * MINUTE, wide=70), made="a walk"), stage("spring-pump"))
        case "five years, made up":
            return site(replace(wandering(1826, 6 * HOUR), made="a walk"), ridge)
        case "long names":
            rows = tuple(replace(row, name=LONG_NAME) for row in ridge.rows)
            return site(wandering(80, HOUR), replace(ridge, rows=rows))
        case "far below":
            return site(level([0.0, 100.0, 230.0, 900.0] * 200), ridge)
        case "a long gap":
            log = wandering(2, MINUTE)
            return site(
                replace(log, samples=[*log.samples, *((t + 400 * DAY, v) for t, v in log.samples)]),
                stage("orchard-cold-room"),
            )
        case _:
            return site(wandering(20, 10 * MINUTE), stage(name))


NAMES = (
    "two minutes",
    "a day",
    "five weeks, made up",
    "five years, made up",
    "long names",
    "far below",
    "a long gap",
)
EACH = pytest.mark.parametrize("name", NAMES)
EVERY = pytest.mark.parametrize("name", [*NAMES, *(path.stem for path in SHIPPED)])


def opened(browser: Any, folder: Path, name: str, size: dict[str, Any] = DESK) -> None:
    found = a_site(name)
    page = folder / "report.html"
    page.write_text(report(review_of(found.machine.table), measured=found.measured), encoding="utf-8")
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "screen"})
    browser.get(page.as_uri())


PLACES = """
    return Array.from(document.querySelectorAll("svg[id^=mains-]"))
        .filter((picture) => picture.getBoundingClientRect().width > 0)
        .map((picture) => {
            const sides = (r) => [r.left, r.top, r.right, r.bottom];
            const box = (one) => sides(one.getBoundingClientRect());
            return [picture.id, box(picture), Array.from(picture.querySelectorAll("text"),
                                                         (one) => [one.textContent, ...box(one)])];
        });
"""


def shown(browser: Any) -> list[str]:
    """The pictures that are to be seen, each with no word upon another and none cut at its edges."""
    names = []
    for name, (left, top, right, bottom), words in browser.execute_script(PLACES):
        names.append(name)
        for told, *box in words:
            assert left - 0.5 <= box[0], (name, told)
            assert box[2] <= right + 0.5, (name, told)
            assert top - 0.5 <= box[1], (name, told)
            assert box[3] <= bottom + 0.5, (name, told)
        for one, other in combinations(words, 2):
            apart = one[3] <= other[1] + 0.4 or other[3] <= one[1] + 0.4  # across
            apart = apart or one[4] <= other[2] + 0.4 or other[4] <= one[2] + 0.4  # down
            assert apart, (name, one, other)
    return names


@EVERY
def test_no_word_stands_upon_another(name: str, browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, name)
    assert "mains-wide" in shown(browser)
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", PHONE)
    assert "mains-narrow" in shown(browser)


@pytest.mark.parametrize("name", ["five weeks, made up", "five years, made up", "a long gap"])
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everyone_can_read_it(name: str, scheme: str, browser: Any, tmp_path: Path) -> None:
    from axe_selenium_python import Axe

    for size in (DESK, PHONE):
        opened(browser, tmp_path, name, size)
        features = [{"name": "prefers-color-scheme", "value": scheme}]
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
        browser.execute_script("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
        axe = Axe(browser)
        axe.inject()
        found = axe.run()["violations"]
        assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found] == []


@EACH
@pytest.mark.parametrize("size", [PHONE, DESK, {**PHONE, "width": 320}], ids=["phone", "desk", "small phone"])
def test_nothing_is_wider_than_the_page(name: str, size: dict[str, Any], browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, name, size)
    browser.execute_script("document.querySelectorAll('details').forEach((one) => { one.open = true; })")
    wide = browser.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    assert wide[0] <= wide[1]


def test_a_phone_has_a_picture_of_its_own(browser: Any, tmp_path: Path) -> None:
    """One of the two is there, also for readers of the screen; letters keep a size that can be read."""
    for size, there in ((PHONE, "mains-narrow"), (DESK, "mains-wide")):
        opened(browser, tmp_path, "a day", size)
        wide = browser.execute_script(
            "return ['mains-wide', 'mains-narrow'].map((id) => document.getElementById(id)"
            ".getBoundingClientRect().width)"
        )
        assert [one > 0 for one in wide] == [there == "mains-wide", there == "mains-narrow"]
        high = browser.execute_script(
            "return Math.min(...Array.from(document.querySelectorAll('svg[id^=mains-] text'), (one) => "
            "one.getBoundingClientRect().height).filter((one) => one > 0))"
        )
        assert high > 10


def test_nothing_leaves_the_page_and_nothing_complains(browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, "five weeks, made up")
    assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
    assert browser.execute_script("return tapplan.standing()") is not None


def test_what_is_long_is_folded_one_click_away(browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, "five years, made up")
    folded = browser.find_elements("css selector", "#mains details")
    assert len(folded) >= 2
    rows = folded[0].find_elements("css selector", "tbody tr")
    assert len(rows) == 100
    assert not rows[0].is_displayed()
    folded[0].find_element("css selector", "summary").click()
    assert rows[0].is_displayed()


def test_a_day_of_the_calendar_tells_its_figures(browser: Any, tmp_path: Path) -> None:
    """The title belongs to what lies under the pointer in the middle of a cell, on its mark."""
    opened(browser, tmp_path, "five years, made up")
    titles = browser.execute_script(
        """
        return Array.from(document.querySelectorAll("#mains-days-0 .day path")).slice(400, 440).map((one) => {
            one.scrollIntoView({block: "center"});
            const r = one.getBoundingClientRect();
            const there = document.elementFromPoint((r.left + r.right) / 2, (r.top + r.bottom) / 2);
            return [one.textContent, there.textContent];
        });
        """
    )
    assert len(titles) == 40
    assert all(own == there for own, there in titles)


@EACH
def test_a_picture_goes_on_one_sheet(name: str, browser: Any, tmp_path: Path) -> None:
    """Figures are not broken over pages, and each, with its words, is lower than a sheet."""
    size = {"width": SHEET_WIDE, "height": SHEET_HIGH, "deviceScaleFactor": 1, "mobile": False}
    opened(browser, tmp_path, name, size)
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"media": "print"})
    found = browser.execute_script(
        "return Array.from(document.querySelectorAll('figure'), (one) => [one.getBoundingClientRect().height,"
        " getComputedStyle(one).breakInside])"
    )
    assert "mains-wide" in shown(browser)
    assert all(high < SHEET_HIGH and inside == "avoid" for high, inside in found)
    assert browser.execute_script("return document.documentElement.scrollWidth") <= SHEET_WIDE
