"""The verb `report`: one self-contained page; 1 when a promise is broken. Watched, it is served until Ctrl-C: 0."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path
from typing import TYPE_CHECKING

from tapplan.answers.page import Page
from tapplan.answers.text import Plain
from tapplan.answers.verdict import verdict
from tapplan.checks.review import Review
from tapplan.cli.logged import HOW_READ, log_arguments
from tapplan.cli.opened import of_file, review_in
from tapplan.cli.options import Excludes, Needs
from tapplan.cli.reply import Reply, as_text, written
from tapplan.cli.values import port, span_s
from tapplan.errors import UsageError, escaped
from tapplan.pages.report import report

if TYPE_CHECKING:
    from tapplan.pages.measured import Measured

EXAMPLES = (
    "tapplan report designs/ridge-dispensary.toml -o report.html",
    "tapplan report designs/ridge-dispensary.toml --log designs/logs/household-2007-01.csv.gz -o report.html",
    "tapplan report mine.toml --watch --open",
)
LAWS = (
    *(Needs(option, "--log") for option in ("--max-gap", *HOW_READ)),
    *(Needs(option, "--watch") for option in ("--port", "--open")),
    *(Excludes("--watch", option) for option in ("--json", "--force")),
)


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
    group = verb.add_argument_group("a page that follows the design file while it is edited")
    group.add_argument(
        "--watch",
        action="store_true",
        help="serve the page to this machine's own browser, and make it anew whenever the file is saved",
    )
    group.add_argument("--port", type=port, metavar="N", help="where; left out, a port that is free")
    group.add_argument("--open", action="store_true", help="open it in the browser")


def answer(args: argparse.Namespace) -> Reply:
    """The page of a design; nothing to be shown once a watch has ended."""
    if args.watch:
        return _watched(args)
    if args.output is None and not args.json and sys.stdout.isatty():
        raise UsageError("found a terminal, which shows no page; accepted: -o FILE.html, or a pipe")
    reviewed = review_in(args.design)
    older = None if args.compare is None else review_in(args.compare)
    with of_file(args.design):
        told = _page(args, reviewed, older)
    return as_text(told, told.text)


def _page(args: argparse.Namespace, reviewed: Review, older: Review | None) -> Page:
    """The page, and what it says.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    logged = _logged(args, reviewed, older)
    found, page = verdict(reviewed), report(reviewed, older, logged)
    return Page(title=found.title, verdict=found, replay=None if logged is None else logged.answer, text=page)


def _watched(args: argparse.Namespace) -> Reply:
    """The page served until Ctrl-C.

    Raises:
        UsageError: the call asks for a file as well, the design is none, or what serves is not installed.
    """
    if args.output is not None:
        raise UsageError("found --watch with -o; accepted: one of them")
    for path in (args.design, args.compare):
        if path is not None and Path(path).exists() and not Path(path).is_file():
            raise UsageError(
                f"{escaped(path)}: found no ordinary file, which nobody can save; accepted: a file for --watch"
            )
    try:
        from tapplan.cli.loopback.desk import DeskFiles
        from tapplan.cli.loopback.session import watch  # its libraries are an extra
    except ModuleNotFoundError as error:
        missing = (error.name or "").partition(".")[0]
        if missing not in ("tornado", "watchfiles"):
            raise
        raise UsageError(f"found no {missing}; accepted: pip install 'tapplan[watch]' for --watch") from None
    files = DeskFiles(args.design, args.compare)
    watch(files, lambda reviewed, older: _page(args, reviewed, older).text, args.port or 0, browser=args.open)
    return written(Plain(), f"no longer watching {escaped(args.design)}")


def _logged(args: argparse.Namespace, reviewed: Review, older: Review | None) -> Measured | None:
    """What the logs of the call come to; None without any."""
    if args.log is None:
        return None
    from tapplan.cli.measured import measured  # a report without logs needs none of it

    return measured(args, [one.table for one in (reviewed, older) if one is not None])
