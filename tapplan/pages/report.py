"""The report: one page that needs nothing else, for reviewers, repairers and printers alike."""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from fractions import Fraction
from html import escape
from importlib.resources import files
from string import Template
from typing import Any

from tapplan.checks.coverage import gaps as coverage_gaps
from tapplan.checks.coverage import inputs_of
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.judgement import Judgement
from tapplan.checks.margins import margins, sharings
from tapplan.checks.marks import mark_of
from tapplan.checks.review import Review
from tapplan.control.table import Row
from tapplan.design.fingerprint import fingerprint
from tapplan.exact import Span
from tapplan.pages import words
from tapplan.pages.live import live
from tapplan.pictures.curve import bandbars, curve
from tapplan.pictures.schematic import schematic
from tapplan.pictures.style import inside, rules
from tapplan.version import __version__

Cells = Sequence[str]


def report(review: Review, found: Judgement, older: Review | None = None) -> str:
    """The page for a design and the verdict on it; with an older revision, the differences first."""
    title = escape(review.design.title)
    parts = [
        f"<h1>{title}</h1><p class='faint'>Design {fingerprint(review.design)}, tapplan {__version__}</p>",
        f"<p class='caution'>{escape(words.CAUTION)}</p>",
        _verdict(review, found),
        _pictures(review, found.findings),
        _truth(review),
        _promises(found),
        _findings(found.findings),
        _traits(found),
        _margins(review),
        _moves(review),
        _steps(review),
        _ratings(review),
        _budget(review),
        _faults(review),
    ]
    if older is not None:
        parts.insert(2, differences(older, review))
    return (
        f'<!DOCTYPE html>\n<html lang="en"><head><meta charset="utf-8"><title>{title}</title>'
        '<meta name="viewport" content="width=device-width, initial-scale=1">'
        f"<style>{_static('report.css')}{rules(page=True)}</style></head><body><main>{''.join(parts)}</main>"
        f'<script type="application/json" id="table-data">{_data(review)}</script>'
        f"<script>{_static('report.js')}</script></body></html>\n"
    )


def _static(name: str) -> str:
    return (files("tapplan.pages") / "static" / name).read_text(encoding="utf-8")


def _data(review: Review) -> str:
    """The page's own data: nothing in it can end the element it stands in."""
    return json.dumps(live(review)).replace("<", "\\u003c").replace("&", "\\u0026")


def differences(older: Review, review: Review) -> str:
    """What changed since an older revision: the curves one over the other, then difference by difference."""
    from tapplan.checks.comparison import compared_reviews

    found = compared_reviews(older, review)
    promises = [
        (one.key, words.span(one.old), words.span(one.new), "less" if one.worse else "no less")
        for one in found.promises
    ]
    bands = [
        (one.name, one.change, *("-" if row is None else _band_told(row) for row in (one.old, one.new)))
        for one in found.bands
    ]
    margins_won = [
        (one.what, words.number(one.old_v), words.number(one.new_v), words.number(one.won_v)) for one in found.margins
    ]
    changed = [("gained", one) for one in found.gained] + [("lost", one) for one in found.lost]
    changed += [("worse" if one.worse else "changed", one.new) for one in found.grown]
    rows = [(what, one.severity.value, one.code, one.where, one.told) for what, one in changed]
    tables = [
        _table(("promise", "was", "is", "promised"), promises, "Promises") if promises else "",
        _table(("band", "change", "was", "is"), bands, "Bands") if bands else "",
        _table(("margin", "was (V)", "is (V)", "won (V)"), margins_won, "Margins") if margins_won else "",
        _table(("", "severity", "code", "where", "what"), rows, "Findings") if rows else "",
    ]
    verdict = "Something got worse." if found.worse else "Nothing got worse."
    drawing = inside(curve(review.table, gap_spans(review), older.table), "Both revisions' curves", "curves")
    picture = _figure(drawing, "Solid: this revision; dashed thin lines: the older one.")
    since = f"since {fingerprint(older.design)}: {older.design.title}"
    return f"<h2>Differences {escape(since)}</h2><p><strong>{verdict}</strong></p>{picture}{''.join(tables)}"


def _band_told(row: Row) -> str:
    return f"{words.span(row.hold)} V, {words.relays(row.energised)}, {words.ratio(row.ratio)}"


def _table(heads: Cells, rows: Iterable[Cells], caption: str = "") -> str:
    told = "".join(f'<th scope="col">{escape(head)}</th>' for head in heads)
    body = "".join("<tr>" + "".join(f"<td>{escape(cell)}</td>" for cell in row) + "</tr>" for row in rows)
    title = f"<caption>{escape(caption)}</caption>" if caption else ""
    frame = (
        '<div class="wide" tabindex="0" role="group" aria-label="' + escape(caption or heads[0], quote=True) + '">'
    )
    return f"{frame}<table>{title}<thead><tr>{told}</tr></thead><tbody>{body}</tbody></table></div>"


