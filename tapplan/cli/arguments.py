"""The verbs, their arguments and options, as argparse sees them."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from tapplan.design.model import OBJECTIVES
from tapplan.design.numbers import read_number

EXPORTS = ("c", "decisions", "logic", "spice", "vectors", "csv", "markdown", "svg", "png")
PICTURES = ("curve", "schematic", "bands", "envelope")
MOST_SWEEP_POINTS = 20_000
MOST_SAMPLES = 10_000_000


def volts(text: str) -> Fraction:
    """A voltage from the command line, exact."""
    try:
        value = read_number(Decimal(text)) if text.isascii() and "_" not in text else None
    except InvalidOperation:
        value = None
    if value is None or value < 0:
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: volts from 0 to 1e9, such as 230 or 187.5')
    return value


def sweep(text: str) -> tuple[Fraction, ...]:
    """A sweep FROM:TO:STEP as its inputs, both ends included where the step reaches them."""
    accepted = "accepted: FROM:TO:STEP in volts, such as 150:280:5, the step above 0"
    parts = text.split(":")
    if len(parts) != 3:
        raise argparse.ArgumentTypeError(f'found "{text}"; {accepted}')
    first, last, step = (volts(part) for part in parts)
    if step == 0:
        raise argparse.ArgumentTypeError(f"found a step of 0; {accepted}")
    count = int(abs(last - first) / step) + 1
    if count > MOST_SWEEP_POINTS:
        raise argparse.ArgumentTypeError(f"found {count} points; accepted: at most {MOST_SWEEP_POINTS}")
    sign = 1 if last >= first else -1
    return tuple(first + sign * step * number for number in range(count))


def samples(text: str) -> int:
    """A number of random draws."""
    accepted = f"accepted: a whole number from 1 to {MOST_SAMPLES}"
    if not (text.isascii() and text.isdigit() and len(text) <= 9 and 1 <= int(text) <= MOST_SAMPLES):
        raise argparse.ArgumentTypeError(f'found "{text}"; {accepted}')
    return int(text)


def error_part(text: str) -> Fraction:
    """A part of a meter's error, above nought."""
    try:
        value = read_number(Decimal(text)) if text.isascii() and "_" not in text else None
    except InvalidOperation:
        value = None
    if value is None or not 0 < value < 100:
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a number above 0 and below 100, such as 1.5')
    return value


def pick(text: str) -> int:
    """The number of a plan in the list, from 1."""
    if not (text.isascii() and text.isdigit() and len(text) <= 4 and int(text) >= 1):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: the number of a plan, from 1')
    return int(text)


def seconds(text: str) -> float:
    """A time to search, in seconds."""
    found = int(text) if text.isascii() and text.isdigit() and len(text) <= 6 else 0
    if not found:
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: whole seconds above 0, such as 30')
    return float(found)


def seed(text: str) -> int:
    """The seed of random draws."""
    if not (text.isascii() and text.isdigit() and len(text) <= 18):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a whole number of at most 18 digits')
    return int(text)


def parsed(version: str, arguments: Sequence[str]) -> argparse.Namespace:
    """The call as argparse reads it, operands allowed after options as well; exits with 2 when it is wrong."""
    top = parser(version)
    args, left = top.parse_known_args(arguments)
    left = [word for word in left if word != "--"]
    if left and args.verb == "at":
        try:
            args.volts += [volts(word) for word in left]
        except argparse.ArgumentTypeError as error:
            top.error(f"argument VOLTS: {error}")
    elif left and args.verb == "new" and args.design is None and len(left) == 1 and left[0][0] != "-":
        args.design = left[0]
    elif left:
        top.error(f"found {' '.join(left)}; accepted: what tapplan {args.verb} --help lists")
    return args


