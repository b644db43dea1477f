"""The verb `rate`: what copper, iron and contacts carry; 1 when a limit of the file is broken."""

from __future__ import annotations

import argparse

from tapplan.answers.rate import rated
from tapplan.cli.opened import review_in
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan rate designs/shepherds-hut.toml",)


def arguments(_: argparse.ArgumentParser) -> None:
    """None of its own."""


def answer(args: argparse.Namespace) -> Reply:
    """The ratings of a design."""
    return on_screen(rated(review_in(args.design)), "rate")
