"""The logs of a call of `fit`: held in memory, weighed, and thresholds refined on them."""

from __future__ import annotations

import argparse
from dataclasses import replace

from tapplan.answers.refined import Refined, refined_answer
from tapplan.cli.logged import form_of, micros_of
from tapplan.cli.opened import of_file
from tapplan.cli.reply import Reply, on_screen, written
from tapplan.cli.watching import Headway, Watch, watched
from tapplan.control.table import ControlTable
from tapplan.design.edit import WrittenBand, rewritten, with_bands
from tapplan.design.file import parse
from tapplan.design.model import Design
from tapplan.errors import OutputError, UsageError, escaped
from tapplan.exact import Span
from tapplan.logs.sources import logs_in
from tapplan.rating.built import built_table
from tapplan.replay.zone import Zone
from tapplan.study.handovers import restated
from tapplan.study.recording import MOST_SAMPLES, Recording, recorded
from tapplan.study.refined import Refinement, RefiningHow, refined
from tapplan.wholefile import write_bytes

OF_A_REQUEST = ("pick", "objective", "weights", "keep", "sensitivity", "to_the_end")
KEEPS = "(Ctrl-C keeps the best so far)"


def sites_of(args: argparse.Namespace, watch: Watch) -> tuple[Recording, ...]:
    """The logs of a call in memory; of more samples than that holds, the first of each log.

    Raises:
        LogError: a log cannot be read, or has no sample.
    """
    logs = logs_in(args.log, form_of(args), args.joined)
    gap = None if args.max_gap is None else micros_of(args.max_gap)
    return tuple(recorded(one, MOST_SAMPLES // len(logs), gap, watch.stop) for one in logs)


def refinement(
    table: ControlTable, sites: tuple[Recording, ...], args: argparse.Namespace, watch: Watch
) -> Refinement:
    """The thresholds of a table refined on logs, watched."""

    def tell(followed: int) -> None:
        watch.show(Headway(followed, 0, f"{followed:,} thresholds tried on the log {KEEPS}"))

    return refined(table, sites, RefiningHow(Zone(args.zone), watch.stop, tell))


def refined_design(args: argparse.Namespace, text: str, design: Design) -> Reply:
    """The thresholds of a complete design refined on logs; with -o the design with those that are to be used.

    Raises:
        UsageError: an option asks for what only a request has.
    """
    for name in OF_A_REQUEST:
        if getattr(args, name):
            option = f"--{name.replace('_', '-')}"
            accepted = f"{option} with a request, or --log with a design alone"
            raise UsageError(f"{escaped(args.design)}: found {option} with a complete design; accepted: {accepted}")
    with of_file(args.design):
        table = built_table(design)
    with watched(args.seconds) as watch:
        found = refinement(table, sites_of(args, watch), args, watch)
    told = refined_answer(found)
    return on_screen(told, "refined") if args.output is None else _put(args, text, found, told)


def _put(args: argparse.Namespace, text: str, found: Refinement, told: Refined) -> Reply:
    """Writes the design, its bands in the order of the file and its comments kept."""
    bands = restated(found.table).bands
    made = with_bands(text, [WrittenBand(one.name, one.energised, Span(*one.hold_v)) for one in bands if one.hold_v])
    if parse(made, args.output).bands != bands:
        raise OutputError(
            f"{escaped(args.output)}: what was judged would read otherwise from a file; nothing was written"
        )
    write_bytes(args.output, rewritten(args.design, text, made), force=args.force)
    return written(replace(told, written=args.output), "\n".join([*told.told, f"wrote {escaped(args.output)}"]))
