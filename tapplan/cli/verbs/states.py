"""The verb `states`: every relay state, or every distinct circuit."""

from __future__ import annotations

import argparse

from tapplan.answers.states import groups_of, in_winding_names, read_twice, states_of
from tapplan.cli.opened import naming
from tapplan.cli.reply import Reply, on_screen
from tapplan.design.file import load

EXAMPLES = ("tapplan states designs/ridge-dispensary.toml --symbolic",)


def arguments(verb: argparse.ArgumentParser) -> None:
    """How the rows are made."""
    verb.add_argument("--grouped", action="store_true", help="one row a distinct circuit, for many relays")
    verb.add_argument("--read-twice", action="store_true", help="each row once more, by the walks of a graph library")
    verb.add_argument("--symbolic", action="store_true", help="the ratio in winding names as well")


def answer(args: argparse.Namespace) -> Reply:
    """The states of a design."""
    design = load(args.design)
    with naming(args.design):
        found = groups_of(design) if args.grouped else states_of(design)
    found = read_twice(design, found) if args.read_twice else found
    return on_screen(in_winding_names(design, found) if args.symbolic else found, "states")
