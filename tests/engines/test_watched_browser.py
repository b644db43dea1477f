"""A watched report in a real browser: saved, edited, tried and written, for every reader."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from tapplan.pages.report import report
from tests.cli.watched_page import RIDGE, TITLE, WAIT_S, Served, by_rename, in_place, saved, working


@pytest.fixture
def reported(tmp_path: Path) -> Iterator[Served]:
    with working(saved(tmp_path), page_of=report) as one:
        yield one


def number_field(browser: Any, key: str) -> Any:
    return browser.find_element("css selector", f'#watch-form input[name="{key}"]')


def fill(browser: Any, key: str, told: str) -> None:
    field = number_field(browser, key)
    field.clear()
    field.send_keys(told)


def test_a_design_is_edited_tried_and_written_in_a_browser(reported: Served, browser: Any) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    def until(told: Callable[[Any], object]) -> None:
        WebDriverWait(browser, WAIT_S, ignored_exceptions=[Exception]).until(told)

    browser.get(reported.url)
    until(lambda page: page.find_element("id", "volts-box").get_attribute("value") == "230.0")
    unfolded = "document.querySelector('main details').open"
    browser.execute_script(f"{unfolded} = true; tapplan.run(1955); window.scrollTo(0, 700)")

    by_rename(reported.file, RIDGE.replace(TITLE, 'title  = "Hill farm').encode())
    until(lambda page: page.title.startswith("Hill farm"))
    until(lambda page: page.find_element("id", "volts").get_attribute("value") == "1955")
    assert browser.execute_script("return Math.round(window.scrollY)") == 700
    assert browser.execute_script(f"return {unfolded}")

    browser.find_element("css selector", "#watch-edit summary").click()
    fill(browser, "winding[1].turns", "650")
    by_rename(reported.file, RIDGE.encode())  # what is typed outlives a page
    until(lambda page: page.title.startswith("Ridge"))
    until(lambda page: number_field(page, "winding[1].turns").get_attribute("value") == "650")
    stated = number_field(browser, "winding[1].turns").get_attribute("data-stated")
    assert f"in the file: {stated}" in browser.find_element("id", "watch-form").text

    in_place(reported.file, RIDGE.replace("turns = ", "turns = -", 1).encode())
    until(lambda page: "winding[1].turns: found -" in page.find_element("id", "watch-problem").text)
    assert "This is the last one that it made" in browser.find_element("id", "watch-told").text
    in_place(reported.file, RIDGE.encode())
    until(lambda page: not page.find_element("id", "watch-problem").is_displayed())

    browser.find_element("id", "watch-try").click()
    until(lambda page: "/tried/" in page.current_url)
    until(lambda page: f"{stated} in the file, 650 tried" in page.find_element("id", "watch-tried").text)
    assert reported.file.read_text(encoding="utf-8") == RIDGE
    assert browser.find_element("id", "volts").get_attribute("value") == "1955"

    browser.find_element("id", "watch-write").click()
    until(lambda page: page.current_url == reported.url)
    until(lambda page: number_field(page, "winding[1].turns").get_attribute("data-stated") == "650")
    assert reported.file.read_text(encoding="utf-8") == RIDGE.replace(f"turns = {stated}", "turns = 650", 1)
    assert [
        one for one in browser.get_log("browser") if one["level"] == "SEVERE" and "favicon" not in one["message"]
    ] == []


def test_a_page_whose_watch_has_ended_says_so(tmp_path: Path, browser: Any) -> None:
    from selenium.webdriver.support.ui import WebDriverWait

    with working(saved(tmp_path)) as served:
        browser.get(served.url)
        assert browser.find_element("id", "watch-told").text == ""
    WebDriverWait(browser, WAIT_S).until(
        lambda page: page.find_element("id", "watch-told").text.startswith("No word from tapplan")
    )
    browser.get_log("browser")  # that the server is gone is complained of there


@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_everyone_can_read_the_panel_and_the_news(reported: Served, browser: Any, scheme: str) -> None:
    from axe_selenium_python import Axe
    from selenium.webdriver.support.ui import WebDriverWait

    in_place(reported.file, b"format = 2")
    browser.get(reported.url)
    features = [{"name": "prefers-color-scheme", "value": scheme}]
    browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": features})
    WebDriverWait(browser, WAIT_S).until(lambda page: page.find_element("id", "watch-problem").is_displayed())
    browser.find_element("css selector", "#watch-edit summary").click()
    fill(browser, "winding[1].turns", "650")
    axe = Axe(browser)
    axe.inject()
    found = axe.run()["violations"]
    assert [(one["id"], one["nodes"][0]["html"][:120]) for one in found] == []


def test_the_panel_fits_a_phone(reported: Served, browser: Any) -> None:
    size = {"width": 360, "height": 740, "deviceScaleFactor": 1, "mobile": True}
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
    browser.get(reported.url)
    browser.find_element("css selector", "#watch-edit summary").click()
    wide = browser.execute_script("return [document.documentElement.scrollWidth, window.innerWidth]")
    panel = browser.find_element("css selector", ".watch-edit").rect
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    assert wide[0] <= wide[1]
    assert panel["x"] >= 0
    assert panel["x"] + panel["width"] <= 360
