"""The verbs of the bench: `isolate` and `bench`. Like the others they return a reply and print nothing."""

from __future__ import annotations

import argparse
import sys
from fractions import Fraction
from typing import TYPE_CHECKING

from tapplan.bench.defects import HEALTHY
from tapplan.bench.dictionary import Setup
from tapplan.bench.filled import load_plain, load_sheet
from tapplan.bench.heights import KnownWinding
from tapplan.bench.isolation import Diagnosis, Isolation
from tapplan.bench.meter import Meter
from tapplan.bench.priors import load_priors
from tapplan.bench.readings import Names, ReadingError, reading_of
from tapplan.bench.words import told
from tapplan.cli.opened import table_in
from tapplan.cli.output import write_whole
from tapplan.cli.reply import Reply, cautioned
from tapplan.control.table import ControlTable
from tapplan.design.file import load_frame, parse
from tapplan.errors import UsageError
from tapplan.pages import isolations
from tapplan.pages.words import CAUTION

if TYPE_CHECKING:
    from rich.console import RenderableType

STOP_WORDS = ("stop", "quit", "exit", "")


def isolate(args: argparse.Namespace) -> Reply:
    """From readings to the faults that explain them; 1 when a healthy stage does not."""
    if args.ask and args.json:
        raise UsageError("found --ask with --json; accepted: one of them")
    table = table_in(args.design)
    priors = {} if args.priors is None else load_priors(args.priors, table)
    isolation = Isolation(table, Setup(_meter(args), priors, args.pairs))
    left_empty = _take(args, isolation, table)
    if args.ask:
        _dialogue(isolation, table)
    found = isolation.diagnosis()
    if args.tree:
        return _tree(args, isolation, found, table.design.title)
    answer = isolations.verdict(found, isolation.readings) | {"caution": CAUTION}
    if left_empty is not None:
        answer |= {"cells_empty": left_empty}

    def draw(_: int) -> RenderableType:
        from tapplan.pages import isolation_screen

        return cautioned(isolation_screen.verdict(table.design.title, found, (isolation.readings, left_empty)))

    return Reply(answer, draw, int(_broken(found)))


def _meter(args: argparse.Namespace) -> Meter:
    return Meter(args.meter_pct, args.meter_v, args.meter_ohm_pct, args.meter_ohm)


def _broken(found: Diagnosis) -> bool:
    """Whether the readings say that something is wrong: a healthy stage does not explain them."""
    return not any(HEALTHY in group.members for group in found.groups)


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


def _tree(args: argparse.Namespace, isolation: Isolation, found: Diagnosis, title: str) -> Reply:
    from tapplan.bench.tree import tree

    if args.pairs:
        raise UsageError("found --tree with --pairs; accepted: one of them")
    if found.conflict:
        raise UsageError("found readings that contradict each other; accepted: --tree with readings that do not")
    made = tree(isolation)

    def draw(_: int) -> RenderableType:
        from tapplan.pages import isolation_screen

        return cautioned(isolation_screen.tree(title, made))

    return Reply({"tree": isolations.tree(made), "caution": CAUTION}, draw, int(_broken(found)))


def _dialogue(isolation: Isolation, table: ControlTable) -> None:
    """Asks for the next measurement as long as one tells, and for another answer where one means nothing."""
    from tapplan.cli.output import show
    from tapplan.pages import isolation_screen

    show(lambda _: f"{CAUTION}\n\nAnswer with a value or unknown; stop, or nothing, ends.\n")
    while (found := isolation.diagnosis()).next is not None:
        step = found.next
        show(lambda _, found=found: isolation_screen.asking(found))  # type: ignore[misc]
        while True:
            sys.stdout.write("reading: ")
            sys.stdout.flush()
            answer = sys.stdin.readline()
            if answer.strip().lower() in STOP_WORDS:
                return
            try:
                isolation.add(reading_of(f"{told(step.entry.measure)} = {answer.strip()}", Names.of(table)))
                break
            except ReadingError as error:
                sys.stdout.write(f"found {error.found}; accepted: {error.accepted}\n")


def bench(args: argparse.Namespace) -> Reply:
    """The test sheet of a design."""
    from tapplan.bench.sheet import sheet
    from tapplan.pages import sheets

    if args.learn is not None:
        return _learn(args)
    if args.test_winding is not None:
        raise UsageError("found --test-winding alone; accepted: together with --learn FILE")
    made = sheet(table_in(args.design), _meter(args))
    makers = {"csv": sheets.as_csv, "markdown": sheets.as_markdown, "html": sheets.as_html}
    answer = sheets.as_json(made) | {"caution": CAUTION}
    kind = args.to or _kind(args.output)
    if kind in makers:
        return Reply(answer, lambda _: makers[kind](made))

    def draw(_: int) -> RenderableType:
        from tapplan.pages import sheet_screen

        return cautioned(sheet_screen.sheet(made))

    return Reply(answer, draw)


def _kind(output: str | None) -> str:
    """What a file's name asks for."""
    ending = "" if output is None else output.lower().rpartition(".")[2]
    return {"csv": "csv", "md": "markdown", "html": "html", "htm": "html"}.get(ending, "screen")


def _learn(args: argparse.Namespace) -> Reply:
    """The wiring that explains readings of continuity and ratio; 1 when none does, or more than one."""
    from tapplan.bench.learned import learned, stage_of
    from tapplan.design.edit import with_stage
    from tapplan.pages import lessons

    text, frame = load_frame(args.design)
    ends = frame.terminals
    sheet = load_plain(args.learn, Names(None, None, (), (ends.output, ends.neutral)))
    found = learned(frame, [one.reading for one in sheet.readings], _meter(args), _test_winding(args))
    answer = lessons.learned(found) | {"caution": CAUTION}

    def draw(_: int) -> RenderableType:
        from tapplan.pages import lesson_screen

        return cautioned(lesson_screen.learned(frame.title, found))

    code = int(not found.settled)
    if args.output is None or args.json:
        return Reply(answer, draw, code)
    if not found.contacts.wirings or found.turns is None or found.clashes:
        raise UsageError(f"{args.learn}: found no whole wiring, so nothing was written; see the answer without -o")
    header = lessons.header(found, args.learn)
    made = with_stage(text, stage_of(frame, found), header)
    parse(made, args.output)  # never write what does not read
    write_whole(args.output, made, force=args.force)
    return Reply(answer | {"written": args.output}, lambda _: f"wrote {args.output}", code, written=True)


def _test_winding(args: argparse.Namespace) -> KnownWinding | None:
    if args.test_winding is None:
        return None
    one, two, text = args.test_winding
    count = int(text) if text.isascii() and text.isdigit() and len(text) <= 5 else 0
    if not count or one == two:
        raise UsageError(f'found --test-winding {one} {two} "{text}"; accepted: two points and whole turns above 0')
    return KnownWinding(one, two, Fraction(count))
