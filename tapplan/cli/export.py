"""The verb `export`: the control table in a form that a controller, a simulator or a document takes."""

from __future__ import annotations

import argparse

from tapplan.cli.arguments import EXPORTS
from tapplan.cli.reply import Reply
from tapplan.control.equations import equations
from tapplan.control.program import program
from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import load
from tapplan.design.sense import nearest
from tapplan.errors import UsageError
from tapplan.pages import firmware, netlists, tables
from tapplan.pages.words import CAUTION

ENDINGS = {"h": "c", "c": "c", "cir": "spice", "sp": "spice", "csv": "csv", "md": "markdown", "eqn": "logic"}


def export(args: argparse.Namespace) -> Reply:
    """One text; with --json under the key `text`."""
    kind = args.to or ENDINGS.get((args.output or "").lower().rpartition(".")[2])
    if kind is None:
        raise UsageError(
            f"found no --to; accepted: {', '.join(EXPORTS)}, or -o FILE ending in .{', .'.join(ENDINGS)}"
        )
    if args.energised is not None and kind != "spice":
        raise UsageError(f"found --energised with {kind}; accepted: with --to spice")
    table = control_table(load(args.design))
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


def _driven(args: argparse.Namespace, table: ControlTable) -> tuple[str, ...]:
    named = tuple(part.strip() for part in (args.energised or "").split("+") if part.strip())
    for relay in named:
        if relay not in table.circuit.relays:
            hint = nearest(relay, table.circuit.relays)
            accepted = ", ".join(table.circuit.relays)
            raise UsageError(f'found relay "{relay}"; accepted: {accepted}' + (f" ({hint})" if hint else ""))
    return named
