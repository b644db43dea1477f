"""The error of the meter, as options of the verbs of the bench."""

from __future__ import annotations

import argparse
from fractions import Fraction

from tapplan.bench.meter import Meter
from tapplan.cli.values import error_part


def add_meter(verb: argparse.ArgumentParser) -> None:
    """Adds the four parts of the error."""
    for option, default, what in (
        ("--meter-pct", Fraction(2), "error of the meter in percent of volts (default 2)"),
        ("--meter-v", Fraction(1), "and in volts (default 1; on a small source a fiftieth)"),
        ("--meter-ohm-pct", Fraction(5), "its error in percent of ohms (default 5)"),
        ("--meter-ohm", Fraction(1, 2), "and in ohms, with the leads (default 0.5)"),
    ):
        verb.add_argument(option, type=error_part, default=default, metavar="E", help=what)


def meter_of(args: argparse.Namespace) -> Meter:
    """The meter of a call."""
    return Meter(args.meter_pct, args.meter_v, args.meter_ohm_pct, args.meter_ohm)
