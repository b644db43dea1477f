"""The page with a fault picked: path, output, meter and controller against a stage broken in `tests.outside`.

The oracle reads the design's text itself, takes contacts, windings or leads away, solves the turns by elimination,
and decides by a literal reading of the rule; it shares nothing with the page.
"""

from __future__ import annotations

import re
from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tapplan.checks.review import Review, review
from tapplan.design.file import load
from tapplan.pages.live import live
from tests.engines.browsing import opened
from tests.engines.judging import judged, standings
from tests.examples import SHIPPED
from tests.outside.broken import broken_stage, copper_of
from tests.outside.rule import decide

F = Fraction
STEP = F(1, 10)
NOTHING_TOLD = {"shorted", "unfed", "floating", "undetermined"}
SCRIPT = """
    const [fault, standing, x] = arguments;
    tapplan.pick(fault);
    Object.assign(tapplan.here, { standing, x, hunting: false });
    const then = tapplan.decided(standing, x);
    tapplan.pick(fault);
    const ids = (kind, name) => Array.from(document.querySelectorAll("#schematic [id^=" + kind + "-]." + name),
                                           (one) => Number(one.id.slice(kind.length + 1))).sort((a, b) => a - b);
    return { then, stands: tapplan.standing(), output: document.getElementById("output").textContent,
             meter: document.getElementById("meter").textContent, path: document.getElementById("path").textContent,
             controller: document.getElementById("controller").textContent,
             live: ids("contact", "live"), closed: ids("contact", "closed"), loop: ids("contact", "short-loop"),
             lost: Array.from(document.querySelectorAll("#schematic .lost"), (one) => one.id) };
"""


def coils(reviewed: Review, standing: int) -> frozenset[str]:
    rows = reviewed.table.rows
    return frozenset(rows[standing].energised if standing < len(rows) else reviewed.table.away.state.energised)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_fault_redraws_the_stage(path: Path, browser: Any, tmp_path: Path) -> None:
    """Every fault, in random standings at random line voltages."""
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    stage, table, data = copper_of(path.read_text(encoding="utf-8")), judged(reviewed.table), live(reviewed)
    chance, names = Random(path.stem), standings(table)
    told: set[str] = set()
    for number, fault in enumerate(data["faults"]):
        part, _, kind = fault["name"].rpartition(": ")
        broken = broken_stage(stage, part, kind)
        for _ in range(3):
            standing, x = chance.randrange(len(names)), chance.randint(data["from"], data["to"])
            shown = browser.execute_script(SCRIPT, number, standing, x)
            expected = standing
            away_with_feed = standing == len(names) - 1 and reviewed.table.away.sensed is None
            sensed = broken.read(coils(reviewed, standing))
            if kind != "frozen" and sensed is not None and not away_with_feed:
                expected = names.index(decide(table, names[standing], sensed * x * STEP))
            at = (path.stem, fault["name"], names[standing], x)
            if not unsure(broken, reviewed, standing):
                assert shown["then"] == expected, at
            here = shown["stands"]
            if here == len(names) - 1 and reviewed.design.backup is not None:
                assert shown["output"] == "from the backup", at
                continue
            found = broken.outcome(coils(reviewed, here))
            told.add(found.kind)
            if found.ratio is None:
                assert shown["output"].startswith("none to be told: "), at
                assert shown["live"] == [], at
                assert found.kind != "shorted" or "shorted" in shown["meter"], at
            else:
                volts = float(found.ratio * x * STEP)
                assert float(shown["output"].split()[0]) == pytest.approx(abs(volts), abs=0.051), at
                assert shown["meter"].startswith(shown["output"]), at
                low, high = reviewed.design.output.window_v
                place = "below" if volts < low else "above" if volts > high else "inside"
                assert shown["output"].endswith(f"{place} the window"), at
    assert {"fed", "shorted", "unfed"} <= told


def unsure(broken: Any, reviewed: Review, standing: int) -> bool:
    """Whether nothing fixes what is read: a short, or points on nothing."""
    at = reviewed.design.sensing.at
    return at != "input" and broken.outcome(coils(reviewed, standing)).kind in NOTHING_TOLD


def test_a_short_is_not_told_as_a_healthy_way(browser: Any, tmp_path: Path) -> None:
    """A relay with both throws closed: its loop is drawn, no way is, no volts are told, no point on the curve."""
    reviewed = review(load(next(path for path in SHIPPED if path.stem == "ridge-dispensary")))
    opened(browser, tmp_path, reviewed)
    data = live(reviewed)
    number = [one["name"] for one in data["faults"]].index("KL: bridged")
    shown = browser.execute_script(SCRIPT, number, 2, 2169)
    assert shown["live"] == []
    assert shown["loop"] == shown["closed"][:2] == [0, 1]
    assert shown["lost"] == ["pole-0"]
    assert "130 turns bridged" in shown["meter"]  # 61 + 69 turns between the two taps
    assert "inside" not in shown["output"]
    assert browser.execute_script("return document.querySelector('#now').getAttribute('visibility')") == "hidden"
    assert browser.find_element("id", "told").get_attribute("class") == "told wrong"


def test_the_curve_of_a_fault_lies_where_its_output_does(browser: Any, tmp_path: Path) -> None:
    """Its dashed lines, read back as volts, against the broken stage, wherever the line was."""
    path = next(path for path in SHIPPED if path.stem == "ridge-dispensary")
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    stage, data = copper_of(path.read_text(encoding="utf-8")), live(reviewed)
    ends = """
        tapplan.pick(arguments[0]);
        return Array.from(document.querySelectorAll("#faulty line")).filter((one) =>
            getComputedStyle(one).visibility === "visible").map((one) =>
            ["x1", "y1", "x2", "y2"].map((name) => Number(one.getAttribute(name))));
    """
    scale = browser.execute_script("return JSON.parse(document.getElementById('table-data').textContent).curves[0]")
    drawn = 0
    for number, fault in enumerate(data["faults"]):
        part, _, kind = fault["name"].rpartition(": ")
        broken = broken_stage(stage, part, kind)
        ratios = {broken.outcome(coils(reviewed, place)).ratio for place in range(len(reviewed.table.rows))}
        for x1, y1, x2, y2 in browser.execute_script(ends, number):
            line = [(x - scale["x"][0]) / scale["x"][1] for x in (x1, x2)]
            out = [(y - scale["y"][0]) / scale["y"][1] for y in (y1, y2)]
            found = (out[1] - out[0]) / (line[1] - line[0])
            assert min(abs(found - float(one)) for one in ratios if one is not None) < 1e-6, fault["name"]
            drawn += 1
    assert drawn > 20
    assert browser.execute_script(ends, -1) == []


def test_each_cell_of_the_matrix_shows_its_fault_in_its_band(browser: Any, tmp_path: Path) -> None:
    reviewed = review(load(next(path for path in SHIPPED if path.stem == "ridge-dispensary")))
    opened(browser, tmp_path, reviewed)
    data, chance = live(reviewed), Random(4)
    cells = [one.get_attribute("id") for one in browser.find_elements("css selector", ".matrix td")]
    assert len(cells) == len(data["faults"]) * len(reviewed.table.rows)
    for cell in chance.sample(cells, 25):
        fault, band = map(int, re.findall(r"\d+", cell))
        if data["faults"][fault]["name"].startswith("reading"):
            continue
        browser.execute_script("document.getElementById(arguments[0]).click()", cell)
        assert browser.find_element("id", "fault").get_attribute("value") == str(fault)
        assert browser.execute_script("return tapplan.standing()") == band
