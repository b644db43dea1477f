"""The verb `report`: one self-contained page; 1 when a promise is broken."""

from __future__ import annotations

import argparse
import sys
from typing import TYPE_CHECKING

from tapplan.answers.page import Page
from tapplan.answers.verdict import verdict
from tapplan.checks.review import Review
from tapplan.cli.logged import log_arguments
from tapplan.cli.opened import of_file, review_in
from tapplan.cli.options import Needs
from tapplan.cli.reply import Reply, as_text
from tapplan.cli.values import span_s
from tapplan.errors import UsageError
from tapplan.pages.report import report

if TYPE_CHECKING:
    from tapplan.pages.measured import Measured

EXAMPLES = (
    "tapplan report designs/ridge-dispensary.toml -o report.html",
    "tapplan report designs/ridge-dispensary.toml --log designs/logs/household-2007-01.csv.gz -o report.html",
)
OF_LOGS = (
    "--max-gap",
    "--time",
    "--column",
    "--unit",
    "--scale",
    "--epoch",
    "--dates",
    "--zone",
    "--step",
    "--delimiter",
    "--decimal",
)
LAWS = tuple(Needs(option, "--log") for option in OF_LOGS)


def arguments(verb: argparse.ArgumentParser) -> None:
    """What to compare with, and the logs."""
    verb.add_argument("--compare", metavar="OLD", help="an older revision: its differences first, curves overlaid")
    verb.add_argument(
        "--log",
        nargs="+",
        action="extend",
        metavar="LOG",
        help="measured mains: what the stage would have made of it",
    )
    verb.add_argument("--max-gap", type=span_s, metavar="S", help="longer steps are gaps; left out, 3 usual steps")
    log_arguments(verb)


def answer(args: argparse.Namespace) -> Reply:
    """The page of a design."""
    if args.output is None and not args.json and sys.stdout.isatty():
        raise UsageError("found a terminal, which shows no page; accepted: -o FILE.html, or a pipe")
    reviewed = review_in(args.design)
    older = None if args.compare is None else review_in(args.compare)
    logged = _logged(args, reviewed, older)
    with of_file(args.design):
        found = verdict(reviewed)
        page = report(reviewed, older, logged)
    told = Page(title=found.title, verdict=found, replay=None if logged is None else logged.answer, text=page)
    return as_text(told, page)


def _logged(args: argparse.Namespace, reviewed: Review, older: Review | None) -> Measured | None:
    """What the logs of the call come to; None without any."""
    if args.log is None:
        return None
    from tapplan.cli.measured import measured  # a report without logs needs none of it

    return measured(args, [one.table for one in (reviewed, older) if one is not None])
