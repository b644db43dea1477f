"""The verb `moves`: every move of the relays with its mixtures and its safest order."""

from __future__ import annotations

import argparse

from tapplan.answers.moves import moves
from tapplan.cli.opened import review_in
from tapplan.cli.reply import Reply, on_screen

EXAMPLES = ("tapplan moves designs/ridge-dispensary.toml",)


def arguments(_: argparse.ArgumentParser) -> None:
    """None of its own."""


def answer(args: argparse.Namespace) -> Reply:
    """The moves of a design."""
    return on_screen(moves(review_in(args.design)), "moves")
