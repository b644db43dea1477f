"""The faults as a table of the page: a row a fault, a column a band, in each cell what a meter then shows."""

from __future__ import annotations

from collections.abc import Mapping
from html import escape

from tapplan.answers.faults import EFFECTS, FaultAcross, FaultEffect, FaultInBand, Faults
from tapplan.pages.markup import framed

CAPTION = "Single faults by band, the most harmful first: the output as a meter shows it"


SYMBOLS: Mapping[FaultEffect, str] = {
    FaultEffect.SHORT: "\u2715",
    FaultEffect.HIGH: "\u25b2",
    FaultEffect.NONE: "\u25cb",
    FaultEffect.LOW: "\u25bc",
    FaultEffect.AWAY: "\u2192",
    FaultEffect.HARMLESS: "\u2713",
}
MEANINGS: Mapping[FaultEffect, str] = {
    FaultEffect.SHORT: "turns shorted or line tied to neutral",
    FaultEffect.HIGH: "above the window",
    FaultEffect.NONE: "no output, or none that can be foretold",
    FaultEffect.LOW: "below the window",
    FaultEffect.AWAY: "the load is on the backup",
    FaultEffect.HARMLESS: "inside the window all the same",
}


def matrix_style() -> str:
    """The symbol of each effect before its words: seen, and not read out, for the words say the same."""
    return "".join(f'td.{one.value}::before{{content:"{SYMBOLS[one]} "/""}}' for one in FaultEffect)


def matrix_html(answer: Faults) -> str:
    """The matrix of an answer, and a line that explains its symbols; nothing where there is no fault.

    The button of a row carries the place of its fault among those that the page's script knows, and each cell is
    named by that and by its band's place in the table.
    """
    matrix = answer.matrix
    if not matrix.rows:
        return ""
    heads = "".join(f'<th scope="col">{escape(band)}</th>' for band in matrix.bands)
    body = "".join(map(_row, matrix.rows))
    table_text = (
        f'<table class="matrix"><caption>{CAPTION}</caption>'
        f'<thead><tr><th scope="col">fault</th>{heads}</tr></thead><tbody>{body}</tbody></table>'
    )
    met = {cell.effect for row in matrix.rows for cell in row.cells}
    return framed(table_text, CAPTION) + _legend([effect for effect in FaultEffect if effect in met])


def _row(one: FaultAcross) -> str:
    name = f'<button type="button" data-fault="{one.place}">{escape(one.part)} {escape(one.fault)}</button>'
    cells = "".join(_cell(f"fault-{one.place}-{number}", cell) for number, cell in enumerate(one.cells))
    return f'<tr><th scope="row">{name}</th>{cells}</tr>'


def _cell(name: str, one: FaultInBand) -> str:
    """The effect as a symbol and in words, and what a meter shows."""
    return f'<td id="{name}" class="{one.effect.value}"><b>{escape(one.word)}</b><br>{escape(one.meter)}</td>'


def _legend(effects: list[FaultEffect]) -> str:
    told = "; ".join(
        f'<span class="{one.value}"><span aria-hidden="true">{SYMBOLS[one]}</span> {EFFECTS[one]}</span>: '
        f"{MEANINGS[one]}"
        for one in effects
    )
    return f'<p class="faint">{told}.</p>'
