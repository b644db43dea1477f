"""The options that say how logs are read, for every verb that takes some."""

from __future__ import annotations

import argparse
from fractions import Fraction

from tapplan.cli.values import factor, span_s
from tapplan.logs.form import DATE_ORDERS, EPOCHS, VOLTS_OF, LogForm

MICROS = 1_000_000
HOW_READ = (  # what `log_arguments` adds; each means nothing without a log
    "--time",
    "--column",
    "--unit",
    "--scale",
    "--epoch",
    "--dates",
    "--zone",
    "--step",
    "--delimiter",
    "--decimal",
)


def log_arguments(verb: argparse.ArgumentParser) -> None:
    """What a log does not say of itself."""
    group = verb.add_argument_group("how the logs are read, where they do not show it")
    group.add_argument("--time", metavar="NAME", help="the column of times, by name or number; Date+Time for two")
    group.add_argument("--column", metavar="NAME", help="the column of volts, by name or number")
    group.add_argument("--unit", choices=tuple(VOLTS_OF), help="the unit of its numbers; left out, V")
    group.add_argument("--scale", type=factor, metavar="N", help="what they are multiplied by, as for a divider")
    group.add_argument("--epoch", choices=EPOCHS, help="the unit of times that are plain numbers")
    group.add_argument("--dates", choices=DATE_ORDERS, help="the order in dates like 05/06/2024")
    group.add_argument("--zone", metavar="NAME", help="the zone of times without one, such as Europe/Paris")
    group.add_argument("--step", type=span_s, metavar="S", help="logs without times: seconds from row to row")
    group.add_argument("--delimiter", metavar="CHARACTER", help="what parts the columns")
    group.add_argument("--decimal", choices=(".", ","), help="the decimal sign")


def form_of(args: argparse.Namespace) -> LogForm:
    """The form that a call states.

    Raises:
        LogError: two of its values do not go together.
    """
    return LogForm(
        time=args.time,
        column=args.column,
        unit=args.unit,
        scale=args.scale or Fraction(1),
        epoch=args.epoch,
        dates=args.dates,
        zone=args.zone,
        step_us=None if args.step is None else micros_of(args.step),
        delimiter=args.delimiter,
        decimal=args.decimal,
    )


def micros_of(seconds: Fraction) -> int:
    """Whole microseconds, a part of one rounded up."""
    return -(-seconds.numerator * MICROS // seconds.denominator)
