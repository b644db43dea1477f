"""The verb `steps`: every sudden step against a tolerance curve."""

from __future__ import annotations

import argparse

from tapplan.answers.steps import steps
from tapplan.cli.opened import review_in
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan steps designs/ridge-dispensary.toml --curve semi-f47",)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The curve."""
    verb.add_argument("--curve", metavar="KEY", help='a curve that "tapplan standards" lists')


def answer(args: argparse.Namespace) -> Reply:
    """The steps of a design."""
    return on_screen(steps(review_in(args.design), args.curve), "steps")
