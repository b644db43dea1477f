"""The verb `isolate`: from readings to the faults that explain them; 1 when a healthy stage does not."""

from __future__ import annotations

import argparse
import sys
from functools import partial

from tapplan.answers.isolate import isolated, with_empty
from tapplan.answers.plan import BenchPlan, bench_plan
from tapplan.answers.tree import grown
from tapplan.bench.dictionary import Setup
from tapplan.bench.filled import load_sheet
from tapplan.bench.isolation import Isolation
from tapplan.bench.priors import load_priors
from tapplan.bench.readings import reading_of
from tapplan.bench.session import load_session
from tapplan.cli.apart import is_same
from tapplan.cli.dialogue import Dialogue, Session
from tapplan.cli.meters import add_meter, meter_of
from tapplan.cli.opened import table_in
from tapplan.cli.options import Excludes, Needs
from tapplan.cli.output import write_whole
from tapplan.cli.reply import Reply, as_text, on_screen
from tapplan.cli.working import MEASURED, reached
from tapplan.errors import UsageError, visible
from tapplan.pages.plan import plan_html

EXAMPLES = (
    "tapplan isolate designs/ridge-dispensary.toml --reading 'line 200 V rising: output = 226'",
    "tapplan isolate designs/ridge-dispensary.toml --ask --save bench.txt",
)
LAWS = (
    Excludes("--ask", "--json"),
    Excludes("--tree", "--pairs"),
    Excludes("--tree", "--ask"),
    Excludes("--tree", "--plan"),
    Excludes("--plan", "--ask"),
    Excludes("--plan", "--pairs"),
    Needs("--save", "--ask"),
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
    verb.add_argument(
        "--any-revision", action="store_true", help="take a sheet or session of another revision of the design"
    )
    verb.add_argument("--ask", action="store_true", help="ask for one measurement after the other")
    verb.add_argument("--save", metavar="FILE", help="with --ask: write the session to FILE after every answer")
    verb.add_argument(
        "--resume",
        metavar="FILE",
        help="go on with a session that --save wrote; with --ask it is kept up in that file",
    )
    verb.add_argument(
        "--plan", action="store_true", help="a plan for one page: what to measure in which order, and what it means"
    )
    verb.add_argument("--tree", action="store_true", help="the whole decision tree, for a bench without a computer")
    verb.add_argument("--pairs", action="store_true", help="think of two faults at once as well")
    verb.add_argument("--priors", metavar="FILE", help="how often each fault is met (TOML: stuck-rest = 5)")
    add_meter(verb)


def answer(args: argparse.Namespace) -> Reply:
    """What the readings say, or the whole tree."""
    if args.any_revision and args.sheet is None and args.resume is None:
        raise UsageError("found --any-revision alone; accepted: together with --sheet or --resume")
    table = table_in(args.design)
    priors = {} if args.priors is None else load_priors(args.priors, table)
    isolation = Isolation(table, Setup(meter_of(args), priors, args.pairs, partial(reached, what=MEASURED)))
    session, title = Session(isolation, table), table.design.title
    empty = _take(args, session)
    if args.ask:
        save = args.resume if args.save is None else args.save  # what was resumed is kept up, unless told otherwise
        if save is not None:  # at once: a file that cannot be written is told before an hour of measuring
            again = args.resume is not None and is_same(save, args.resume)
            write_whole(save, session.text(), force=args.force or again)
        Dialogue(session, save).run()
    if args.plan:
        return _planned(bench_plan(isolation, title), args.output)
    if args.tree:
        return on_screen(grown(isolation, title), "isolate", "tree")
    return on_screen(with_empty(isolated(isolation, title), empty), "isolate")


def _planned(found: BenchPlan, output: str | None) -> Reply:
    """The plan, as a page to print where the file's name asks for one."""
    if output is not None and output.lower().endswith((".html", ".htm")):
        return as_text(found, plan_html(found))
    return on_screen(found, "isolate", "plan")


def _take(args: argparse.Namespace, session: Session) -> int | None:
    """Takes what was saved, then the sheet, then the readings of the call; how many cells of the sheet were empty."""
    if args.resume is not None:
        for deed in load_session(args.resume, session.table, any_revision=args.any_revision):
            session.do(deed)
    empty = None
    if args.sheet is not None:
        sheet = load_sheet(args.sheet, session.table, any_revision=args.any_revision)
        empty = sheet.empty
        for problem in sheet.refused:
            sys.stderr.write(f"{visible(' '.join(problem.told(args.sheet).splitlines()))}\n")
        for one in sheet.readings:
            session.do(one.reading)
    for text in args.reading or ():
        session.do(reading_of(text, session.names))
    return empty
