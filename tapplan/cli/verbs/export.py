"""The verb `export`: the control table in a form that a controller, a simulator or a document takes."""

from __future__ import annotations

import argparse
from collections.abc import Iterable
from dataclasses import replace
from typing import Any

from tapplan.answers.decisions import compiled
from tapplan.answers.findings import finding_rows
from tapplan.answers.steps import steps
from tapplan.answers.table import truth_table
from tapplan.answers.text import Exported
from tapplan.answers.winding import winding_sheet
from tapplan.checks.finding import Finding
from tapplan.checks.flight import flights_of
from tapplan.checks.review import Review, review_of
from tapplan.checks.rules import findings_in
from tapplan.cli.folders import write_directory
from tapplan.cli.opened import naming, table_in
from tapplan.cli.reply import Reply, as_text, written
from tapplan.control.program import program
from tapplan.control.table import ControlTable
from tapplan.design.objection import nearest
from tapplan.errors import UsageError
from tapplan.pages import netlists
from tapplan.pages.exports import FORMS, exported
from tapplan.wholefile import write_bytes

EXPORTS = (*FORMS, "firmware", "winding", "svg", "png")
PICTURES = ("curve", "schematic", "bands", "envelope", "moves", "steps", "coil")
ENDINGS = {
    "h": "c",
    "c": "c",
    "cir": "spice",
    "sp": "spice",
    "csv": "csv",
    "md": "markdown",
    "eqn": "logic",
    "v": "verilog",
    "svg": "svg",
    "png": "png",
}
MOST_TICK_MS = 60_000  # what a call tells in 16 bits, and no stage should wait so long
EXAMPLES = (
    "tapplan export designs/ridge-dispensary.toml -o stage.h",
    "tapplan export designs/ridge-dispensary.toml --picture curve -o curve.svg",
    "tapplan export designs/signal-box.toml --to firmware -o signal-box-firmware",
)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The form, and what of the design."""
    verb.add_argument("--picture", choices=PICTURES, help="with --to svg or png: which (default curve)")
    verb.add_argument("--to", choices=EXPORTS, help="the form; left out, by the ending of -o FILE")
    verb.add_argument("--energised", metavar="K1+K2", help="with --to spice: the relays driven (default none)")
    verb.add_argument(
        "--tick-ms",
        type=_tick_ms,
        metavar="MS",
        help="with --to firmware: the longest time between two calls (default 10, or the design's shortest time)",
    )
    verb.add_argument("--name", help="with --to firmware: what its names begin with (default: from the title)")


def _tick_ms(text: str) -> int:
    if not (text.isascii() and text.isdigit() and len(text) <= 5 and 1 <= int(text) <= MOST_TICK_MS):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: whole ms from 1 to {MOST_TICK_MS}')
    return int(text)


def answer(args: argparse.Namespace) -> Reply:
    """One text, or a picture."""
    kind = _kind(args)
    table = table_in(args.design)
    if kind in ("svg", "png"):
        with naming(args.design):
            return _picture(args, table, kind)
    if kind == "decisions":
        return as_text(compiled(table), exported(table, kind))
    if kind == "winding":
        with naming(args.design):
            return _winding(args, table)
    if kind == "firmware":
        return _firmware(args, table)
    driven = _driven(args, table)
    text = netlists.spice(table.stated, table.circuit, driven) if kind == "spice" else exported(table, kind)
    return as_text(Exported(title=table.design.title, to=kind, text=text), text)


def _firmware(args: argparse.Namespace, table: ControlTable) -> Reply:
    """A directory with the controller in C, its test program and what to know of it."""
    from tapplan.checks.ticked import worse_at_ticks
    from tapplan.pages.firmware.directory import files, parts_of

    if args.output is None:
        raise UsageError("found --to firmware without -o DIRECTORY; accepted: with -o, for it is several files")
    made = program(table)
    parts = parts_of(made, tick_ms=args.tick_ms, name=args.name)
    worse = worse_at_ticks(made, parts.tick_ms)
    texts = files(replace(parts, worse=worse))
    write_directory(args.output, texts, force=args.force)
    found = Exported(title=table.design.title, to="firmware", written=args.output)
    told = [f"wrote {args.output}: {', '.join(texts)}"]
    if worse:
        told.append(f"with a call each {parts.tick_ms} ms there is found besides: {_named(worse)} (README.txt)")
    return written(found, "\n".join(told))


def _named(findings: Iterable[Finding]) -> str:
    return ", ".join(dict.fromkeys(one.code for one in findings))


def _winding(args: argparse.Namespace, table: ControlTable) -> Reply:
    """The winding sheet, as a page to print, as CSV, or in Markdown."""
    from tapplan.pages.winding import winding_csv, winding_html, winding_markdown

    sheet = winding_sheet(table)
    ending = (args.output or "").lower().rpartition(".")[2]
    form = {"html": winding_html, "csv": winding_csv}.get(ending, winding_markdown)
    return as_text(sheet, form(sheet))


def _kind(args: argparse.Namespace) -> str:
    kind: str | None = args.to or ENDINGS.get((args.output or "").lower().rpartition(".")[2])
    if kind is None:
        found = "no --to" if args.output is None else f"-o {args.output} without --to"
        raise UsageError(
            f"found {found}; accepted: --to {', '.join(EXPORTS)}, or -o FILE ending in .{', .'.join(ENDINGS)}"
        )
    if args.picture is not None and kind not in ("svg", "png"):
        raise UsageError(f"found --picture with {kind}; accepted: with --to svg or png")
    if args.energised is not None and kind != "spice":
        raise UsageError(f"found --energised with {kind}; accepted: with --to spice")
    for option, value in (("--tick-ms", args.tick_ms), ("--name", args.name)):
        if value is not None and kind != "firmware":
            raise UsageError(f"found {option} with {kind}; accepted: with --to firmware")
    return kind


def _picture(args: argparse.Namespace, table: ControlTable, kind: str) -> Reply:
    from tapplan.pictures.style import svg

    title = f"{args.picture or 'curve'}: {table.design.title}"
    text = svg(_drawn(args.picture or "curve", review_of(table)), title)
    found = Exported(title=table.design.title, to=kind)
    if kind == "svg":
        return as_text(Exported(title=table.design.title, to=kind, text=text), text)
    if args.output is None:
        raise UsageError("found --to png without -o FILE; accepted: with -o FILE, for a picture is no text")
    write_bytes(args.output, _png(text), force=args.force)
    found = Exported(title=table.design.title, to=kind, written=args.output)
    return written(found, f"wrote {args.output}")


def _drawn(picture: str, reviewed: Review) -> Any:
    """One picture of a design."""
    match picture:
        case "coil":
            from tapplan.pictures.coil import coil_picture

            return coil_picture(winding_sheet(reviewed.table).coil)
        case "schematic":
            from tapplan.pictures.schematic import schematic

            return schematic(reviewed.circuit, reviewed.circuit.state(()))
        case "envelope" | "steps":
            return _of_steps(picture, reviewed)
        case "moves":
            return _of_moves(reviewed)
    return _of_bands(picture, reviewed)


def _of_bands(picture: str, reviewed: Review) -> Any:
    """The curve with its faults, or the bands as bars."""
    from tapplan.pictures.curve import bandbars, curve
    from tapplan.pictures.faultmarks import fault_marks

    gaps = truth_table(reviewed).gap_spans
    if picture == "bands":
        return bandbars(reviewed.table, gaps)
    return curve(reviewed.table, gaps, marks=fault_marks(finding_rows(findings_in(reviewed))))


def _of_moves(reviewed: Review) -> Any:
    """Every move over time."""
    from tapplan.pictures.timeline import timelines

    flights = flights_of(reviewed)
    if not flights:
        raise UsageError("found no move of a relay; accepted: --picture curve, schematic or bands")
    return timelines(flights)


def _of_steps(picture: str, reviewed: Review) -> Any:
    """The worst sudden step, or all of them."""
    from tapplan.pictures.envelope import step_picture
    from tapplan.pictures.multiples import multiples

    found = steps(reviewed)
    if found.drawing is None:
        raise UsageError("found no sudden step that moves relays; accepted: --picture curve, schematic or bands")
    if picture == "envelope":
        return step_picture(found.drawing)
    return multiples(found, [row.name for row in reviewed.table.rows])


def _png(text: str) -> bytes:
    """A picture in points, twice as fine as its own size."""
    try:
        from resvg_py import svg_to_bytes
    except ImportError:
        raise UsageError(
            "found no resvg-py; accepted: pip install 'tapplan[pictures]' for PNG, or --to svg"
        ) from None
    return bytes(svg_to_bytes(svg_string=text, zoom=2))


def _driven(args: argparse.Namespace, table: ControlTable) -> tuple[str, ...]:
    named = tuple(part.strip() for part in (args.energised or "").split("+") if part.strip())
    for relay in named:
        if relay not in table.circuit.relays:
            hint = nearest(relay, table.circuit.relays)
            accepted = ", ".join(table.circuit.relays)
            raise UsageError(f'found relay "{relay}"; accepted: {accepted}' + (f" ({hint})" if hint else ""))
    return named
