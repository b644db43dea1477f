"""The verb `compare`: two revisions, difference by difference; 1 when anything got worse."""

from __future__ import annotations

import argparse
from dataclasses import replace

from tapplan.answers.compare import compared
from tapplan.checks.judgement import known_accepts
from tapplan.cli.opened import of_file, review_in
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan compare old.toml new.toml",)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The newer revision."""
    verb.add_argument("new", metavar="NEW", help="the newer design file")


def answer(args: argparse.Namespace) -> Reply:
    """What changed."""
    old, new = review_in(args.design), review_in(args.new)
    for path, reviewed in ((args.design, old), (args.new, new)):
        with of_file(path):
            known_accepts(reviewed.design)
    found = compared(old, new)
    return on_screen(replace(found, files=(args.design, args.new), new=args.new), "compare")
