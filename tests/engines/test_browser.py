"""The report in a real browser: its table decides as the rule says, nothing leaves the page, everyone can read it.

Chromium, driven by selenium; accessibility by axe-core; the markup by html5lib's strict parser.
"""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import html5lib
import pytest

from tapplan.checks.review import Review, review, review_of
from tapplan.control.lookup import SlowCourses, at
from tapplan.control.standing import InRow, Standing
from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import load, parse
from tapplan.pages.live import live
from tapplan.pages.report import report
from tapplan.pictures.curve import scale_of
from tapplan.pictures.curveform import PHONE
from tests.engines.browsing import opened
from tests.engines.judging import judged, marks, standings
from tests.examples import SHIPPED
from tests.outside.designs import random_design
from tests.outside.rule import Table, decide, sensed_in

HOSTILE = '</script><script>document.title="broken"</script> <b>&amp;"\u202e'


F = Fraction
STEP = F(1, 10)  # volts of the inlet to one step of the slider


def narrow(text: str, chance: Random) -> str:
    """The same design with a return from the backup of a few volts or less, still inside where the load leaves."""

    def between(found: re.Match[str]) -> str:
        low, high = F(found[1]), F(found[2])
        middle, half = low + (high - low) * F(chance.randint(2, 8), 10), (high - low) * F(chance.randint(1, 40), 400)
        ends = (f"{float(max(middle - half, low)):.4f}", f"{float(min(middle + half, high)):.4f}")
        return f"return_v = [{', '.join(ends)}]"

    return re.sub(r"return_v = \[([\d.]+), ([\d.]+)\]", between, text)


def drawn(count: int) -> list[Review]:
    """Random designs with a backup, read in all three places, most with a narrow return."""
    chance, found = Random(29), []
    while len(found) < count:
        one = random_design(chance)
        if "[backup]" not in one.text:
            continue
        text = one.text if len(found) % 4 == 3 else narrow(one.text, chance)
        made = replace(parse(text), title=f"{one.sensed} {len(found)}")
        found.append(review_of(control_table(made)))
    return found


REVIEWS = [*(review(load(path)) for path in SHIPPED), *drawn(12)]
EACH = pytest.mark.parametrize("reviewed", REVIEWS, ids=lambda one: one.design.title.partition(",")[0])


def test_designs_that_read_elsewhere_and_hardly_come_back_are_among_these() -> None:
    assert {"input", "output", ("S2", "S1"), ("R2", "R1")} <= {one.design.sensing.at for one in REVIEWS}
    backups = [one.design.backup for one in REVIEWS if one.design.backup is not None]
    tight = [one for one in backups if (one.return_v[1] - one.return_v[0]) * 4 < one.leave_v[1] - one.leave_v[0]]
    assert len(tight) >= 6


def follows(table: Table, row: int, step: int) -> int:
    """The number of the standing after one decision on an error-free reading of so many steps."""
    names = standings(table)
    return names.index(decide(table, names[row], step * STEP * sensed_in(table, names[row])))


def settled(table: Table, row: int, step: int) -> tuple[int, bool]:
    """Decisions until one stands, or a row is met again: then the stage hunts."""
    seen = [row]
    while True:
        then = follows(table, seen[-1], step)
        if then in seen:
            return then, then != seen[-1]
        seen.append(then)


@EACH
def test_the_page_decides_as_the_rule_says(reviewed: Review, browser: Any, tmp_path: Path) -> None:
    """Thousands of single decisions, from every row and from away, at and around every place where one can change."""
    opened(browser, tmp_path, reviewed)
    table, data = judged(reviewed.table), live(reviewed)
    rows = len(table.rows)
    assert data["names"][:-1] == standings(table)[:-1]
    assert browser.execute_script("return tapplan.AWAY") == rows
    chance = Random(reviewed.design.title)
    inputs = {end / sensed_in(table, name) for end in marks(table) for name in standings(table)}
    near = {int(volts / STEP) + step for volts in inputs for step in (-1, 0, 1, 2)}
    near |= {chance.randint(0, data["to"] + 200) for _ in range(200)}
    cases = [[row, step] for row in range(rows + 1) for step in sorted(near) if step >= 0]
    theirs = browser.execute_script("return arguments[0].map((one) => tapplan.decided(one[0], one[1]))", cases)
    for (row, step), there in zip(cases, theirs, strict=True):
        assert follows(table, row, step) == there, (row, step)
    theirs = browser.execute_script("return arguments[0].map((one) => tapplan.settled(one[0], one[1]))", cases)
    for (row, step), (there, hunting) in zip(cases, theirs, strict=True):
        expected = settled(table, row, step)
        assert hunting == expected[1], (row, step)
        assert hunting or there == expected[0], (row, step)


