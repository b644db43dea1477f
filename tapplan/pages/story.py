"""The part of the report that lives: slider, schematic, curve and bands together, and the truth table under them."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from string import Template

from tapplan.answers.findings import FindingRow
from tapplan.answers.forms import Json, cells, html_table
from tapplan.answers.steps import Steps
from tapplan.answers.table import TruthTable
from tapplan.checks.review import Review
from tapplan.control.table import ControlTable
from tapplan.design.standards import curve as known_curve
from tapplan.pages.markup import framed, static, without
from tapplan.pages.played import page_axes, played
from tapplan.pictures.curve import BOTTOM as CURVE_BOTTOM
from tapplan.pictures.curve import HEIGHT, bandbars, curve, scale_of
from tapplan.pictures.curve import TOP as CURVE_TOP
from tapplan.pictures.envelope import stage_for_steps
from tapplan.pictures.faultmarks import fault_marks
from tapplan.pictures.schematic import schematic
from tapplan.pictures.style import inside

COLUMN_EACH = 4  # relays that have a column each in the table; more share one
SCRIPTS = ("decide.js", "draw.js", "tell.js", "play.js", "wire.js")
LEGEND = (
    "Each relay's blade is drawn where it stands; NC closes with the coil at rest, NO with the coil driven. The "
    "thick way is the plainest from line to output; windings that are magnetised are filled. Numbers beside windings "
    "are turns; a dot marks the finish."
)
STEP_SHOWS = "Percent of nominal against time since the step; dashed: what the tolerance curve bears."


@dataclass(frozen=True, slots=True)
class Story:
    """What the live part reads; `data` is what its script knows of states and faults."""

    review: Review
    truth: TruthTable
    findings: Sequence[FindingRow]
    stepped: Steps
    data: Json


def story_section(told: Story) -> str:
    """The section; without a script it shows every coil off."""
    review, gaps, data = told.review, told.truth.gap_spans, told.data
    circuit = review.circuit
    count = f"{len(circuit.sections)} windings, {len(circuit.relays)} relays, {len(circuit.contacts)} contacts"
    drawn = schematic(circuit, circuit.state(()))
    return Template(static("story.html")).substitute(
        least=data["from"],
        most=data["to"],
        at=data["at"],
        schematic=inside(drawn, f"Schematic: {count}; its paths stand in the truth table", "schematic"),
        legend=LEGEND,
        table=_table(told),
        envelope=_envelope(told),
        curve=inside(
            curve(review.table, gaps, marks=fault_marks(told.findings)),
            "Output against input; its values stand in the truth table, its faults among the findings",
            "curve",
        ),
        bands=inside(bandbars(review.table, gaps), "The inputs that keep each band, as in the truth table", "bands"),
    )


def _table(told: Story) -> str:
    relays = told.truth.relays if len(told.truth.relays) <= COLUMN_EACH else ()
    rows = framed(html_table(without(cells(told.truth.bands, relays), "path")), "Truth table")
    ways = "".join(
        f"<li><strong>{escape(one.band)}</strong>: {escape(' '.join(one.path or ()) or 'none')}</li>"
        for one in told.truth.bands
    )
    return (
        f'<div id="table" class="of-table"><h3>Truth table</h3>{rows}'
        f'<h3>Path of each band</h3><ul class="ways">{ways}</ul></div>'
    )


def _envelope(told: Story) -> str:
    """The picture on which a step is played; nothing where no step moves relays."""
    against = known_curve(told.stepped.curve)
    if against is None or not told.stepped.steps:
        return ""
    drawn = stage_for_steps(against, page_axes(told.review, told.stepped))
    return framed(inside(drawn, STEP_SHOWS, "envelope"), "The step against the curve")


def program(told: Story) -> str:
    """The page's data and its script: nothing in the data can end the element it stands in."""
    made: Json = {**told.data, "curve": _curve_scale(told.review.table), **played(told.review, told.stepped)}
    packed = json.dumps(made, separators=(",", ":")).replace("<", "\\u003c").replace("&", "\\u0026")
    script = "".join(map(static, SCRIPTS))
    return (
        f'<script type="application/json" id="table-data">{packed}</script>'
        f'<script>"use strict";\n(function () {{\n{script}}})();</script>'
    )


def _curve_scale(table: ControlTable) -> Json:
    """Places in the curve's picture: x = a + b volts of the line, y = a + b volts of the output."""
    scale = scale_of(table)
    across = (scale.x(scale.inputs.high) - scale.x(scale.inputs.low)) / float(scale.inputs.high - scale.inputs.low)
    down = (scale.y(scale.outputs.high) - scale.y(scale.outputs.low)) / float(scale.outputs.high - scale.outputs.low)
    return {
        "x": [scale.x(scale.inputs.low) - across * float(scale.inputs.low), across],
        "y": [scale.y(scale.outputs.low) - down * float(scale.outputs.low), down],
        "top": CURVE_TOP,
        "bottom": HEIGHT - CURVE_BOTTOM,
    }
