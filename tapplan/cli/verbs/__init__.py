"""The verbs: one module each, with its arguments and its answer.

A module of this package has `EXAMPLES` (calls for `--help`), `arguments(parser)` and `answer(args) -> Reply`, and
`LAWS` where options do not go together; it is imported when its verb is called, so that no verb waits for what
another needs. None prints its answer; a dialogue talks, and a design file that is made or changed the verb writes.
"""

from __future__ import annotations

import argparse
from importlib import import_module
from typing import Protocol, cast

from tapplan.cli.reply import Reply

# In the order of --help: the verb, and what it answers.
VERBS = {
    "new": "a commented starting file; FILE is written, else it is printed",
    "states": "every relay state: path, turns, exact ratio, kind",
    "bands": "the bands derived from the states, with hysteresis",
    "table": "the truth table, and under it the coverage gaps",
    "check": "the verdict: promises with their margins, findings, and what every stage has",
    "at": "which relays should be energised at a line voltage, which path, what output",
    "faults": "what each single fault does in each band, the most harmful first",
    "isolate": "from readings to the faults that explain them, and what to measure next",
    "bench": "a test sheet: cautions, continuity, ratios, rising and falling sweep",
    "fit": "tap turns, wiring and bands for a mains range, from a request with [fit]",
    "rate": "currents, flux, wire, losses, contacts, feeds: what every part carries at worst",
    "margins": "the worst corner of every promise, what eats it, how far each may grow",
    "steps": "what the load sees after a sudden change of the line, against a tolerance curve",
    "moves": "every move of the relays: what it can pass through, and the safest order",
    "trace": "made-up mains voltage, seeded and marked as made, for demos and tests",
    "replay": "a voltage log through the controller: moves, time in band, time outside, contact life",
    "compare": "two revisions, difference by difference; exit 1 when anything got worse",
    "report": "one page with everything: pictures, live table, findings, proofs (-o FILE.html)",
    "export": "the table for others: C, logic, SPICE, test vectors, CSV, Markdown, pictures",
    "standards": "the published supply ranges and tolerance curves known, with sources",
    "schema": "the JSON Schema of the design file",
    "guide": "the documents that come with tapplan: tours, the design file, findings, method, limits",
    "completion": "a script that lets the shell complete tapplan's words",
}
WITHOUT_DESIGN = ("new", "trace", "standards", "schema", "guide", "completion")


class Verb(Protocol):
    """What the module of a verb has."""

    EXAMPLES: tuple[str, ...]

    def arguments(self, verb: argparse.ArgumentParser) -> None:
        """Adds its own arguments to its parser."""

    def answer(self, args: argparse.Namespace) -> Reply:
        """The answer to a call."""


def verb_of(name: str) -> Verb:
    """The module of a verb."""
    return cast(Verb, import_module(f"tapplan.cli.verbs.{name}"))
