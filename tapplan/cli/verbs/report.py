"""The verb `report`: one self-contained page; 1 when a promise is broken."""

from __future__ import annotations

import argparse
import sys

from tapplan.answers.text import Page
from tapplan.answers.verdict import verdict
from tapplan.cli.opened import of_file, review_in
from tapplan.cli.reply import Reply, as_text
from tapplan.errors import UsageError
from tapplan.pages.report import report

EXAMPLES = ("tapplan report designs/ridge-dispensary.toml -o report.html",)


def arguments(verb: argparse.ArgumentParser) -> None:
    """What to compare with."""
    verb.add_argument("--compare", metavar="OLD", help="an older revision: its differences first, curves overlaid")


def answer(args: argparse.Namespace) -> Reply:
    """The page of a design."""
    if args.output is None and not args.json and sys.stdout.isatty():
        raise UsageError("found a terminal, which shows no page; accepted: -o FILE.html, or a pipe")
    reviewed = review_in(args.design)
    older = None if args.compare is None else review_in(args.compare)
    with of_file(args.design):
        found = verdict(reviewed)
        page = report(reviewed, older)
    return as_text(Page(title=found.title, verdict=found, text=page), page)
