"""The verb `table`: the truth table with its coverage gaps; a gap is a fault."""

from __future__ import annotations

import argparse

from tapplan.answers.table import truth_table
from tapplan.cli.opened import review_in
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan table designs/ridge-dispensary.toml",)


def arguments(_: argparse.ArgumentParser) -> None:
    """None of its own."""


def answer(args: argparse.Namespace) -> Reply:
    """The table of a design."""
    return on_screen(truth_table(review_in(args.design)), "table")
