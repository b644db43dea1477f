"""The verb `bench`: the test sheet of a design, or the wiring from readings of continuity and ratio."""

from __future__ import annotations

import argparse
from dataclasses import replace
from fractions import Fraction
from functools import partial

from tapplan.answers.learn import header, lesson
from tapplan.answers.sheet import bench_sheet
from tapplan.bench.asking import next_reading
from tapplan.bench.filled import load_plain
from tapplan.bench.heights import KnownWinding
from tapplan.bench.learned import learned, stage_of
from tapplan.bench.phrase import Names
from tapplan.cli.meters import add_meter, meter_of
from tapplan.cli.opened import table_in
from tapplan.cli.options import Excludes, Needs
from tapplan.cli.output import write_whole
from tapplan.cli.reply import Reply, as_text, on_screen, written
from tapplan.cli.working import MEASURED, reached
from tapplan.design.edit import with_stage
from tapplan.design.file import load_frame, parse
from tapplan.errors import UsageError, escaped
from tapplan.pages.documents import sheet_csv, sheet_html, sheet_markdown

MAKERS = {"csv": sheet_csv, "markdown": sheet_markdown, "html": sheet_html}
ENDINGS = {"csv": "csv", "md": "markdown", "html": "html", "htm": "html"}
EXAMPLES = (
    "tapplan bench designs/ridge-dispensary.toml -o sheet.html",
    "tapplan bench board.toml --learn readings.csv -o learned.toml",
)
LAWS = (Needs("--test-winding", "--learn"), Excludes("--learn", "--to"))


def arguments(verb: argparse.ArgumentParser) -> None:
    """The form of the sheet, and what to learn from."""
    verb.add_argument("--to", choices=("screen", *MAKERS), help="the form; left out, by the ending of -o FILE")
    verb.add_argument(
        "--learn",
        metavar="FILE",
        help="find the wiring again from readings (CSV: condition, measure, reading); DESIGN needs no winding "
        "or relay then, and -o writes the design file",
    )
    verb.add_argument(
        "--test-winding",
        nargs=3,
        metavar=("A", "B", "TURNS"),
        help="with --learn: a winding of known turns put on the core, between two points of the readings",
    )
    add_meter(verb)


def answer(args: argparse.Namespace) -> Reply:
    """The sheet in the form asked for, or the wiring."""
    if args.learn is not None:
        return _learn(args)
    kind = args.to or _kind(args.output)
    found = bench_sheet(table_in(args.design), meter_of(args), partial(reached, what=MEASURED))
    if kind in MAKERS:
        return as_text(found, MAKERS[kind](found))
    return on_screen(found, "sheet")


def _kind(output: str | None) -> str:
    """The form that a file's ending asks for; of what has none, or is a text, the screen's."""
    ending = "" if output is None else output.lower().rpartition("/")[2].partition(".")[2].rpartition(".")[2]
    if ending not in ("", "txt", "json", *ENDINGS):
        raise UsageError(
            f"found -o {escaped(output or '')}; "
            f"accepted: a file ending in .{', .'.join(ENDINGS)} or .txt, or --to FORM"
        )
    return ENDINGS.get(ending, "screen")


def _learn(args: argparse.Namespace) -> Reply:
    """The wiring that explains the readings, and the reading to take next; 1 when anything is open."""
    frame = load_frame(args.design)
    ends = frame.design.terminals
    sheet = load_plain(args.learn, Names(None, None, (), (ends.output, ends.neutral)))
    readings, meter = [one.reading for one in sheet.readings], meter_of(args)
    found = learned(frame.design, readings, meter, _test_winding(args))
    told = lesson(found, frame.design.title, next_reading(frame.design, readings, meter, found))
    if args.output is None or args.json:
        return on_screen(told, "learn")
    if not found.contacts.wirings or found.turns is None or found.clashes:
        raise UsageError(
            f"{escaped(args.learn)}: found no whole wiring, so nothing was written; see the answer without -o"
        )
    made = with_stage(frame.text, stage_of(frame.design, found), header(found, args.learn))
    parse(made, args.output)  # never write what does not read
    write_whole(args.output, made, force=args.force)
    return written(replace(told, written=args.output), f"wrote {escaped(args.output)}")


def _test_winding(args: argparse.Namespace) -> KnownWinding | None:
    if args.test_winding is None:
        return None
    one, two, text = args.test_winding
    count = int(text) if text.isascii() and text.isdigit() and len(text) <= 5 else 0
    if not count or one == two:
        raise UsageError(f'found --test-winding {one} {two} "{text}"; accepted: two points and whole turns above 0')
    return KnownWinding(one, two, Fraction(count))
