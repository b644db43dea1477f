"""The verb `margins`: the proof under tolerance; 1 when a promise is broken."""

from __future__ import annotations

import argparse

from tapplan.answers.margins import margins, with_samples
from tapplan.cli.opened import review_in
from tapplan.cli.options import Needs
from tapplan.cli.reply import Reply, on_screen
from tapplan.cli.values import samples, seed

EXAMPLES = (
    "tapplan margins designs/ridge-dispensary.toml",
    "tapplan margins designs/ridge-dispensary.toml --samples 100000",
)
LAWS = (Needs("--seed", "--samples"),)


def arguments(verb: argparse.ArgumentParser) -> None:
    """Random draws beside the worst case."""
    verb.add_argument("--samples", type=samples, metavar="N", help="beside it, N random draws: the likely case")
    verb.add_argument("--seed", type=seed, metavar="K", help="with --samples: another set of draws (default 1)")


def answer(args: argparse.Namespace) -> Reply:
    """The margins of a design."""
    reviewed = review_in(args.design)
    found = margins(reviewed)
    if args.samples is not None:
        found = with_samples(found, reviewed, args.samples, 1 if args.seed is None else args.seed)
    return on_screen(found, "margins")
