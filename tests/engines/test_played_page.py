"""A sudden step played on the page, phase by phase: against what `steps` answers and the table's relays."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from random import Random
from typing import Any

import pytest

from tapplan.answers.steps import StepRow, steps
from tapplan.checks.review import Review, review
from tapplan.design.file import load
from tests.engines.browsing import opened
from tests.examples import SHIPPED

PLAY = """
    tapplan.play(arguments[0]);
    const found = [];
    for (let place = 0; place < tapplan.here.playing.all.length; place++) {
        const one = tapplan.here.playing.all[place];
        const drivenCoils = Array.from(document.querySelectorAll("#schematic [id^=coil-].driven"), (one) => one.id);
        const flying = Array.from(document.querySelectorAll("#schematic [id^=pole-].in-flight"), (one) => one.id);
        const sides = ["x", "y", "width", "height"];
        const bars = Array.from(document.querySelectorAll("#phases rect"), (bar) =>
            sides.map((name) => Number(bar.getAttribute(name))));
        found.push({ from: one.from, until: one.until, low: one.low, high: one.high, standing: one.standing,
                     coils: drivenCoils.sort(), flying, bars,
                     says: document.getElementById("play-says").textContent });
        tapplan.advance();
    }
    tapplan.stop();
    return [found, document.getElementById("play").hidden, document.querySelectorAll("#phases rect").length];
"""


def coils(reviewed: Review, name: str) -> list[str]:
    """The coils driven in a band, or where no band is in force, as the schematic names them."""
    rows = {row.name: row.energised for row in reviewed.table.rows}
    driven = rows.get(name, reviewed.table.away.state.energised)
    return sorted(f"coil-{number}" for number, one in enumerate(reviewed.circuit.relays) if one in driven)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_a_step_is_played_as_it_is_told(path: Path, browser: Any, tmp_path: Path) -> None:
    reviewed = review(load(path))
    opened(browser, tmp_path, reviewed)
    every = steps(reviewed).steps
    chosen = Random(path.stem).sample(range(len(every)), min(len(every), 12))
    for number in chosen:
        one = every[number]
        frames, hidden, left = browser.execute_script(PLAY, number)
        assert (hidden, left) == (True, 0)
        through = [one.start, *one.entered]
        assert len(frames) == 2 * len(one.entered) + 1 == len(one.course) + 1
        for place, (frame, phase) in enumerate(zip(frames[:-1], one.course, strict=True)):
            told = [phase.from_ms, phase.until_ms, phase.output_v.low, phase.output_v.high]
            shown = [frame["from"], frame["until"], frame["low"], frame["high"]]
            assert shown == pytest.approx([float(value) for value in told], abs=6e-4), (number, place)
            in_flight = place % 2 == 1
            standing = through[place // 2 + in_flight]
            assert frame["coils"] == coils(reviewed, standing)
            assert bool(frame["flying"]) == (in_flight and coils(reviewed, through[place // 2]) != frame["coils"])
            assert ("in flight" in frame["says"]) == in_flight
            assert f"the line to {float(one.at_v):.1f} V" in frame["says"]
        assert frames[-1]["until"] is None
        assert frames[-1]["coils"] == coils(reviewed, one.entered[-1])
        assert one.verdict in frames[-1]["says"]
        assert settled(reviewed, one) == pytest.approx(frames[-1]["high"] or 0.0, abs=1e-6)
        check_bars(browser, frames)


def settled(reviewed: Review, one: StepRow) -> float:
    """The output once all is still, without load; none on the backup."""
    rows = {row.name: row.ratio for row in reviewed.table.rows}
    if one.entered[-1] in rows:
        return float((rows[one.entered[-1]] or Fraction(0)) * one.at_v)
    return 0.0 if reviewed.design.backup is not None else float((reviewed.table.away.state.ratio or 0) * one.at_v)


def check_bars(browser: Any, frames: list[Any]) -> None:
    """The bars of the picture, read back: each as high as its volts, one after the other in time."""
    axes = browser.execute_script("return JSON.parse(document.getElementById('table-data').textContent).envelope")
    bars = frames[0]["bars"]
    assert len(bars) == len(frames)
    for bar, frame in zip(bars, frames, strict=True):
        x, y, _, high = bar
        top = (axes["bottom"] - y) / axes["high"] * axes["full"]
        assert top == pytest.approx(max(frame["high"] or 0, 2 / axes["high"] * axes["full"]), rel=0.02, abs=2.5)
        assert x >= axes["left"] - 1e-9
        assert y + high <= axes["bottom"] + 1e-6
    places = [bar[0] for bar in bars]
    assert places == sorted(places)


def test_a_link_and_a_cell_play_their_step_and_the_slider_ends_it(browser: Any, tmp_path: Path) -> None:
    reviewed = review(load(next(path for path in SHIPPED if path.stem == "ridge-dispensary")))
    opened(browser, tmp_path, reviewed)
    playing = "return tapplan.here.playing && tapplan.here.playing.number"
    browser.execute_script("document.querySelector('#steps-table [data-step=\"4\"]').click()")
    assert browser.execute_script(playing) == 4
    cell = browser.execute_script("return document.querySelector('[id^=step-cell-]').id")
    browser.execute_script(
        "document.getElementById(arguments[0]).dispatchEvent(new Event('click', {bubbles: true}))", cell
    )
    assert browser.execute_script(playing) == int(cell.removeprefix("step-cell-"))
    browser.execute_script(
        "const s = document.getElementById('volts'); s.value = 2000; s.dispatchEvent(new Event('input'))"
    )
    assert browser.execute_script(playing) is None
    assert browser.find_element("id", "told").text.startswith("200.0 V in")


@pytest.mark.parametrize(("motion", "goes_on"), [("no-preference", True), ("reduce", False)])
def test_a_step_goes_on_by_itself_only_where_motion_is_wanted(
    motion: str, goes_on: bool, browser: Any, tmp_path: Path
) -> None:
    """Whether a timer is set after a phase, and that *Next phase* goes on either way."""
    browser.execute_cdp_cmd(
        "Emulation.setEmulatedMedia", {"features": [{"name": "prefers-reduced-motion", "value": motion}]}
    )
    try:
        opened(browser, tmp_path, review(load(next(path for path in SHIPPED if path.stem == "ridge-dispensary"))))
        timers, place = browser.execute_script(
            "let set = 0; const real = window.setTimeout; window.setTimeout = () => { set += 1; return 0; };"
            "tapplan.play(0); const before = set; window.setTimeout = real; tapplan.advance();"
            "const place = tapplan.here.playing.place; tapplan.stop(); return [before, place];"
        )
        assert bool(timers) is goes_on
        assert place == 1
    finally:
        browser.execute_cdp_cmd("Emulation.setEmulatedMedia", {"features": []})