def parser(version: str) -> argparse.ArgumentParser:
    """The whole command line."""
    top = argparse.ArgumentParser(
        prog="tapplan",
        description="From turns, taps and relay wiring of a tapped autotransformer to a table you can trust.",
        epilog="Exit: 0 nothing wrong found, 1 at least one fault found, 2 the input or the call is wrong.",
        allow_abbrev=False,
    )
    top.add_argument("--version", action="version", version=f"tapplan {version}")
    verbs = top.add_subparsers(dest="verb", required=True, metavar="VERB")

    new = _verb(verbs, "new", "a commented starting file; FILE is written, else it is printed", design=False)
    new.add_argument("design", nargs="?", metavar="FILE", help="the file to write")

    states = _verb(verbs, "states", "every relay state: path, turns, exact ratio, kind")
    states.add_argument("--grouped", action="store_true", help="one row a distinct circuit, for many relays")
    states.add_argument("--symbolic", action="store_true", help="the ratio in winding names as well")

    bands = _verb(verbs, "bands", "the bands derived from the states, with hysteresis")
    bands.add_argument(
        "--write", action="store_true", help="put them into the design file (or, with -o, into a copy of it)"
    )

    bands.add_argument(
        "--order",
        choices=("together", "safest"),
        help="with --write: how a move's relays are commanded, as [sequence]",
    )
    _verb(verbs, "table", "the truth table, and under it the coverage gaps")
    check = _verb(verbs, "check", "the verdict: promises with their margins, findings, and what every stage has")
    check.add_argument("--all", action="store_true", help="every finding by itself, none folded into another")
    check.add_argument("--only", metavar="CODE", action="append", help="only findings of this code; repeatable")
    check.add_argument("--explain", metavar="CODE", help="what the code means, why it matters, how to mend it")

    at = _verb(verbs, "at", "which relays should be energised at a line voltage, which path, what output")
    at.add_argument("volts", nargs="*", type=volts, metavar="VOLTS", help="true line volts")
    at.add_argument("--sweep", type=sweep, metavar="FROM:TO:STEP", help="a slow pass over a stretch of inputs")
    at.add_argument("--both-ways", action="store_true", help="with --sweep: there and back")

    _verb(verbs, "faults", "what each single fault does in each band, the most harmful first")
    _add_bench(verbs)
    fit = _verb(verbs, "fit", "tap turns, wiring and bands for a mains range, from a request with [fit]")
    fit.add_argument("--pick", type=pick, metavar="N", help="plan N as a design file (shown, or with -o written)")
    fit.add_argument("--objective", choices=OBJECTIVES, help="what to have best, in place of the request's")
    fit.add_argument("--weights", metavar="FILE", help="measured mains: lines of volts and weight, for the deviation")
    fit.add_argument("--seconds", type=seconds, metavar="S", help="stop after S seconds with the best so far")
    fit.add_argument("--to-the-end", action="store_true", help="search every wiring until proven, however long")
    _verb(verbs, "rate", "currents, flux, wire, losses, contacts, feeds: what every part carries at worst")
    report = _verb(verbs, "report", "one page with everything: pictures, live table, findings, proofs (-o FILE.html)")
    report.add_argument("--compare", metavar="OLD", help="an older revision: its differences first, curves overlaid")
    export = _verb(verbs, "export", "the table for others: C, logic, SPICE, test vectors, CSV, Markdown, pictures")
    export.add_argument("--picture", choices=PICTURES, help="with --to svg or png: which (default curve)")
    export.add_argument("--to", choices=EXPORTS, help="the form; left out, by the ending of -o FILE")
    export.add_argument("--energised", metavar="K1+K2", help="with --to spice: the relays driven (default none)")
    margins = _verb(verbs, "margins", "the worst corner of every promise, what eats it, how far each may grow")
    margins.add_argument("--samples", type=samples, metavar="N", help="beside it, N random draws: the likely case")
    margins.add_argument("--seed", type=seed, metavar="K", help="with --samples: another set of draws (default 1)")
    steps = _verb(verbs, "steps", "what the load sees after a sudden change of the line, against a tolerance curve")
    steps.add_argument("--curve", metavar="KEY", help='a curve that "tapplan standards" lists')
    _verb(verbs, "moves", "every move of the relays: what it can pass through, and the safest order")
    compare = _verb(verbs, "compare", "two revisions, difference by difference; exit 1 when anything got worse")
    compare.add_argument("new", metavar="NEW", help="the newer design file")
    _verb(
        verbs,
        "standards",
        "the published supply ranges and tolerance curves known, with sources",
        design=False,
    )
    _verb(verbs, "schema", "the JSON Schema of the design file", design=False)
    return top


def _add_bench(verbs: argparse._SubParsersAction[argparse.ArgumentParser]) -> None:
    isolate = _verb(verbs, "isolate", "from readings to the faults that explain them, and what to measure next")
    isolate.add_argument(
        "--reading",
        action="append",
        metavar="TEXT",
        help="one reading, such as 'line 203 V rising: output = 231' or 'off coils K1: ohms K1.com K1.no = open'; "
        "repeatable",
    )
    isolate.add_argument("--sheet", metavar="FILE", help="the readings of a filled sheet (CSV, from bench)")
    isolate.add_argument("--any-revision", action="store_true", help="take a sheet of another revision of the design")
    isolate.add_argument("--ask", action="store_true", help="ask for one measurement after the other")
    isolate.add_argument("--tree", action="store_true", help="the whole plan, for a bench without a computer")
    isolate.add_argument("--pairs", action="store_true", help="think of two faults at once as well")
    isolate.add_argument("--priors", metavar="FILE", help="how often each fault is met (TOML: stuck-rest = 5)")
    _add_meter(isolate)
    bench = _verb(verbs, "bench", "a test sheet: cautions, continuity, ratios, rising and falling sweep")
    bench.add_argument(
        "--to", choices=("screen", "csv", "markdown", "html"), help="the form; left out, by the ending of -o FILE"
    )
    bench.add_argument(
        "--learn",
        metavar="FILE",
        help="find the wiring again from readings (CSV: condition, measure, reading); DESIGN needs no winding "
        "or relay then, and -o writes the design file",
    )
    bench.add_argument(
        "--test-winding",
        nargs=3,
        metavar=("A", "B", "TURNS"),
        help="with --learn: a winding of known turns put on the core, between two points of the readings",
    )
    _add_meter(bench)


def _add_meter(verb: argparse.ArgumentParser) -> None:
    for option, default, what in (
        ("--meter-pct", Fraction(2), "error of the meter in percent of volts (default 2)"),
        ("--meter-v", Fraction(1), "and in volts (default 1; on a small source a fiftieth)"),
        ("--meter-ohm-pct", Fraction(5), "its error in percent of ohms (default 5)"),
        ("--meter-ohm", Fraction(1, 2), "and in ohms, with the leads (default 0.5)"),
    ):
        verb.add_argument(option, type=error_part, default=default, metavar="E", help=what)


def _verb(
    verbs: argparse._SubParsersAction[argparse.ArgumentParser], name: str, text: str, *, design: bool = True
) -> argparse.ArgumentParser:
    verb = verbs.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".", allow_abbrev=False)
    if design:
        verb.add_argument("design", metavar="DESIGN", help="a design file (TOML)")
    verb.add_argument("--json", action="store_true", help="one JSON object on standard output")
    verb.add_argument("-o", "--output", metavar="FILE", help="write the answer to FILE, whole or not at all")
    verb.add_argument("--force", action="store_true", help="replace FILE if it is there")
    return verb
