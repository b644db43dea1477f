"""The verb `check`: the verdict on one design or several; every finding of some codes; what a code means.

1 when a promise is broken; 2 when a file of several cannot be judged, the others being told all the same.
"""

from __future__ import annotations

import argparse
import json

from tapplan.answers.checked import FileVerdict, checked, judged_file, unjudged_file
from tapplan.answers.findings import explained, findings_of
from tapplan.answers.sarif import sarif
from tapplan.answers.verdict import verdict
from tapplan.checks.review import review
from tapplan.cli.opened import of_file, review_in
from tapplan.cli.options import Excludes
from tapplan.cli.reply import Reply, as_text, on_screen
from tapplan.cli.working import reached
from tapplan.design.file import parse, read_text
from tapplan.errors import DesignError, UsageError

EXAMPLES = (
    "tapplan check designs/ridge-dispensary.toml",
    "tapplan check designs/*.toml",
    "tapplan check designs/*.toml --format sarif -o findings.sarif",
    "tapplan check mine.toml --explain chatter",
)
LAWS = (Excludes("--only", "--explain"), Excludes("--all", "--explain"), Excludes("--format sarif", "--json"))
FORMATS = ("screen", "sarif")


def arguments(verb: argparse.ArgumentParser) -> None:
    """The designs, and how much is told of them."""
    verb.add_argument("designs", nargs="+", metavar="DESIGN", help="a design file (TOML), or several")
    verb.add_argument("--all", action="store_true", help="every finding by itself, none folded into another")
    verb.add_argument("--only", metavar="CODE", action="append", help="only findings of this code; repeatable")
    verb.add_argument("--explain", metavar="CODE", help="what the code means, why it matters, how to mend it")
    verb.add_argument(
        "--format", choices=FORMATS, default="screen", help="sarif: findings at their lines, for code hosts"
    )


def answer(args: argparse.Namespace) -> Reply:
    """The verdict, or the findings asked for."""
    if args.format != "screen" or len(args.designs) > 1:
        return _several(args)
    (path,) = args.designs
    reviewed = review_in(path)
    if args.explain is not None:
        return on_screen(explained(reviewed, args.explain), "findings", "explained")
    if args.only is not None:
        return on_screen(findings_of(reviewed, args.only), "findings")
    with of_file(path):
        return on_screen(verdict(reviewed), "verdict", "everything" if args.all else "screen")


def _several(args: argparse.Namespace) -> Reply:
    for option, given in (("--only", args.only), ("--explain", args.explain)):
        if given is not None:
            raise UsageError(f"found {option} with several designs or a format; accepted: one design")
    found = checked([_judged(path, place, len(args.designs)) for place, path in enumerate(args.designs)])
    if args.format == "sarif":
        return as_text(found, json.dumps(sarif(found), indent=1) + "\n")
    return on_screen(found, "checked", "everything" if args.all else "screen")


def _judged(path: str, place: int, of: int) -> FileVerdict:
    reached(place, of, "judged")
    try:
        text = read_text(path)
        design = parse(text, path)
        with of_file(path):
            return judged_file(path, text, design, verdict(review(design)))
    except DesignError as error:
        return unjudged_file(error)
