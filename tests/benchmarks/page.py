"""The report's size, its time and the time of one frame of its live part: `python -m tests.benchmarks.page`.

A frame is one step of the slider: look-up, drawing, words, and the layout that the browser does for it. Beside it a
frame of the browser's own that does nothing but lay the page out again.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from pathlib import Path
from time import perf_counter
from typing import Any

from rich.console import Console
from rich.table import Table

from tapplan.checks.review import review
from tapplan.design.file import load
from tapplan.design.model import Design
from tapplan.pages.report import report
from tests.chromium import started
from tests.examples import SHIPPED, long_chain, narrow_chain

FRAMES = """
    const data = JSON.parse(document.getElementById("table-data").textContent), times = [];
    const told = document.getElementById("told");
    const ask = arguments[0] ? (x) => tapplan.run(x) : () => { told.style.width = Math.random() + "px"; };
    tapplan.pick(arguments[1]);
    for (let n = 0; n < 400; n++) {
        const x = data.from + Math.round((data.to - data.from) * ((n * 0.6180339887) % 1));
        const begin = performance.now();
        ask(x);
        document.body.getBoundingClientRect().height;
        times.push(performance.now() - begin);
    }
    times.sort((a, b) => a - b);
    return [times[200], times[396], times[399]];
"""


def two_relays() -> Design:
    """A shipped design."""
    return load(next(path for path in SHIPPED if path.stem == "ridge-dispensary"))


DESIGNS: dict[str, Callable[[], Design]] = {
    "2 relays, 4 bands": two_relays,
    "8 relays, 8 bands": narrow_chain,
    "12 relays, 13 bands": long_chain,
}


def main() -> None:
    """The table."""
    table = Table(
        "design", "review and page (s)", "kB", "frame, median (ms)", "of 100 the worst (ms)", "layout alone (ms)"
    )
    with tempfile.TemporaryDirectory() as folder:
        browser = started()
        for name, made in DESIGNS.items():
            table.add_row(name, *_measured(browser, Path(folder) / "report.html", made()))
        browser.quit()
    Console().print(table)


def _measured(browser: Any, page: Path, made: Design) -> list[str]:
    begin = perf_counter()
    text = report(review(made))
    took = perf_counter() - begin
    page.write_text(text, encoding="utf-8")
    browser.get(page.as_uri())
    frame, bare = (browser.execute_script(FRAMES, asks, -1) for asks in (True, False))
    return [f"{took:.2f}", f"{len(text) / 1000:.0f}", f"{frame[0]:.2f}", f"{frame[1]:.2f}", f"{bare[0]:.2f}"]


if __name__ == "__main__":
    main()
