"""The report in a real browser: its table decides as the automaton, nothing leaves the page, everyone can read it.

Chromium, driven by selenium; accessibility by axe-core; the markup by html5lib's strict parser.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import html5lib
import pytest

from tapplan.checks.review import Review, review, review_of
from tapplan.checks.rules import findings_in
from tapplan.control.lookup import AWAY, decision
from tapplan.control.table import ControlTable
from tapplan.design.file import load
from tapplan.pages.live import PER_VOLT, live
from tapplan.pages.report import report
from tests.examples import SHIPPED

HOSTILE = '</script><script>document.title="broken"</script> <b>&amp;"\u202e'


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    if shutil.which("chromedriver") is None or shutil.which("chromium") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("chromium and its driver are not installed, and CI must not go without them")
        pytest.skip("no browser: apt-get install chromium chromium-driver")
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    for one in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(one)
    options.binary_location = shutil.which("chromium") or ""
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    driver = webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))
    yield driver
    driver.quit()


def opened(browser: Any, folder: Path, reviewed: Review) -> None:
    page = folder / "report.html"
    page.write_text(report(reviewed, findings_in(reviewed)), encoding="utf-8")
    browser.get(page.as_uri())


def settled(table: ControlTable, row: int, step: int) -> int:
    """Decisions until one stands, or a row is met again."""
    seen = [row]
    while True:
        then = decision(table, seen[-1], (Fraction(step, PER_VOLT), 0))
        if then in seen:
            return then
        seen.append(then)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_page_decides_as_the_automaton(path: Path, browser: Any, tmp_path: Path) -> None:
    """Thousands of single decisions, from every row and from away, at and around the thresholds."""
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    random, table, data = Random(path.stem), reviewed.table, live(reviewed)
    marks = [end for hold in data["holds"] if hold for end in hold] + [upto for upto, _ in data["starts"][:-1]]
    cases = []
    for _ in range(1500):
        near = random.choice(marks) + random.choice([-1, 0, 1])
        step = random.choice([near, random.randint(0, data["to"] + 200)])
        cases.append([random.randrange(-1, len(table.rows)), max(step, 0)])
    theirs = browser.execute_script("return arguments[0].map((one) => tapplan.decided(one[0], one[1]))", cases)
    for (row, step), there in zip(cases, theirs, strict=True):
        assert decision(table, row, (Fraction(step, PER_VOLT), 0)) == there, (row, step)


@pytest.mark.parametrize("path", SHIPPED[:4], ids=lambda path: path.stem)
def test_a_walk_of_the_slider(path: Path, browser: Any, tmp_path: Path) -> None:
    """Every step between is passed, so that the page remembers the band as a slow line does."""
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    table, data = reviewed.table, live(reviewed)
    random, here = Random(1), data["at"]
    standing = settled(table, AWAY, here)
    for _ in range(6):
        there = random.randint(data["from"], data["to"])
        for step in range(here, there, 1 if there > here else -1):
            standing = settled(table, standing, step)
        standing = settled(table, standing, there)
        shown = browser.execute_script("tapplan.run(arguments[0]); return tapplan.standing()", there)
        assert shown == standing
        name = data["away"]["name"] if standing == AWAY else table.rows[standing].name
        assert browser.find_element("id", "band").text.startswith(name)
        here = there


def test_nothing_leaves_the_page_and_nothing_complains(browser: Any, tmp_path: Path) -> None:
    for path in SHIPPED:
        opened(browser, tmp_path, review(load(path)))
        assert browser.execute_script("return performance.getEntriesByType('resource').length") == 0
        assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []


def test_faults_and_the_number_box_by_keyboard(browser: Any, tmp_path: Path) -> None:
    from selenium.webdriver.common.keys import Keys
    from selenium.webdriver.support.ui import Select

    reviewed = review(load(next(path for path in SHIPPED if path.stem == "ridge-dispensary")))
    opened(browser, tmp_path, reviewed)
    box = browser.find_element("id", "volts-box")
    box.send_keys(Keys.CONTROL + "a")
    box.send_keys("180", Keys.TAB)
    assert browser.find_element("id", "band").text == "boost 2"
    browser.find_element("id", "volts").send_keys(Keys.ARROW_RIGHT)
    assert box.get_attribute("value") == "180.1"
    Select(browser.find_element("id", "fault")).select_by_visible_text("KL: stuck-rest")
    assert (
        "buck" in browser.find_element("id", "fault-shows").text
        or "direct" in browser.find_element("id", "fault-shows").text
    )


@pytest.mark.parametrize("path", SHIPPED[:3], ids=lambda path: path.stem)
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everyone_can_read_it(path: Path, scheme: str, browser: Any, tmp_path: Path) -> None:
    from axe_selenium_python import Axe

    opened(browser, tmp_path, review(load(path)))
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    axe = Axe(browser)
    axe.inject()
    found = axe.run()["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found] == []


def test_a_phone_shows_it_without_scrolling_sideways(browser: Any, tmp_path: Path) -> None:
    opened(browser, tmp_path, review(load(SHIPPED[0])))
    size = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    wide = browser.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide[0] <= wide[1]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_markup_is_strict(path: Path) -> None:
    reviewed = review(load(path))
    text = report(reviewed, findings_in(reviewed))
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(text)
    assert [(place, code) for place, code, _ in parser.errors if "namespace" not in code] == []
    assert "http://" not in text.replace("http://www.w3.org/", "")
    assert "https://" not in text


def test_differences_come_first(browser: Any, tmp_path: Path) -> None:
    """An older revision with a narrower promise and another threshold: told before all else, both curves drawn."""
    new = review(load(next(path for path in SHIPPED if path.stem == "ridge-dispensary")))
    band = replace(new.design.bands[1], hold_v=(Fraction(190), Fraction(217)))
    bands = (new.design.bands[0], band, *new.design.bands[2:])
    mains = replace(new.design.mains, range_v=(Fraction(170), Fraction(274)))
    old = review(replace(new.design, bands=bands, mains=mains))
    page = tmp_path / "report.html"
    page.write_text(report(new, findings_in(new), old), encoding="utf-8")
    parser = html5lib.HTMLParser(strict=False)
    parser.parse(page.read_text(encoding="utf-8"))
    assert [one for one in parser.errors if "namespace" not in one[1]] == []
    browser.get(page.as_uri())
    heads = [one.text for one in browser.find_elements("tag name", "h2")]
    assert heads[0].startswith("Differences since")
    assert "170 - 274" in browser.page_source
    lines = browser.find_elements("css selector", "#curves .older")
    assert len(lines) == len(old.table.rows)
    assert browser.find_elements("css selector", "#curves .band")
    assert browser.execute_script("return document.querySelectorAll('[id]').length") == len(
        set(browser.execute_script("return Array.from(document.querySelectorAll('[id]'), (one) => one.id)"))
    )


def test_hostile_names_stay_text(browser: Any, tmp_path: Path) -> None:
    reviewed = review(load(SHIPPED[0]))
    table = reviewed.table
    rows = tuple(replace(row, name=f"{row.name} {HOSTILE}") for row in table.rows)
    circuit = replace(table.circuit, points=tuple(f"{one}{HOSTILE}" for one in table.circuit.points))
    design = replace(table.design, title=HOSTILE)
    evil = review_of(replace(table, design=design, rows=rows, circuit=circuit))
    opened(browser, tmp_path, evil)
    assert browser.title.startswith("</script>")
    assert browser.execute_script("return document.querySelectorAll('script').length") == 2
    assert [entry for entry in browser.get_log("browser") if entry["level"] == "SEVERE"] == []
