"""Pictures: sharp, labelled, of the values they show; any name stays text; readable by other programs."""

from __future__ import annotations

import xml.etree.ElementTree as ElementTree
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapplan.answers.steps import steps
from tapplan.answers.table import truth_table
from tapplan.checks.recovery import curve_of, settled_output, verdicts, worst_each, worst_of
from tapplan.checks.review import review
from tapplan.cli.main import main
from tapplan.pictures.curve import bandbars, curve
from tapplan.pictures.envelope import step_picture
from tapplan.pictures.style import inside, rules, svg
from tests.bench.stages import table
from tests.examples import ROOT, SHIPPED

SVG = "{http://www.w3.org/2000/svg}"


def parsed(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)  # noqa: S314 - our own text


def test_hostile_names_stay_text() -> None:
    stage = table(SHIPPED[0])
    evil = "<script>x</script>\"'&"
    rows = tuple(replace(row, name=evil) for row in stage.rows)
    for drawing in (curve(replace(stage, rows=rows), []), bandbars(replace(stage, rows=rows), [])):
        assert not list(parsed(svg(drawing, evil)).iter(f"{SVG}script"))
    assert evil not in inside(curve(replace(stage, rows=rows), []), evil, "s")


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
