"""The verb `at`: the bands in force at one input, at several, or along a sweep."""

from __future__ import annotations

import argparse

from tapplan.answers.at import relays_at
from tapplan.cli.opened import table_in
from tapplan.cli.options import Needs
from tapplan.cli.reply import Reply, on_screen
from tapplan.cli.values import sweep, volts
from tapplan.errors import UsageError

EXAMPLES = (
    "tapplan at designs/ridge-dispensary.toml 190 230",
    "tapplan at designs/ridge-dispensary.toml --sweep 160:280:5 --both-ways",
)
LAWS = (Needs("--both-ways", "--sweep"),)


def arguments(verb: argparse.ArgumentParser) -> None:
    """The inputs."""
    verb.add_argument("volts", nargs="*", type=volts, metavar="VOLTS", help="true line volts")
    verb.add_argument("--sweep", type=sweep, metavar="FROM:TO:STEP", help="a slow pass over a stretch of inputs")
    verb.add_argument("--both-ways", action="store_true", help="with --sweep: there and back")


def answer(args: argparse.Namespace) -> Reply:
    """What is in force there."""
    if args.sweep is None and not args.volts:
        raise UsageError("found no voltage; accepted: at DESIGN VOLTS..., or --sweep FROM:TO:STEP")
    if args.sweep is not None and args.volts:
        raise UsageError("found both VOLTS and --sweep; accepted: one of them")
    table = table_in(args.design)
    if args.sweep is None:
        return on_screen(relays_at(table, args.volts), "at")
    from tapplan.answers.sweep import swept, swept_both_ways  # not what is asked at the bench, in a hurry

    return on_screen((swept_both_ways if args.both_ways else swept)(table, args.sweep), "sweep")
