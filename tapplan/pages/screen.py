"""The answers as rich renderables: tables, maps and sentences for a terminal, or for a pipe as plain text."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from rich.console import Group, RenderableType
from rich.markup import escape
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.judgement import Judgement
from tapplan.checks.traits import COUNTED
from tapplan.control.lookup import Answer, InForce, in_force, outside, row_in
from tapplan.control.table import ControlTable, Row
from tapplan.design.standards import CURVES, SUPPLIES
from tapplan.network.circuit import Circuit
from tapplan.network.states import State, way_of
from tapplan.pages import words
from tapplan.pages.bandmap import LEGEND, band_map

if TYPE_CHECKING:
    from tapplan.checks.faulted import AnyFault, FaultRow
    from tapplan.checks.remedies import Remedy


def plain_table(*columns: str, heading: str | None = None) -> Table:
    """A table without rules, its columns headed."""
    table = Table(
        title=heading, title_justify="left", title_style="bold", box=None, pad_edge=False, padding=(0, 2, 0, 0)
    )
    for column in columns:
        table.add_column(column, overflow="fold")
    return table


def headline(design_title: str, what: str) -> Text:
    """The first line of a screen: what it shows, and of which design."""
    return Text(f"{what}: {design_title}", style="bold")


def states(circuit: Circuit, rows: Iterable[tuple[State, str | None]], title: str, *, grouped: bool) -> Group:
    """Every relay state, or every distinct circuit, with its path."""
    shown = list(rows)
    symbolic = any(text is not None for _, text in shown)
    columns = ["energised", *(["makes no difference", "states"] if grouped else []), "kind", "ratio", "path"]
    table = plain_table(*columns, *(["in winding names"] if symbolic else []))
    for one, text in shown:
        found = way_of(circuit, one)
        cells = [words.relays(one.energised)]
        if grouped:
            cells += [_few(one.free), f"{one.count}"]
        cells += [one.kind.value, words.ratio(one.ratio), " ".join(found.steps) if found else "-"]
        table.add_row(*(escape(cell) for cell in cells), *([escape(text or "-")] if symbolic else []))
    total = sum(one.count for one, _ in shown)
    closing = f"{total} relay states" + (f" in {len(shown)} rows" if grouped else "")
    return Group(headline(title, "Relay states"), table, Text(closing))


def _few(names: Sequence[str], most: int = 6) -> str:
    if len(names) <= most:
        return ", ".join(names) or "-"
    return f"{', '.join(names[: most - 1])} ... {names[-1]} ({len(names)})"


def table(control: ControlTable, gaps: Sequence[Finding], width: int) -> Group:
    """The truth table, the band map under it, and the coverage gaps in words."""
    parts: list[RenderableType] = [headline(control.design.title, "Truth table")]
    parts += [_truth(control, width), *_throw_legend(control, width), Text("")]
    if control.rows:
        parts += [
            Text("\n".join(band_map(control, gaps, min(width, 110)))),
            Text(LEGEND, style="dim"),
            Text(""),
        ]
    parts.append(_gap_lines(control, gaps))
    parts += _origin(control)
    return Group(*parts)


def _truth(control: ControlTable, width: int) -> Table:
    heads, drives = _drives(control, width)
    ends = ("rising:\nin > out", "falling:\nin > out", "output,\nat worst")
    grid = plain_table("band", *map(escape, heads), "ratio", *ends)
    for column in grid.columns[-4:]:
        column.no_wrap = True
    for place, row in enumerate(control.rows):
        rising, falling = control.entries(place)
        hold = row.input_hold
        cells = [
            row.name,
            *drives[place],
            _two_line_ratio(row),
            _edge(rising, hold.high if hold else None),
            _edge(falling, hold.low if hold else None),
            f"{words.span(control.output_nominal(row))}\n{words.span(control.output_worst(row))}",
        ]
        grid.add_row(*(escape(cell) for cell in cells))
    return grid


def _drives(control: ControlTable, width: int) -> tuple[list[str], list[list[str]]]:
    """The relay columns: a word a relay where there is room, else the closed throw, else one list for all."""
    relays, rows = control.circuit.relays, control.rows
    spare = width - 51 - max([len(row.name) for row in rows], default=4)
    for widest, write in ((9, words.position), (2, words.throw)):
        if sum(max(len(relay), widest) + 2 for relay in relays) <= spare:
            return list(relays), [[write(relay, row.energised) for relay in relays] for row in rows]
    return ["energised"], [[words.relays(row.energised)] for row in rows]


def _throw_legend(control: ControlTable, width: int) -> list[RenderableType]:
    _, drives = _drives(control, width)
    shown = any({"NC", "NO"} & set(cells) for cells in drives)
    return [Text(words.THROWS, style="dim")] if shown else []


def _two_line_ratio(row: Row) -> str:
    if row.ratio is None:
        return row.state.kind.value
    return f"{row.ratio}" if row.ratio.denominator == 1 else f"{row.ratio}\n{float(row.ratio):.4f}"


def _edge(enters: Fraction | None, leaves: Fraction | None) -> str:
    first, second = ("-" if end is None else words.number(end, 1) for end in (enters, leaves))
    return f"{first} > {second}"


def _gap_lines(control: ControlTable, gaps: Sequence[Finding]) -> Text:
    mains = control.design.mains.span
    if not gaps:
        low, high = words.number(mains.low, 1), words.number(mains.high, 1)
        return Text(f"Coverage: no gap from {low} to {high} V, whatever the reading's error.")
    lines = [f"Coverage: {len(gaps)} {'gap' if len(gaps) == 1 else 'gaps'}"]
    lines += [f"  {gap.code} ({gap.where}): {gap.message}" for gap in gaps]
    return Text("\n".join(lines))


def _origin(control: ControlTable) -> list[RenderableType]:
    if not control.placed:
        return []
    what = (
        "bands chosen and thresholds placed by tapplan" if control.derived else "missing thresholds placed by tapplan"
    )
    return [Text(f"The file leaves them out: {what}.")]


def bands(control: ControlTable, gaps: Sequence[Finding]) -> Group:
    """The derived bands with the room between neighbours."""
    grid = plain_table("band", "energised", "ratio", "hold (readings, V)", "room to the next (V)")
    rooms = control.rooms
    for place, row in enumerate(control.rows):
        room = rooms[place] if place < len(rooms) else None
        cells = [
            row.name,
            words.relays(row.energised),
            words.ratio(row.ratio),
            words.span(row.hold, 3),
            "-" if room is None else words.number(room, 2),
        ]
        grid.add_row(*(escape(cell) for cell in cells))
    parts: list[RenderableType] = [
        headline(control.design.title, "Derived bands"),
        grid,
        _gap_lines(control, gaps),
    ]
    parts += _shortfalls(control)
    return Group(*parts)


def _shortfalls(control: ControlTable) -> list[RenderableType]:
    """Neighbours with less room than the hysteresis and the noise ask for."""
    lines = [
        f'  "{one.below.name}" and "{one.above.name}" have {words.number(one.room, 2)} V of room;'
        f" {words.number(one.wanted, 2)} V is wanted for hysteresis and noise"
        for one in control.shortfalls()
    ]
    heading = "No choice of states leaves all neighbours the hysteresis and noise margin asked for:"
    return [Text("\n".join([heading, *lines]))] if lines else []


_STYLE = {Severity.FAULT: "bold red", Severity.WARNING: "yellow", Severity.NOTE: "dim"}


GATHERED_AT = 4  # findings of one code beyond which they fold into one line


def findings(found: Sequence[Finding], design_title: str = "", heading: str = "Check", *, fold: bool = True) -> Group:
    """The findings, faults first; with `fold`, many warnings or notes of one code are gathered into one line."""
    counts = {severity: sum(one.severity is severity for one in found) for severity in Severity}
    told = [f"{count} {severity.value}{'s' if count != 1 else ''}" for severity, count in counts.items() if count]
    return Group(
        headline(design_title, heading) if design_title else Text(heading, style="bold"),
        *_findings(found, fold=fold),
        Text("Nothing found." if not found else ", ".join(told), style="bold"),
    )


def _findings(found: Sequence[Finding], *, fold: bool) -> list[RenderableType]:
    parts: list[RenderableType] = []
    gathered: set[str] = set()
    for one in found:
        alike = [other for other in found if other.code == one.code and other.severity is one.severity]
        if fold and one.severity is not Severity.FAULT and len(alike) > GATHERED_AT:
            if one.code not in gathered:
                gathered.add(one.code)
                places = ", ".join(other.where for other in alike[:GATHERED_AT])
                parts.append(_finding_line(one, f"{len(alike)} times, among them at {places}"))
            continue
        parts.append(_finding_line(one, f"{one.where}: {one.told}"))
    return parts


def judgement(found: Judgement, design_title: str, *, everything: bool) -> Group:
    """The verdict first, then promises, findings, traits.

    Without `everything`, promises that hold without a margin are only counted, and notes only named.
    """
    style = "bold green" if found.sound else "bold red"
    parts: list[RenderableType] = [headline(design_title, "Check"), Text(found.told, style=style)]
    parts += [_promises(found), *_no_margin(found, everything=everything)]
    shown = [one for one in found.findings if everything or one.severity is not Severity.NOTE]
    if shown:
        parts += [Text(""), *_findings(shown, fold=not everything)]
    notes = dict.fromkeys(one.code for one in found.findings if one not in shown)
    if notes:
        parts.append(Text(f"notes (--all shows them): {', '.join(notes)}", style="dim"))
    for one in found.accepted:
        parts.append(Text(f"accepted  {one.finding.code} ({one.finding.where}): {one.reason}", style="dim"))
    return Group(*parts, *_traits(found))


def _promises(found: Judgement) -> RenderableType:
    grid = plain_table("promise", "", "margin", "least at")
    for one in found.promises:
        if one.margin is not None:
            margin = f"{words.number(one.margin, 2)} V"
            grid.add_row(one.code, "held" if one.held else "BROKEN", margin, escape(one.where))
    return grid


def _no_margin(found: Judgement, *, everything: bool) -> list[RenderableType]:
    """The promises that have no margin: those broken by name, those held by name or only counted."""
    broken, held = (
        [one.code for one in found.promises if one.margin is None and one.held == kept] for kept in (False, True)
    )
    lines: list[RenderableType] = [Text(f"BROKEN: {', '.join(broken)}", style="bold red")] if broken else []
    if held:
        told = f"also held: {', '.join(held)}" if everything else f"and {len(held)} that have no margin, held"
        lines.append(Text(told))
    return lines


def _traits(found: Judgement) -> list[RenderableType]:
    """The figures, a line each; the limits only where the file states any."""
    limited = any(one.limit is not None for one in found.traits)
    grid = plain_table("trait", "at worst", *(["limit"] if limited else []), "where", "more in")
    for one in found.traits:
        lasts = "" if one.lasts_ms is None or one.unit == "ms" else f" for {float(one.lasts_ms):.3g} ms"
        limit = ["-" if one.limit is None else f"{float(one.limit):.4g}"] if limited else []
        name = f"{one.code}, {one.side}" if one.side else one.code
        plain = one.where.partition(", ")[0].removeprefix("from ") if one.side else one.where
        where = "" if one.unit in COUNTED else plain
        grid.add_row(name, f"{float(one.value):.4g} {one.unit}{lasts}", *limit, escape(where), one.verb)
    return [Text("\nWhat every such stage has", style="bold"), grid] if found.traits else []


def _finding_line(one: Finding, text: str) -> RenderableType:
    head = Text(f"{one.severity.value}  {one.code}", style=_STYLE[one.severity])
    return Group(head, Padding(Text(text), (0, 0, 0, 4)))


def explanation(code: tuple[str, str], remedy: Remedy, found: Sequence[Finding]) -> Group:
    """What a code means, why it matters, how to mend it, and where it was found in this design."""
    name, meaning = code
    lines = [f"means: {meaning}", f"why it matters: {remedy.why}", f"to mend it: {remedy.mend}"]
    where = "\n".join(f"  {one.where}: {one.told}" for one in found) or "  nowhere"
    return Group(Text(name, style="bold"), Text("\n".join(lines)), Text(f"found in this design:\n{where}"))


def at(control: ControlTable, answers: Sequence[Answer]) -> Group:
    """The bands in force at one input or several, the path and output of each."""
    grid = plain_table("line (V)", "when", "band", "energised", "output (V)", "path")
    for answer in answers:
        volts = words.number(answer.input_v)
        for one in in_force(control, answer):
            course = "always" if len(one.when) == 3 else ", ".join(one.when)
            grid.add_row(*(escape(cell) for cell in [volts, course, *_in_force(control, answer, one)]))
            volts = ""
    return Group(
        headline(control.design.title, "Relays by line voltage"),
        grid,
        Text(
            "rising: the line came up slowly from 0 V; falling: down from far above; start: switched on here",
            style="dim",
        ),
    )


def _in_force(control: ControlTable, answer: Answer, one: InForce) -> list[str]:
    row = one.row
    if row is None:
        return [f"outside: {_outside(control, one.why)}", "-", "-", "-"]
    found = way_of(control.circuit, row.state)
    output = "-" if row.ratio is None else words.number(row.ratio * answer.input_v, 1)
    return [row.name, words.relays(row.energised), output, " ".join(found.steps) if found else "-"]


def _outside(control: ControlTable, why: str | None) -> str:
    if why == "hunting":
        return "hunting, no band stays in force"
    backup = control.design.backup
    if backup is None:
        return "no band holds, and the file says nothing of it"
    return f"backup, {words.relays(backup.energised)}"


def sweep(control: ControlTable, passes: Sequence[tuple[str, Sequence[Answer]]]) -> Group:
    """One or two slow passes over a stretch of inputs, a line an input, with every change of band marked."""
    parts: list[RenderableType] = [headline(control.design.title, "Sweep")]
    for course, answers in passes:
        grid = plain_table("line (V)", "band", "energised", "output (V)", "", heading=course)
        before: Row | None = None
        for number, answer in enumerate(answers):
            found = answer.rising if course == "rising" else answer.falling
            row = row_in(control, found)
            changed = number > 0 and row != before
            before = row
            cells = [
                words.number(answer.input_v),
                row.name if row else f"outside: {_outside(control, outside(control, found))}",
                words.relays(row.energised) if row else "-",
                words.number(row.ratio * answer.input_v, 1) if row and row.ratio is not None else "-",
                "<- moved" if changed else "",
            ]
            grid.add_row(*(escape(cell) for cell in cells))
        parts += [Text(""), grid]
    return Group(*parts)


def faults(control: ControlTable, rows: Sequence[FaultRow], never: Sequence[AnyFault]) -> Group:
    """The fault table, the most harmful first; harmless rows are only counted."""
    grid = plain_table("part", "fault", "band", "then", "output (V)")
    harmful = [row for row in rows if not row.harmless]
    for row in harmful:
        effect = f"too high, {row.outcome.kind.value}" if row.too_high else row.outcome.kind.value
        cells = [row.fault.part, row.fault.fault, row.row.name, effect, words.span(row.output)]
        grid.add_row(*(escape(cell) for cell in cells))
    named = ", ".join(f"{one.part} {one.fault}" for one in never)
    return Group(
        headline(control.design.title, "Single faults"),
        grid,
        Text(f"{len(rows) - len(harmful)} more rows are harmless: the output stays inside the window."),
        Text(f"No band survives: {named or 'none, every single fault leaves at least one band in the window'}."),
    )


def caution() -> Text:
    """The words of caution that go under anything that leads a hand to a circuit."""
    return Text("\n" + words.CAUTION, style="italic")


def standards() -> Group:
    """The published supplies and tolerance curves with their sources."""
    supplies = plain_table("key", "nominal", "range", "Hz", "what", "source", "how sure")
    for one in SUPPLIES:
        low, high = (words.number(end, 1) for end in one.range_v)
        supplies.add_row(
            one.key,
            f"{words.number(one.nominal_v)} V",
            f"{low} - {high}",
            words.number(one.frequency_hz),
            escape(one.title),
            escape(one.source),
            one.seen,
        )
    curves = plain_table("key", "may rise to", "may fall to", "source", "how sure")
    for curve in CURVES:
        curves.add_row(curve.key, _corners(curve.upper), _corners(curve.lower), escape(curve.source), curve.seen)
    return Group(
        Text('Supply ranges, for [mains] standard = "KEY"', style="bold"),
        supplies,
        Text("\nTolerance curves (percent of nominal, from the time given)", style="bold"),
        curves,
        Text('"memory" and "quoted": the text of the standard was not at hand; confirm before relying on it.'),
    )


def _corners(points: Sequence[tuple[Fraction, Fraction]]) -> str:
    return "\n".join(f"{float(level):g} % from {float(time):.3g} s" for time, level in points) or "-"