def number(table: ControlTable, standing: Standing) -> int:
    return standing.number if isinstance(standing, InRow) else len(table.rows)


@EACH
def test_the_page_stands_as_a_slow_line_does(reviewed: Review, browser: Any, tmp_path: Path) -> None:
    """The slider run up from 0 V and down from far above, and the switch-on, against what `at` answers."""
    opened(browser, tmp_path, reviewed)
    line, table = SlowCourses(reviewed.decisions), reviewed.table
    top = int(2 * max(line.marks) / STEP)
    slow = """
        const [from, to] = arguments, found = [];
        let here = [tapplan.AWAY, false];
        for (let x = from; x !== to; x += from < to ? 1 : -1) found.push(here = tapplan.settled(here[0], x));
        return found;
    """
    chance = Random(reviewed.design.title)
    ways = {"rising": range(top), "falling": range(top, 0, -1)}
    for way, steps in ways.items():
        theirs = dict(zip(steps, browser.execute_script(slow, steps.start, steps.stop), strict=True))
        for step in {*chance.sample(list(steps), 150), *(int(mark / STEP) for mark in line.marks)} & theirs.keys():
            ours = getattr(at(line, step * STEP), way)
            there, hunting = theirs[step]
            assert hunting == ours.hunting, (way, step)
            assert hunting or there == number(table, ours.standing), (way, step)
    starts = [chance.randint(0, top) for _ in range(200)]
    theirs = browser.execute_script("return arguments[0].map((x) => tapplan.settled(tapplan.AWAY, x))", starts)
    for step, (there, hunting) in zip(starts, theirs, strict=True):
        ours = at(line, step * STEP).start
        assert hunting == ours.hunting, step
        assert hunting or there == number(table, ours.standing), step