def _verdict(review: Review, found: Judgement) -> str:
    """What is promised, whether it holds, what there is to mend."""
    mains, window = review.design.mains.span, review.window
    counts = {severity: sum(one.severity is severity for one in found.findings) for severity in Severity}
    mend = [f"{count} {severity.value}{'s' if count != 1 else ''}" for severity, count in counts.items() if count]
    cards = [
        ("Promised", f"{words.span(window)} V out for {words.span(mains)} V in", False),
        ("Verdict", found.told, not found.sound),
        ("Findings", ", ".join(mend) or "none", bool(counts[Severity.FAULT])),
    ]
    told = "".join(
        f"<li{' class=bad' if bad else ''}>{name}<strong>{escape(text)}</strong></li>" for name, text, bad in cards
    )
    return f'<ul class="verdict">{told}</ul>'


def gap_spans(review: Review) -> list[Span]:
    """The inputs that no band covers."""
    return [inputs_of(one) for one in coverage_gaps(review)]


def fault_marks(found: Sequence[Finding]) -> list[tuple[Fraction, Fraction, str]]:
    """Where on the curve faults stand: those whose witness has an input and an output."""
    faults = [one for one in found if one.severity is Severity.FAULT]
    marks = [(mark_of(one.witness), one.code) for one in faults]
    return [(mark.input_v, mark.output_v, code) for mark, code in marks if mark is not None]


def _pictures(review: Review, found: Sequence[Finding]) -> str:
    """The schematic with the slider, the curve and the bands; without a script the same, all coils off."""
    circuit, gaps, data = review.circuit, gap_spans(review), live(review)
    count = f"{len(circuit.sections)} windings, {len(circuit.relays)} relays, {len(circuit.contacts)} contacts"
    drawn = schematic(circuit, circuit.state(()))
    return Template(_static("live.html")).substitute(
        least=data["from"],
        most=data["to"],
        at=data["at"],
        schematic=inside(drawn, f"Schematic: {count}; its paths stand in the truth table", "schematic"),
        curve=inside(
            curve(review.table, gaps, marks=fault_marks(found)),
            "Output against input; its values stand in the truth table, its faults among the findings",
            "curve",
        ),
        bands=inside(bandbars(review.table, gaps), "The inputs that keep each band, as in the truth table", "bands"),
    )


def _truth(review: Review) -> str:
    table = review.table
    relays = review.circuit.relays
    heads = [
        "band",
        *relays,
        "ratio",
        "holds (V)",
        "in from below",
        "in from above",
        "output (V)",
        "worst (V)",
        "path",
    ]
    rows = []
    for place, row in enumerate(table.rows):
        rising, falling = (None if end is None else words.number(end) for end in table.entries(place))
        way = " ".join(_path(review, row.energised))
        cells = [row.name, *(words.position(relay, row.energised) for relay in relays), words.ratio(row.ratio)]
        cells += [words.span(row.hold), rising or "-", falling or "-"]
        rows.append([*cells, words.span(table.output_nominal(row)), words.span(table.output_worst(row)), way])
    return "<h2>Truth table</h2>" + _table(heads, rows)


def _path(review: Review, energised: tuple[str, ...]) -> tuple[str, ...]:
    from tapplan.network.paths import way

    found = way(review.circuit, review.circuit.state(energised))
    return () if found is None else found.steps


def _promises(found: Judgement) -> str:
    rows = [
        (
            one.code,
            "held" if one.held else "broken",
            "-" if one.margin is None else words.number(one.margin),
            one.where or "-",
        )
        for one in found.promises
    ]
    return "<h2>Promises</h2>" + _table(("promise", "", "margin (V)", "least at"), rows)


def _traits(found: Judgement) -> str:
    rows = [
        (
            one.code,
            f"{float(one.value):.4g} {one.unit}",
            "-" if one.lasts_ms is None else f"{float(one.lasts_ms):.3g}",
            "-" if one.limit is None else f"{float(one.limit):.4g}",
            one.where,
        )
        for one in found.traits
    ]
    heads = ("trait", "at worst", "lasts (ms)", "limit", "where")
    return "<h2>What every such stage has</h2>" + (_table(heads, rows) if rows else "<p>Nothing moves.</p>")


def _findings(found: Sequence[Finding]) -> str:
    rows = [(one.severity.value, one.code, one.where, one.told) for one in found]
    body = _table(("severity", "code", "where", "what"), rows) if rows else "<p>Nothing found.</p>"
    return f"<h2>Findings</h2>{body}"


