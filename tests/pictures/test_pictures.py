"""Pictures: sharp, labelled, of the values they show; any name stays text; readable by other programs."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapplan.answers.findings import finding_rows
from tapplan.answers.steps import steps
from tapplan.answers.table import truth_table
from tapplan.checks.recovery import curve_of, settled_output, verdicts, worst_each, worst_of
from tapplan.checks.review import review
from tapplan.checks.rules import findings_in
from tapplan.cli.main import main
from tapplan.pages.live import live
from tapplan.pages.report import fault_marks, step_picture
from tapplan.pictures.curve import WIDTH, bandbars, curve, scale_of, ticks
from tapplan.pictures.schematic import layout_of, schematic
from tapplan.pictures.style import inside, rules, svg
from tests.bench.stages import table
from tests.examples import ROOT, SHIPPED

SVG = "{http://www.w3.org/2000/svg}"


def parsed(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)  # noqa: S314 - our own text


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_part_is_drawn_once_and_contacts_stand_as_in_the_state(path: Path) -> None:
    circuit = table(path).circuit
    for energised in ((), circuit.relays):
        closed = circuit.state(energised)
        root = parsed(svg(schematic(circuit, closed), "schematic"))
        groups = {one.get("id"): one.get("class") for one in root.iter(f"{SVG}g") if one.get("id")}
        for kind, count in (("net", circuit.points), ("section", circuit.sections), ("contact", circuit.contacts)):
            assert {key for key in groups if key.startswith(kind)} == {f"{kind}-{n}" for n in range(len(count))}
        for number in range(len(circuit.contacts)):
            assert groups[f"contact-{number}"] == f"contact {'closed' if number in closed else 'open'}"


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_nothing_is_drawn_over_another(path: Path) -> None:
    """A line for each point, an upright for each contact, taps in the order of their turns."""
    circuit = table(path).circuit
    placed = layout_of(circuit)
    assert len(set(placed.rows)) == len(placed.rows)
    assert len(set(placed.columns)) == len(placed.columns)
    for one, section in enumerate(circuit.sections):
        assert placed.y(section.start) > placed.y(section.finish) or section.turns < 0 or len(circuit.sections) > 1
        for two, other in enumerate(circuit.sections[:one]):
            if placed.lanes[one] == placed.lanes[two]:
                spans = [sorted((placed.y(s.start), placed.y(s.finish))) for s in (section, other)]
                assert spans[0][1] <= spans[1][0] or spans[1][1] <= spans[0][0]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_curve_shows_the_table(path: Path) -> None:
    """The line of each band begins and ends where its hold does; the live marker uses the same scale."""
    stage = table(path)
    scale = scale_of(stage)
    root = parsed(svg(curve(stage, []), "curve"))
    lines = [one.get("d") for one in root.iter(f"{SVG}path") if one.get("class") == "band"]
    data = live(review(stage.design))
    for row, drawn in zip([row for row in stage.rows if row.input_hold and row.ratio], lines, strict=True):
        numbers = [float(part) for part in drawn.replace("M", "").replace("L", " ").replace(",", " ").split()]
        for volts, x, y in ((row.input_hold.low, *numbers[:2]), (row.input_hold.high, *numbers[2:])):
            assert x == pytest.approx(scale.x(volts))
            assert y == pytest.approx(scale.y(row.ratio * volts))
            assert data["x"][0] + data["x"][1] * float(volts) == pytest.approx(x)
            assert data["y"][0] + data["y"][1] * float(row.ratio * volts) == pytest.approx(y)
        assert 0 < min(numbers[::2]) <= max(numbers[::2]) < WIDTH


def test_faults_are_marked_where_they_stand() -> None:
    """The table under review: what leaves the window is crossed at its witness's input and output, by its code."""
    reviewed = review(table(next(path for path in SHIPPED if path.stem == "hostel-review")).design)
    marks = fault_marks(finding_rows(findings_in(reviewed)))
    assert "out-of-window" in {mark.code for mark in marks}
    root = parsed(svg(curve(reviewed.table, [], marks=marks), "curve"))
    assert len([one for one in root.iter(f"{SVG}path") if one.get("class") == "cross"]) == 2 * len(marks)
    assert "out-of-window" in {one.text for one in root.iter(f"{SVG}text")}


