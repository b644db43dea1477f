"""The verb `bands`: the bands tapplan would choose, or the file's own with their missing thresholds placed."""

from __future__ import annotations

import argparse
from dataclasses import dataclass, replace

from tapplan.answers.bands import Bands, bands_of, derived
from tapplan.checks.review import Review
from tapplan.cli.opened import of_file
from tapplan.cli.options import Needs
from tapplan.cli.reply import Reply, on_screen, written
from tapplan.design.edit import WrittenBand, rewritten, with_bands, with_order
from tapplan.design.file import parse, read_text
from tapplan.design.model import Design
from tapplan.errors import UsageError, escaped
from tapplan.wholefile import write_bytes

EXAMPLES = (
    "tapplan bands designs/ridge-dispensary.toml",
    "tapplan bands mine.toml --write --order safest",
)
LAWS = (Needs("--order", "--write"),)


def arguments(verb: argparse.ArgumentParser) -> None:
    """Whether, and how, they are written."""
    verb.add_argument(
        "--write",
        action="store_true",
        help="put them into the design file (or, with -o, into a copy of it); refused where the table would have "
        "faults, unless with --force",
    )
    verb.add_argument(
        "--order",
        choices=("together", "safest"),
        help="with --write: how a move's relays are commanded, as [sequence]",
    )


def answer(args: argparse.Namespace) -> Reply:
    """The bands, shown or written."""
    text = read_text(args.design)
    design = parse(text, args.design)
    with of_file(args.design):
        reviewed = derived(design)
    found = bands_of(reviewed)
    return _written(args, _Edit(text, design, reviewed), found) if args.write else on_screen(found, "bands")


@dataclass(frozen=True, slots=True)
class _Edit:
    """A design file as it stands, and its bands reviewed."""

    text: str
    design: Design
    reviewed: Review


def _written(args: argparse.Namespace, edit: _Edit, found: Bands) -> Reply:
    if found.table_faults and not args.force:
        codes = ", ".join(found.table_faults)
        raise UsageError(
            f"{escaped(args.design)}: with these bands the table has faults ({codes}), so nothing was written; "
            "accepted: --force to write them all the same"
        )
    target = args.output or args.design
    made = with_bands(edit.text, [WrittenBand(row.band, row.energised, row.hold_v) for row in found.bands])
    if args.order is not None:
        made = with_order(made, args.order)
    parse(made, target)  # never replace a person's file by one that does not read
    write_bytes(target, rewritten(args.design, edit.text, made), force=args.output is None or args.force)
    return written(replace(found, written=target), _told(args, edit, replace(found, written=target)))


def _told(args: argparse.Namespace, edit: _Edit, found: Bands) -> str:
    design, target = edit.design, escaped(found.written or "")
    told = f"wrote {len(edit.reviewed.table.rows)} bands into {target}"
    if design.bands:
        told += f", in place of the {len(design.bands)} that were there"
    several = any(move.chosen and len(move.movers) > 1 for move in edit.reviewed.moves)
    if args.order is None and design.sequence.order == "together" and several:
        told += (
            "\nSome moves change several relays at once; --order safest commands them one after the other, see: moves"
        )
    others = [code for code in found.fault_codes if code not in found.table_faults]
    if others:
        told += f"\nFaults that no threshold mends are left: {', '.join(others)}; see: tapplan check {target}"
    for short in found.shortfalls:
        told += f"\nThe states leave no room for all that is wanted: {short.told}"
    return told