def _margins(review: Review) -> str:
    rows = [
        (
            one.row.name,
            one.end,
            words.number(one.input_v),
            words.number(one.output_v),
            words.number(one.limit_v),
            words.number(one.margin_v),
        )
        for one in margins(review)
    ]
    heads = ("band", "end", "worst input (V)", "output (V)", "limit (V)", "margin (V)")
    shared = [
        (f"{one.below.name} to {one.above.name}", words.number(one.overlap_v), words.number(one.noise_v))
        for one in sharings(review)
    ]
    overlaps = _table(("neighbours", "overlap (V)", "of it noise (V)"), shared) if shared else ""
    return "<h2>Margins at the worst corner</h2>" + _table(heads, rows) + overlaps


def _moves(review: Review) -> str:
    from tapplan.checks.flight import flights_of

    rows = []
    for one in flights_of(review):
        order = "any" if one.best is None else ", then ".join(one.best.relays)
        met = [words.ratio(ratio) for ratio in (min(one.met, default=None), max(one.met, default=None))]
        rows.append((one.move.name, order, *met, f"{one.shorts}", f"{float(one.gap_ms):g}"))
    heads = ("move", "safest order", "lowest ratio met", "highest", "shorted mixtures", "gap (ms)")
    return "<h2>Moves of the relays</h2>" + (_table(heads, rows) if rows else "<p>No relay moves.</p>")


def _steps(review: Review) -> str:
    from tapplan.checks.aftermath import named
    from tapplan.checks.recovery import curve_of, verdicts, worst_each

    against = curve_of(review)
    found = worst_each(verdicts(review, against))
    rows = [
        (
            named(review, one.response.start),
            words.span(one.response.line),
            ", ".join(named(review, row) for row in one.response.entered) or "-",
            words.number(one.response.settled_ms),
            one.side,
            "kept" if one.kept else "left",
        )
        for one in found
    ]
    heads = ("from band", "line steps to (V)", "bands entered", "settled after (ms)", "side", "curve")
    drawing = worst_envelope(review)
    told = "The worst sudden step against the curve; its figures stand in the table below"
    picture = "" if drawing is None else _figure(inside(drawing, told, "envelope"), ENVELOPE)
    return f"<h2>Sudden steps against {escape(against.key)}</h2>{picture}" + _table(heads, rows)


ENVELOPE = (
    "The worst step. Bars: what the output can be, phase by phase, each at its latest; dashed: what the curve "
    "tolerates at that time. 100 % is nominal."
)


def _figure(picture: str, caption: str) -> str:
    frame = f'<div class="wide" tabindex="0" role="group" aria-label="Picture">{picture}</div>'
    return f"<figure>{frame}<figcaption>{escape(caption)}</figcaption></figure>"


def worst_envelope(review: Review) -> Any:
    """The picture of the worst sudden step against the design's curve; None where no step moves relays."""
    from tapplan.checks.recovery import curve_of, drawn_at_worst, verdicts, worst_each, worst_of
    from tapplan.pictures.envelope import envelope

    against = curve_of(review)
    found = worst_each(verdicts(review, against))
    if not found:
        return None
    return envelope(*drawn_at_worst(review, worst_of(found)), against, review.design.output.nominal_v)


def _ratings(review: Review) -> str:
    """What windings and contacts carry at worst."""
    from tapplan.rating.rated import ratings

    found = ratings(review.table)
    sections = [
        (one.name, _figure_of(one.amperes, 3), "-" if one.at is None else one.at.name, _figure_of(one.live_v, 0))
        for one in found.sections
    ]
    contacts = [
        (one.label, _figure_of(one.amperes, 2), _figure_of(one.gap.volts, 1), one.gap.where or "-")
        for one in found.contacts
    ]
    windings = _table(("winding", "current (A)", "in", "live to (V)"), sections, "Windings, each at its worst")
    heads = ("contact", "current (A)", "gap (V)", "gap in")
    return "<h2>Ratings</h2>" + windings + _table(heads, contacts, "Contacts, each at its worst")


def _figure_of(value: float | None, digits: int) -> str:
    return "-" if value is None or value != value else f"{value:.{digits}f}"


def _budget(review: Review) -> str:
    """What the reading can err by, part by part, where the file describes the controller."""
    from tapplan.checks.budget import budget

    controller = review.design.controller
    if controller is None:
        return ""
    found = budget(review.table, controller)
    rows = [(one.name, words.number(100 * one.worst, 4), one.formula) for one in found.lines]
    rows.append(("all at their worst", words.number(100 * found.worst, 4), "one after the other"))
    return "<h2>Error budget of the reading</h2>" + _table(("part", "worst (%)", "how"), rows)


def _faults(review: Review) -> str:
    from tapplan.checks.faulted import fault_table

    rows = [
        (
            one.fault.part,
            one.fault.fault,
            one.row.name,
            "away" if one.away else one.outcome.kind.value,
            words.span(one.output),
            "note" if one.harmless else "warning",
        )
        for one in fault_table(review)
    ]
    heads = ("part", "fault", "band", "then", "output (V)", "severity")
    return "<h2>Single faults, the most harmful first</h2>" + _table(heads, rows)
