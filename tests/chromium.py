"""A real browser for tests: Chromium without a window, driven by selenium."""

from __future__ import annotations

import os
import shutil
from collections.abc import Iterator
from typing import Any

import pytest


def demanded() -> None:
    """Steps aside where there is no browser; in CI it fails instead."""
    if shutil.which("chromedriver") is None or shutil.which("chromium") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("chromium and its driver are not installed, and CI must not go without them")
        pytest.skip("no browser: apt-get install chromium chromium-driver")


def started() -> Any:
    """A browser of its own, whose console can be read."""
    from selenium import webdriver
    from selenium.webdriver.chrome.service import Service

    options = webdriver.ChromeOptions()
    for one in ("--headless=new", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage"):
        options.add_argument(one)
    options.binary_location = shutil.which("chromium") or ""
    options.set_capability("goog:loggingPrefs", {"browser": "ALL"})
    return webdriver.Chrome(options=options, service=Service(shutil.which("chromedriver")))


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    """One for all tests of a module."""
    demanded()
    driver = started()
    yield driver
    driver.quit()
