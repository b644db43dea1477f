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
from tapplan.answers.words import number
from tapplan.checks.review import Review
from tapplan.control.table import ControlTable
from tapplan.design.model import Sensing
from tapplan.design.standards import curve as known_curve
from tapplan.pages.markup import framed, static, without
from tapplan.pages.played import page_axes, played
from tapplan.pictures.curve import bandbars, curve, scale_of
from tapplan.pictures.curveform import DESK, PHONE, CurveForm
from tapplan.pictures.envelope import stage_for_steps
from tapplan.pictures.faultmarks import fault_marks
from tapplan.pictures.schematic import schematic
from tapplan.pictures.style import inside

FORMS = (DESK, PHONE)
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
    review, data = told.review, told.data
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
        curve="".join(_curve(told, form) for form in FORMS),
        bands="".join(_bands(told, form) for form in FORMS),
    )


def _curve(told: Story, form: CurveForm) -> str:
    drawn = curve(told.review.table, told.truth.gap_spans, marks=fault_marks(told.findings), form=form)
    shows = "Output against input; its values stand in the truth table, its faults among the findings"
    return _for(form, inside(drawn, shows, f"{form.prefix}curve"))


def _bands(told: Story, form: CurveForm) -> str:
    drawn = bandbars(told.review.table, told.truth.gap_spans, form)
    return _for(form, inside(drawn, "The inputs that keep each band, as in the truth table", f"{form.prefix}bands"))


def _for(form: CurveForm, picture: str) -> str:
    """A picture for one width of the screen; paper takes the wide one."""
    return f'<div class="{"for-narrow" if form is PHONE else "for-wide"}">{picture}</div>'


def _table(told: Story) -> str:
    relays = told.truth.relays if len(told.truth.relays) <= COLUMN_EACH else ()
    rows = framed(html_table(without(cells(told.truth.bands, relays), "path")), "Truth table")
    ways = "".join(
        f"<li><strong>{escape(one.band)}</strong>: {escape(' '.join(one.path or ()) or 'none')}</li>"
        for one in told.truth.bands
    )
    return (
        f'<div id="table" class="of-table"><h3>Truth table</h3>{rows}{_outside(told.review.table)}'
        f'<h3>Path of each band</h3><ul class="ways">{ways}</ul></div>'
    )


def _outside(table: ControlTable) -> str:
    """Where the load leaves the mains and comes back, for the outermost holds do not say it."""
    backup = table.design.backup
    if backup is None:
        return ""
    leave, back = (" and ".join(f"{number(end)} V" for end in ends) for ends in (backup.leave_v, backup.return_v))
    read = _whose(table.design.sensing)
    return (
        f"<p>The load leaves the mains for the backup at readings beyond {leave}, the outermost ends of the table, "
        f"and comes back only between {back}{read}.</p>"
    )


def _whose(sensing: Sensing) -> str:
    """Whose volts readings are, where they are not the line's."""
    at = sensing.at
    return "" if at == "input" else ", read at the output" if at == "output" else f", read at {at[0]}-{at[1]}"


def _envelope(told: Story) -> str:
    """The picture on which a step is played; nothing where no step moves relays."""
    against = known_curve(told.stepped.curve)
    if against is None or not told.stepped.steps:
        return ""
    drawn = stage_for_steps(against, page_axes(told.review, told.stepped))
    return framed(inside(drawn, STEP_SHOWS, "envelope"), "The step against the curve")


def program(told: Story) -> str:
    """The page's data and its script: nothing in the data can end the element it stands in."""
    curves = [_curve_scale(told.review.table, form) for form in FORMS]
    made: Json = {**told.data, "curves": curves, **played(told.review, told.stepped)}
    packed = json.dumps(made, separators=(",", ":")).replace("<", "\\u003c").replace("&", "\\u0026")
    script = "".join(map(static, SCRIPTS))
    return (
        f'<script type="application/json" id="table-data">{packed}</script>'
        f'<script>"use strict";\n(function () {{\n{script}}})();</script>'
    )


def _curve_scale(table: ControlTable, form: CurveForm) -> Json:
    """Places in a curve's picture: x = a + b volts of the line, y = a + b volts of the output."""
    scale = scale_of(table, form)
    across = (scale.x(scale.inputs.high) - scale.x(scale.inputs.low)) / float(scale.inputs.high - scale.inputs.low)
    down = (scale.y(scale.outputs.high) - scale.y(scale.outputs.low)) / float(scale.outputs.high - scale.outputs.low)
    return {
        "prefix": form.prefix,
        "x": [scale.x(scale.inputs.low) - across * float(scale.inputs.low), across],
        "y": [scale.y(scale.outputs.low) - down * float(scale.outputs.low), down],
        "top": form.top,
        "bottom": form.base,
    }
