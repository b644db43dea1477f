"""The verb `export`: the control table in a form that a controller, a simulator or a document takes."""

from __future__ import annotations

import argparse
import json
from collections.abc import Sequence
from typing import Any

from tapplan.checks.review import Review
from tapplan.cli.arguments import EXPORTS
from tapplan.cli.opened import of_file, review_in, table_in
from tapplan.cli.output import write_bytes
from tapplan.cli.reply import Reply
from tapplan.control.commands import commands
from tapplan.control.decisions import decisions
from tapplan.control.equations import equations
from tapplan.control.moves import Mixtures, move_between, transitions
from tapplan.control.program import program
from tapplan.control.standing import Change
from tapplan.control.table import ControlTable
from tapplan.design.sense import nearest
from tapplan.errors import UsageError
from tapplan.pages import answers, firmware, netlists, tables
from tapplan.pages.words import CAUTION

ENDINGS = {
    "h": "c",
    "c": "c",
    "cir": "spice",
    "sp": "spice",
    "csv": "csv",
    "md": "markdown",
    "eqn": "logic",
    "svg": "svg",
    "png": "png",
}


def export(args: argparse.Namespace) -> Reply:
    """One text; with --json under the key `text`."""
    if args.picture is not None and args.to not in (None, "svg", "png"):
        raise UsageError(f"found --picture with {args.to}; accepted: with --to svg or png")
    kind = args.to or ENDINGS.get((args.output or "").lower().rpartition(".")[2])
    if kind is None:
        raise UsageError(
            f"found no --to; accepted: {', '.join(EXPORTS)}, or -o FILE ending in .{', .'.join(ENDINGS)}"
        )
    if args.energised is not None and kind != "spice":
        raise UsageError(f"found --energised with {kind}; accepted: with --to spice")
    table = table_in(args.design)
    if kind in ("svg", "png"):
        return _picture(args, table, kind)
    if kind == "decisions":
        return _decisions(table)
    text = _text(kind, table, _driven(args, table))
    return Reply({"to": kind, "text": text, "caution": CAUTION}, lambda _: text)


def _text(kind: str, table: ControlTable, driven: tuple[str, ...]) -> str:
    match kind:
        case "c":
            return firmware.c_header(program(table))
        case "logic":
            made = program(table)
            return firmware.logic(equations(made), made)
        case "vectors":
            return firmware.vectors(program(table))
        case "spice":
            return netlists.spice(table.design, table.circuit, driven)
        case "csv":
            return tables.as_csv(table)
        case _:
            return tables.as_markdown(table)


def _decisions(table: ControlTable) -> Reply:
    """The compiled controller; the same on the screen and for scripts."""
    made, mixtures = decisions(table), Mixtures(table.circuit)
    orders: dict[Change, Sequence[str]] = {}
    for change in transitions(made):
        given = commands(table, mixtures, move_between(table, change.start, change.end))
        if given.ordered:
            orders[change] = given.order
    found = firmware.decisions_json(made, orders)
    return Reply({"to": "decisions"} | found | {"caution": CAUTION}, lambda _: json.dumps(found, indent=1) + "\n")


def _picture(args: argparse.Namespace, table: ControlTable, kind: str) -> Reply:
    from tapplan.checks.review import review_of
    from tapplan.pictures.style import svg

    title = f"{args.picture or 'curve'}: {table.design.title}"
    text = svg(drawn(args.picture or "curve", review_of(table)), title)
    if kind == "svg":
        return Reply({"to": kind, "text": text, "caution": CAUTION}, lambda _: text)
    if args.output is None:
        raise UsageError("found --to png without -o FILE; accepted: with -o FILE, for a picture is no text")
    write_bytes(args.output, png(text), force=args.force)
    told = f"wrote {args.output}"
    return Reply({"to": kind, "written": args.output, "caution": CAUTION}, lambda _: told, written=True)


def drawn(picture: str, reviewed: Review) -> Any:
    """One picture of a design."""
    from tapplan.pages.report import gap_spans, worst_envelope
    from tapplan.pictures.curve import bandbars, curve
    from tapplan.pictures.schematic import schematic

    if picture == "schematic":
        return schematic(reviewed.circuit, reviewed.circuit.state(()))
    if picture == "envelope":
        found = worst_envelope(reviewed)
        if found is None:
            raise UsageError("found no sudden step that moves relays; accepted: --picture curve, schematic or bands")
        return found
    return (curve if picture == "curve" else bandbars)(reviewed.table, gap_spans(reviewed))


def png(text: str) -> bytes:
    """A picture in points, twice as fine as its own size."""
    try:
        from resvg_py import svg_to_bytes
    except ImportError:
        raise UsageError(
            "found no resvg-py; accepted: pip install 'tapplan[pictures]' for PNG, or --to svg"
        ) from None
    return bytes(svg_to_bytes(svg_string=text, zoom=2))


def report(args: argparse.Namespace) -> Reply:
    """One self-contained page; 1 when a fault is found."""
    from tapplan.checks.judgement import judged
    from tapplan.pages.report import report as page

    reviewed = review_in(args.design)
    with of_file(args.design):
        found = judged(reviewed)
    older = None if args.compare is None else review_in(args.compare)
    text = page(reviewed, found, older)
    return Reply(answers.judgement(found) | {"text": text, "caution": CAUTION}, lambda _: text, int(not found.sound))


def _driven(args: argparse.Namespace, table: ControlTable) -> tuple[str, ...]:
    named = tuple(part.strip() for part in (args.energised or "").split("+") if part.strip())
    for relay in named:
        if relay not in table.circuit.relays:
            hint = nearest(relay, table.circuit.relays)
            accepted = ", ".join(table.circuit.relays)
            raise UsageError(f'found relay "{relay}"; accepted: {accepted}' + (f" ({hint})" if hint else ""))
    return named