@pytest.mark.parametrize("path", SHIPPED[:4], ids=lambda path: path.stem)
def test_a_walk_of_the_slider(path: Path, browser: Any, tmp_path: Path) -> None:
    """Every step between is passed, so that the page remembers the band as a slow line does."""
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    table, data = judged(reviewed.table), live(reviewed)
    away = len(table.rows)
    random, here = Random(1), data["at"]
    standing, _ = settled(table, away, here)
    for _ in range(6):
        there = random.randint(data["from"], data["to"])
        for step in range(here, there, 1 if there > here else -1):
            standing, _ = settled(table, standing, step)
        standing, _ = settled(table, standing, there)
        shown = browser.execute_script("tapplan.run(arguments[0]); return tapplan.standing()", there)
        assert shown == standing
        name = data["names"][standing] if standing == away else table.rows[standing].name
        assert browser.find_element("id", "band").text.startswith(name)
        here = there


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_drawing_shows_the_way_told(path: Path, browser: Any, tmp_path: Path) -> None:
    """In every row and away: points, contacts and windings on the way from line to output, and closed contacts."""
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    design, circuit, data = reviewed.design, reviewed.circuit, live(reviewed)
    assert data["from"] * STEP < design.mains.range_v[0]
    assert design.mains.range_v[1] < data["to"] * STEP < 2 * design.mains.range_v[1]
    ends = [{*winding.ends} for winding in design.windings]
    script = """
        tapplan.run(arguments[0]);
        const of = (kind, name) => Array.from(document.querySelectorAll("#schematic [id^=" + kind + "-]." + name),
                                              (one) => Number(one.id.slice(kind.length + 1)));
        return ["net", "section", "contact"].map((kind) => of(kind, "live")).concat([of("contact", "closed")]);
    """
    seen = set()
    for step in range(data["from"], data["to"], 23):
        nets, sections, contacts, closed = (sorted({*one}) for one in browser.execute_script(script, step))
        told = browser.find_element("id", "path").text
        shown = [] if told.startswith("no") else told.split(" \u2192 ")
        coils = browser.find_element("id", "coils").text
        driven = [] if coils.startswith("none") else coils.split(", ")
        position = {relay: "no" if relay in driven else "nc" for relay in circuit.relays}
        assert closed == [
            n for n, one in enumerate(circuit.contacts) if position[circuit.relays[one.relay]] == one.throw
        ]
        points = [one for one in shown if one in circuit.points]
        assert nets == sorted(circuit.points.index(one) for one in points)
        assert contacts == [n for n in closed if circuit.contacts[n].label in shown]
        assert [circuit.contacts[n].label for n in contacts] == sorted(
            (one for one in shown if one not in circuit.points), key=[one.label for one in circuit.contacts].index
        )
        steps = [{*pair} for pair in pairwise(points)]
        assert sections == [n for n, pair in enumerate(ends) if pair in steps]
        seen.add(coils)
    assert len(seen) > 1


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_numbers_and_the_mark_on_the_curve(path: Path, browser: Any, tmp_path: Path) -> None:
    """It opens at nominal; output, its place in the window, and the mark follow the input; away has a name."""
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    design, table, data = reviewed.design, judged(reviewed.table), live(reviewed)
    scale, (low, high) = scale_of(reviewed.table), design.output.window_v
    small = scale_of(reviewed.table, PHONE)
    assert data["from"] * STEP > design.mains.range_v[0] / 2
    shown = float(browser.find_element("id", "volts-box").get_attribute("value"))
    assert shown == float(design.mains.nominal_v)
    data_scale = browser.execute_script(
        "return JSON.parse(document.getElementById('table-data').textContent).curves[0]"
    )
    script = """
        tapplan.run(arguments[0]);
        const now = document.querySelector("#curve #now");
        const told = ["band", "output"].map((id) => document.getElementById(id).textContent);
        const band = Array.from(document.querySelectorAll("#curve .in-force, #bands .in-force"), (one) => one.id);
        return [tapplan.standing(), ...told, band,
                now.getAttribute("visibility"), now.getAttribute("transform"),
                document.getElementById("narrow-now").getAttribute("transform")];
    """
    away = "outside all bands" if design.backup is None else "away: on the backup"
    seen = set()
    for step in [data["from"], *range(data["from"] + 7, data["to"], 41), data["to"]]:
        standing, name, output, in_force, visible, place, narrow = browser.execute_script(script, step)
        row = table.rows[standing] if standing < len(table.rows) else None
        assert name.removesuffix(" (hunting: no band stands here)") == (row.name if row else away)
        assert in_force == ([f"curve-band-{standing}", f"bar-{standing}"] if row else [])
        if row is None and design.backup is not None:
            assert (visible, output) == ("hidden", "from the backup")
            continue
        assert visible == "visible"
        ratio = row.ratio if row else reviewed.table.away.state.ratio
        volts = ratio * step * STEP
        told = "below" if volts < low else "above" if volts > high else "inside"
        assert output.endswith(f" V, {told} the window")
        assert float(output.split()[0]) == pytest.approx(float(volts), abs=0.051)
        across, down = map(float, re.findall(r"[-\d.]+", place))
        top, bottom = data_scale["top"], data_scale["bottom"]
        expected = (scale.x(step * STEP), min(max(scale.y(volts), top), bottom))
        assert (across, down) == pytest.approx(expected, abs=1e-6)
        across, down = map(float, re.findall(r"[-\d.]+", narrow))
        inside = min(max(small.y(volts), PHONE.top), PHONE.base)
        assert (across, down) == pytest.approx((small.x(step * STEP), inside), abs=1e-6)
        seen.add(told)
    assert "inside" in seen


def test_where_nothing_is_read_away_stays_away() -> None:
    table = review(load(SHIPPED[0])).table
    blind = replace(table, away=replace(table.away, sensed=None, read=None))
    assert live(review_of(blind))["decides"][-1] == {"read": None, "firsts": [], "answers": [len(table.rows)]}


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
    for typed in ("230,5", " 230.5 V"):
        box.send_keys(Keys.CONTROL + "a")
        box.send_keys(typed, Keys.TAB)
        assert box.get_attribute("value") == "230.5"
        assert browser.find_element("id", "told").text.startswith("230.5 V in: direct")
    box.send_keys(Keys.CONTROL + "a")
    box.send_keys("2,3e2", Keys.TAB)
    assert browser.find_element("id", "box-says").text.startswith("Found \u201c2,3e2\u201d; accepted: ")
    assert browser.find_element("id", "told").text.startswith("230.5 V in: direct")
    Select(browser.find_element("id", "fault")).select_by_visible_text("KO: stuck-rest")
    assert browser.find_element("id", "meter").text.startswith("203.9 V, below the window")  # 230.5 V x 530/599
    assert browser.find_element("id", "controller").text.startswith("reads 230.5 V at the input")


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
    text = report(reviewed)
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
    page.write_text(report(new, old), encoding="utf-8")
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
