"""A report in a real browser."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from tapplan.checks.review import Review
from tapplan.pages.report import report


def opened(browser: Any, folder: Path, reviewed: Review) -> None:
    page = folder / "report.html"
    page.write_text(report(reviewed), encoding="utf-8")
    browser.get(page.as_uri())
