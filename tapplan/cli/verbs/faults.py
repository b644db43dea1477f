"""The verb `faults`: what each single fault does in each band."""

from __future__ import annotations

import argparse

from tapplan.answers.faults import faults
from tapplan.cli.opened import review_in
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan faults designs/ridge-dispensary.toml",)


def arguments(_: argparse.ArgumentParser) -> None:
    """None of its own."""


def answer(args: argparse.Namespace) -> Reply:
    """The fault table of a design."""
    return on_screen(faults(review_in(args.design)), "faults")
