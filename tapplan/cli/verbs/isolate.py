"""The verb `isolate`: from readings to the faults that explain them; 1 when a healthy stage does not."""

from __future__ import annotations

import argparse
import sys
from functools import partial
from typing import TYPE_CHECKING

from tapplan.answers.isolate import Isolated, grown, isolated, with_empty
from tapplan.answers.words import CAUTION
from tapplan.bench.dictionary import Setup
from tapplan.bench.filled import load_sheet
from tapplan.bench.isolation import Isolation
from tapplan.bench.priors import load_priors
from tapplan.bench.readings import Names, ReadingError, reading_of
from tapplan.cli.meters import add_meter, meter_of
from tapplan.cli.opened import table_in
from tapplan.cli.options import Excludes, Needs
from tapplan.cli.output import show
from tapplan.cli.reply import Reply, on_screen
from tapplan.control.table import ControlTable
from tapplan.errors import UsageError

if TYPE_CHECKING:
    from rich.console import RenderableType

STOP_WORDS = ("stop", "quit", "exit", "")
EXAMPLES = (
    "tapplan isolate designs/ridge-dispensary.toml --reading 'line 200 V rising: output = 226'",
    "tapplan isolate designs/ridge-dispensary.toml --ask",
)
LAWS = (
    Excludes("--ask", "--json"),
    Excludes("--tree", "--pairs"),
    Excludes("--tree", "--ask"),
    Needs("--any-revision", "--sheet"),
)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The readings, the meter, and how to think."""
    verb.add_argument(
        "--reading",
        action="append",
        metavar="TEXT",
        help="one reading, such as 'line 203 V rising: output = 231' or 'off coils K1: ohms K1.com K1.no = open'; "
        "repeatable",
    )
    verb.add_argument("--sheet", metavar="FILE", help="the readings of a filled sheet (CSV, from bench)")
    verb.add_argument("--any-revision", action="store_true", help="take a sheet of another revision of the design")
    verb.add_argument("--ask", action="store_true", help="ask for one measurement after the other")
    verb.add_argument("--tree", action="store_true", help="the whole plan, for a bench without a computer")
    verb.add_argument("--pairs", action="store_true", help="think of two faults at once as well")
    verb.add_argument("--priors", metavar="FILE", help="how often each fault is met (TOML: stuck-rest = 5)")
    add_meter(verb)


def answer(args: argparse.Namespace) -> Reply:
    """What the readings say, or the whole tree."""
    table = table_in(args.design)
    priors = {} if args.priors is None else load_priors(args.priors, table)
    isolation = Isolation(table, Setup(meter_of(args), priors, args.pairs))
    empty, title = _take(args, isolation, table), table.design.title
    if args.ask:
        _dialogue(isolation, table)
    if not args.tree:
        return on_screen(with_empty(isolated(isolation, title), empty), "isolate")
    if isolation.diagnosis().conflict:
        raise UsageError("found readings that contradict each other; accepted: --tree with readings that do not")
    return on_screen(grown(isolation, title), "isolate", "tree")


def _take(args: argparse.Namespace, isolation: Isolation, table: ControlTable) -> int | None:
    """Adds the readings of the sheet and of the call; how many cells of the sheet were empty."""
    empty = None
    if args.sheet is not None:
        sheet = load_sheet(args.sheet, table, any_revision=args.any_revision)
        empty = sheet.empty
        for one in sheet.readings:
            isolation.add(one.reading)
    for text in args.reading or ():
        isolation.add(reading_of(text, Names.of(table)))
    return empty


def _dialogue(isolation: Isolation, table: ControlTable) -> None:
    """Asks for the next measurement as long as one tells."""
    show(lambda _: f"{CAUTION}\n\nAnswer with a value or unknown; stop, or nothing, ends.\n")
    while (found := isolated(isolation, table.design.title)).next is not None:
        show(partial(_asking, found))
        if not _answered(isolation, table, f"{found.next.condition}: {found.next.measure}"):
            return


def _asking(found: Isolated, _: int) -> RenderableType:
    from tapplan.pages.screens.isolate import asking

    return asking(found)


def _answered(isolation: Isolation, table: ControlTable, asked: str) -> bool:
    """Takes one reading, asking again for what means nothing; False when nobody goes on."""
    while True:
        sys.stdout.write("reading: ")
        sys.stdout.flush()
        given = sys.stdin.readline().strip()
        if given.lower() in STOP_WORDS:
            return False
        try:
            isolation.add(reading_of(f"{asked} = {given}", Names.of(table)))
        except ReadingError as error:
            sys.stdout.write(f"found {error.found}; accepted: {error.accepted}\n")
        else:
            return True
