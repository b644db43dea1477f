"""How pictures look: one list of rules, with colours for a file of its own or the variables of a page."""

from __future__ import annotations

from typing import Any

from tapplan.pictures.plainer import plainer

# Inks by role: in a file of its own, and as a variable that a page sets for light and dark.
INKS = {
    "ink": "#1b1f24",
    "faint": "#6b7280",
    "paper": "#ffffff",
    "rule": "#c9cdd3",
    "live": "#b3261e",
    "window": "#dfe8df",
    "line": "#1d4e89",
    "hurt": "#b3261e",
    "path": "#0b5d4b",
    "now": "#8a5a00",
}
RULES = """
.words { fill: @ink@; font: 13px sans-serif }
.small { fill: @ink@; font: 11px sans-serif }
.faint { fill: @faint@; font: 11px sans-serif }
.wire { stroke: @ink@; stroke-width: 1.6; fill: none }
.net .wire { stroke-linecap: square }
.coil { stroke: @ink@; stroke-width: 2; fill: none }
.dot { fill: @ink@ }
.link { stroke: @faint@; stroke-width: 1.2; stroke-dasharray: 4 3; fill: none }
.arm { stroke: @ink@; stroke-width: 2.2; stroke-linecap: round }
.blade { visibility: hidden }
.at-rest .rest, .is-driven .driven, .in-flight .flight, .bridged .rest, .bridged .driven { visibility: visible }
.core { stroke: @faint@; stroke-width: 2.4; fill: none }
.ring { fill: @paper@; stroke: @ink@; stroke-width: 1.8 }
.terminal-name { fill: @ink@; font: bold 13px sans-serif }
.relay .body { fill: @paper@; stroke: @ink@; stroke-width: 1.8 }
.relay .lead { stroke: @ink@; stroke-width: 1.6 }
.relay .outline { fill: none; stroke: @ink@; stroke-width: 1.4; visibility: hidden }
.coil-name { fill: @ink@; font: bold 11px sans-serif }
.relay.driven .body { fill: @ink@ }
.relay.driven .coil-name { fill: @paper@ }
.relay.driven .outline { visibility: visible }
.gone { stroke: @hurt@; stroke-width: 2.6; fill: none; visibility: hidden }
.lost > .gone { visibility: visible }
.lost > .wire, .lost > .coil { stroke-dasharray: 2 3 }
.live .wire, .live .coil { stroke: @path@; stroke-width: 3.6 }
.live .dot { fill: @path@ }
.live .words { font-weight: bold }
.live .ring { stroke: @path@; stroke-width: 3 }
.nc.live ~ .rest .arm, .no.live ~ .driven .arm { stroke: @path@; stroke-width: 4.2 }
.contact.live ~ .com { stroke: @path@; stroke-width: 3.6 }
.short-loop .wire, .short-loop .coil { stroke: @hurt@; stroke-width: 3.6; stroke-dasharray: 8 3 }
.nc.short-loop ~ .rest .arm, .no.short-loop ~ .driven .arm { stroke: @hurt@; stroke-width: 4.2 }
.fed .coil { fill: @path@; fill-opacity: .25 }
.fed .core { stroke: @path@; stroke-width: 4.6 }
.axis { stroke: @faint@; stroke-width: 1; fill: none }
.grid { stroke: @rule@; stroke-width: 1; fill: none }
.window { fill: @window@ }
.limit { stroke: @faint@; stroke-width: 1; stroke-dasharray: 6 4; fill: none }
.band { stroke: @line@; stroke-width: 2.6; fill: none }
.older { stroke: @ink@; stroke-width: 1.4; stroke-dasharray: 5 4; fill: none }
.worst { fill: @line@; fill-opacity: .18 }
.reach { stroke: @line@; stroke-width: 9; stroke-opacity: .22; fill: none }
.step { stroke: @line@; stroke-width: 1.2; stroke-dasharray: 3 3; fill: none }
.arrow { fill: @line@ }
.gap { fill: @hurt@; fill-opacity: .25; stroke: @hurt@; stroke-dasharray: 2 2 }
.cross { stroke: @hurt@; stroke-width: 2.6 }
.bar { fill: @line@; fill-opacity: .3; stroke: @line@ }
.hurt { fill: @hurt@; font: bold 12px sans-serif }
.iron { fill: @rule@; stroke: @faint@ }
.former { fill: @window@; stroke: @faint@; stroke-width: .6 }
.copper0 { fill: @line@; fill-opacity: .28; stroke: @line@ }
.copper1 { fill: @line@; fill-opacity: .62; stroke: @line@ }
.hair { stroke: @paper@; stroke-width: .8 }
.leader { stroke: @ink@; stroke-width: .8; fill: none }
.point { fill: @now@; stroke: @paper@; stroke-width: 2 }
.farther { fill: @now@; font: bold 13px sans-serif }
.in-force .band { stroke-width: 5.4 }
.in-force .bar { stroke-width: 3; fill-opacity: .45 }
.in-force .words { font-weight: bold }
.faulty-line { stroke: @hurt@; stroke-width: 2.6; stroke-dasharray: 9 4; fill: none }
.shut { fill: @ink@ }
.may-be-shut { fill: @ink@; fill-opacity: .25 }
.still { stroke: @ink@; stroke-width: 1.4 }
.blanked { fill: @faint@; fill-opacity: .45 }
.cell .edge { fill: @paper@; stroke: @rule@ }
.cell .verdict { font-size: 11px }
.cell.left .edge { stroke: @hurt@ }
.cell.left .verdict { fill: @hurt@; font-weight: bold }
.cell .limit { stroke-width: .8; stroke-dasharray: 3 2 }
.cell .bar { stroke-width: .8 }
.cell .cross { stroke-width: 1.8 }
.cell.in-force .edge { stroke-width: 3 }
"""
# What only pictures of a log need; a page without one does not carry them.
LOG_RULES = """
.stood { fill: @line@; fill-opacity: .6; stroke: @line@; stroke-width: .8; stroke-linejoin: round }
.share { fill: @line@; fill-opacity: .8 }
.away { fill: @hurt@ }
.missing { fill: @faint@; fill-opacity: .55 }
.blank { stroke: @faint@; stroke-width: .8 }
.fine { stroke: @rule@; stroke-width: .6; stroke-dasharray: 1 2; fill: none }
.hatching { stroke: @faint@; stroke-width: 1; fill: none }
.handover { stroke: @ink@; stroke-width: .7; stroke-opacity: .6; fill: none }
.between { fill: @ink@; fill-opacity: .1 }
.beyond { stroke: @hurt@; stroke-width: 1.1; fill: none }
.day { fill: @paper@; stroke: @rule@; stroke-width: .8 }
.clear, .short, .long { pointer-events: none }
.clear { fill: @faint@ }
.short { fill: @line@ }
.long { fill: @hurt@ }
.made-up { fill: @hurt@; font: bold 11px sans-serif }
"""