def test_ticks_are_round_and_inside() -> None:
    scale = scale_of(table(SHIPPED[0]))
    for span in (scale.inputs, scale.outputs):
        found = ticks(span)
        assert 3 <= len(found) <= 16
        assert all(one in span for one in found)


def test_hostile_names_stay_text() -> None:
    stage = table(SHIPPED[0])
    evil = "<script>x</script>\"'&"
    rows = tuple(replace(row, name=evil) for row in stage.rows)
    circuit = replace(stage.circuit, points=tuple(f"{one}{evil}" for one in stage.circuit.points))
    for drawing in (curve(replace(stage, rows=rows), []), bandbars(replace(stage, rows=rows), [])):
        assert not list(parsed(svg(drawing, evil)).iter(f"{SVG}script"))
    text = svg(schematic(circuit, frozenset()), evil)
    assert not list(parsed(text).iter(f"{SVG}script"))
    assert evil not in inside(schematic(circuit, frozenset()), evil, "s")


def test_a_page_sets_the_colours_and_a_file_has_its_own() -> None:
    assert "var(--ink)" in rules(page=True)
    assert "var(" not in rules(page=False)
    assert "@" not in rules(page=False)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_envelope_shows_the_phases_of_the_worst_step(path: Path) -> None:
    """A bar a phase and one for the end, as high as the output; the limits of the curve dashed."""
    reviewed = review(table(path).design)
    against = curve_of(reviewed)
    found = [] if against is None else worst_each(verdicts(reviewed, against))
    worst = steps(reviewed).drawing
    drawing = None if worst is None else step_picture(worst)
    if not found:
        assert drawing is None
        return
    worst_step = worst_of(found)
    response = worst_step.response.at_line(worst_step.line_v)
    settled = settled_output(reviewed, response)
    root = parsed(svg(drawing, "envelope"))
    bars = [one for one in root.iter(f"{SVG}rect") if one.get("class") == "bar"]
    outputs = [*(phase.output for phase in response.phases), settled]
    assert len(bars) == len(outputs)
    tops = [float(one.get("y")) for one in bars]
    order = sorted(range(len(outputs)), key=lambda n: outputs[n].high if outputs[n] else 0)
    assert [tops[n] for n in order] == sorted(tops, reverse=True)
    assert [one for one in root.iter(f"{SVG}path") if one.get("class") == "limit"]


@pytest.mark.parametrize("picture", ["curve", "schematic", "bands", "envelope"])
def test_svg_and_png_by_the_command(picture: str, tmp_path: Path, capsys: Any) -> None:
    design = str(ROOT / "designs" / "ridge-dispensary.toml")
    target = tmp_path / "p.png"
    assert main(["export", design, "--to", "svg", "--picture", picture]) == 0
    assert parsed(capsys.readouterr().out).tag == f"{SVG}svg"
    assert main(["export", design, "--picture", picture, "-o", str(target)]) == 0
    assert target.read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"
    assert main(["export", design, "--picture", picture, "-o", str(target)]) == 2
    assert main(["export", design, "--to", "png"]) == 2
    assert main(["export", design, "--to", "c", "--picture", picture]) == 2


def test_the_picture_in_the_readme_is_the_present_one() -> None:
    design = ROOT / "designs" / "ridge-dispensary.toml"
    stage = review(table(design).design)
    title = f"curve: {stage.design.title}"
    kept = (ROOT / "designs" / "pictures" / "ridge-dispensary-curve.svg").read_text(encoding="utf-8")
    assert svg(curve(stage.table, truth_table(stage).gap_spans), title) == kept