# By name, for what turns a file into points has no letters where its own choice for "sans-serif" is not installed.
LETTERS = "Arial, Helvetica, 'DejaVu Sans', 'Liberation Sans', 'Noto Sans', sans-serif"


def rules(*, page: bool, text: str = RULES) -> str:
    """The rules: with the page's variables, or with colours and letters of their own."""
    text = text if page else text.replace("sans-serif", LETTERS)
    for name, colour in INKS.items():
        text = text.replace(f"@{name}@", f"var(--{name})" if page else colour)
    return text


def svg(drawing: Any, title: str, more: str = "") -> str:
    """A drawing as a document of its own, with its rules and some more in it and what it shows as its title."""
    import drawsvg

    drawing.append_css(rules(page=False, text=RULES + more))
    paper = drawsvg.Rectangle(0, 0, drawing.width, drawing.height, fill=INKS["paper"])
    drawing.elements.insert(0, paper)
    drawing.append_title(title)
    text: str = drawing.as_svg()
    return text + ("" if text.endswith("\n") else "\n")


def inside(drawing: Any, title: str, name: str, shows: str = "") -> str:
    """A drawing as part of a page: named and described for readers of the screen, as wide as there is room."""
    from html import escape

    text: str = drawing.as_svg(header="")
    begins = text.index("<svg")
    body = plainer(text[text.index(">", begins) + 1 :], RULES)
    size = f'viewBox="0 0 {drawing.width:g} {drawing.height:g}"'
    told = f'role="img" aria-label="{escape(title, quote=True)}" id="{name}"'
    if shows:
        told += f' aria-describedby="{name}-shows"'
        body = f'<desc id="{name}-shows">{escape(shows)}</desc>{body}'
    return f'<svg xmlns="http://www.w3.org/2000/svg" {size} {told}>{body}'


def hatched(drawing: Any, name: str) -> str:
    """Lets a drawing hatch areas; what fills them, by a name that is its own on the page."""
    import drawsvg

    pattern = drawsvg.Pattern(5, 5, id=name, patternTransform="rotate(45)")
    pattern.append(drawsvg.Line(0, 0, 0, 5, class_="hatching"))
    drawing.append_def(pattern)
    return f"url(#{name})"


def mark_made(drawing: Any) -> Any:
    """The same drawing, which says at its top that what it shows was made up and not measured."""
    import drawsvg

    told = drawsvg.Text("made up, not measured", 11, drawing.width - 4, 13, text_anchor="end", class_="made-up")
    drawing.append(told)
    return drawing


def number_told(count: int) -> str:
    """A count in the room of five letters: from 10,000 in thousands, then in millions and so on."""
    if count < 10_000:
        return f"{count:,}"
    for size, letter in ((10**3, "k"), (10**6, "M"), (10**9, "G")):
        if count < 1000 * size or letter == "G":
            return f"{count / size:.3g}{letter}" if count < 999.5 * size else f"{count // size}{letter}"
    return str(count)
