"""The verb `trace`: mains voltage made up from a seed, as a log to replay; marked as made in every form."""

from __future__ import annotations

import argparse
import io
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from datetime import UTC, datetime
from decimal import Decimal, InvalidOperation
from fractions import Fraction
from functools import reduce
from pathlib import Path

from tapplan.answers.trace import MadeFile, MadeTrace, made_file, made_trace
from tapplan.cli.options import Excludes
from tapplan.cli.reply import Reply, as_text, on_screen
from tapplan.cli.room import keep_to_the_disk
from tapplan.cli.values import seed, volts
from tapplan.design.file import load
from tapplan.design.numbers import read_number
from tapplan.errors import OutputError, UsageError, escaped
from tapplan.exact import Span
from tapplan.logs.recipe import MOST_BAD, MOST_DIGITS, MOST_GAPS, Recipe, clock_for
from tapplan.logs.scenarios import KINDS, Sags, moved, scenario_of
from tapplan.logs.written import FORMS, TraceTally, Writing, form_of, write_csv, write_trace
from tapplan.wholefile import replaceable

MOST_PRINTED = 1_000_000  # samples on standard output
MOST_SITES = 10_000
MOST_DAYS = 36_525
FIRST_YEAR, LAST_YEAR = 1970, 2100
NOMINAL = Fraction(230)
EITHER_WAY = Fraction(15, 100)  # of nominal, where no design gives the range
EXAMPLES = (
    "tapplan trace quiet --nominal 220 --days 1 --step 60",
    "tapplan trace evening --design designs/ridge-dispensary.toml --days 30 -o evening.csv.gz",
    "tapplan trace sags --step 20ms --days 1 --rate 20000 -o sags.parquet",
    "tapplan trace rough --design designs/ridge-dispensary.toml --sites 8 --to csv -o sites",
)
LAWS = (Excludes("--design", "--nominal"),)


def arguments(verb: argparse.ArgumentParser) -> None:
    """What happens, around which volts, when it is read, what is spoilt, and how many there are."""
    kinds = "; ".join(f"{kind}: {words}" for kind, words in KINDS.items())
    verb.add_argument("kind", choices=tuple(KINDS), metavar="KIND", help=kinds)
    verb.add_argument(
        "--design", metavar="DESIGN", help="mains range, and for rough the thresholds, of a design file"
    )
    verb.add_argument("--nominal", type=volts, metavar="V", help="nominal volts, the range 15 %% either way (230)")
    verb.add_argument(
        "--around", type=volts, metavar="V", action="append", help="centre; of rough, again for several"
    )
    verb.add_argument("--swing", type=volts, metavar="V", help="how far up and down: in a day, of rough at any time")
    verb.add_argument("--rate", type=rate, metavar="N", help="with sags: events a year (500)")
    verb.add_argument("--days", type=days, default=Fraction(7), metavar="N", help="how long (7)")
    verb.add_argument("--step", type=step, default=Fraction(10), metavar="S", help="from reading to reading (10 s)")
    verb.add_argument("--start", type=start, default="2024-01-01", metavar="DATE", help="the first reading, UTC")
    verb.add_argument("--seed", type=seed, default=0, metavar="N", help="of the random draws (0)")
    verb.add_argument("--digits", type=digits, default=1, metavar="N", help="decimals of a volt (1)")
    verb.add_argument("--gaps", type=gaps, default=0.0, metavar="SHARE", help="of the time lost in gaps, as 0.01")
    verb.add_argument("--bad", type=bad, default=0.0, metavar="SHARE", help="of the rows spoilt on purpose, as 0.01")
    verb.add_argument("--sites", type=sites, metavar="N", help="N traces, of seeds one after the other, into -o DIR")
    verb.add_argument("--to", choices=FORMS, help="the form; left out, by the ending of -o FILE; of sites parquet")


def answer(args: argparse.Namespace) -> Reply:
    """The trace as text, or what was written."""
    recipe = _recipe(args)
    if args.sites is not None:
        return _sites(args, recipe)
    if args.output is None:
        return _printed(args, recipe)
    form = args.to or form_of(args.output)
    keep_to_the_disk(args.output, recipe, form)
    with _bar(recipe.clock.readings) as tell:
        tally = write_trace(args.output, recipe, Writing(form, args.force, tell))
    return _wrote(made_trace(recipe, tally, [_file(args.output, recipe, tally)]))


def _recipe(args: argparse.Namespace) -> Recipe:
    scenario = scenario_of(args.kind, _range(args))
    if args.rate is not None:
        if not isinstance(scenario, Sags):
            raise UsageError(f"found --rate with {args.kind}; accepted: with sags")
        scenario = replace(scenario, rate_y=args.rate)
    swing = None if args.swing is None else float(args.swing)
    return Recipe(
        scenario=moved(scenario, _centres(args), swing),
        clock=clock_for(args.start, args.step, args.days),
        seed=args.seed,
        digits=args.digits,
        gaps=args.gaps,
        bad=args.bad,
    )


def _range(args: argparse.Namespace) -> Span:
    """The mains range that a trace makes use of."""
    if args.design is not None:
        return load(args.design).mains.span
    nominal = NOMINAL if args.nominal is None else args.nominal
    if not nominal:
        raise UsageError("found --nominal 0; accepted: volts above 0")
    return Span(nominal * (1 - EITHER_WAY), nominal * (1 + EITHER_WAY))


def _centres(args: argparse.Namespace) -> list[float]:
    """The volts asked for; of rough, with a design, else the inputs at which its controller decides otherwise."""
    if args.around is not None or args.kind != "rough" or args.design is None:
        return [float(one) for one in args.around or ()]
    from tapplan.cli.opened import table_in  # only rough needs the control table

    holds = [one.input_hold for one in table_in(args.design).rows]
    return sorted({float(end) for hold in holds if hold is not None for end in (hold.low, hold.high)})


# --- where it goes ---


def _printed(args: argparse.Namespace, recipe: Recipe) -> Reply:
    """CSV on standard output."""
    if args.to not in (None, "csv"):
        raise UsageError(f"found --to {args.to} without -o FILE; accepted: with -o FILE, or --to csv")
    many = recipe.clock.readings
    if many > MOST_PRINTED:
        raise UsageError(
            f"found {many} samples for standard output; accepted: at most {MOST_PRINTED}, or a file: -o FILE"
        )
    stream = io.BytesIO()
    tally = write_csv(stream, recipe)
    text = stream.getvalue().decode("ascii")
    return as_text(made_trace(recipe, tally, text=text), text)


def _sites(args: argparse.Namespace, first: Recipe) -> Reply:
    """A file a seed, each whole or not at all; none is begun where one is there that is to be kept."""
    if args.output is None:
        raise UsageError("found --sites without -o; accepted: with -o DIR, the folder that the files go to")
    form, width = args.to or "parquet", max(3, len(str(args.sites)))
    folder = Path(args.output)
    keep_to_the_disk(str(folder / "site"), first, form, args.sites)
    paths = [str(folder / f"site-{number:0{width}d}.{form}") for number in range(1, args.sites + 1)]
    _prepare(folder, paths, force=args.force)
    files, tallies = [], []
    with _bar(first.clock.readings * args.sites) as tell:
        for number, path in enumerate(paths):
            recipe = replace(first, seed=first.seed + number)
            try:
                tallies.append(write_trace(path, recipe, Writing(form, args.force, tell)))
            except OutputError as error:
                raise OutputError(f"{error}; {number} of {args.sites} files are written") from None
            files.append(_file(path, recipe, tallies[-1]))
    return _wrote(made_trace(first, reduce(TraceTally.joined, tallies), files))


def _prepare(folder: Path, paths: list[str], *, force: bool) -> None:
    """Makes the folder where there is none, and looks at every file that is to be written."""
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{escaped(str(folder))}: found a file; accepted: a folder, or a name for a new one")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise OutputError(f"{escaped(str(folder))}: cannot be made ({error.strerror or error})") from None
    for path in paths:
        replaceable(path, force=force)


def _file(path: str, recipe: Recipe, tally: TraceTally) -> MadeFile:
    return made_file(path, Path(path).stat().st_size, recipe, tally)


def _wrote(told: MadeTrace) -> Reply:
    return replace(on_screen(told, "trace"), written=True)


@contextmanager
def _bar(rows: int) -> Iterator[Callable[[int], None]]:
    """A bar on the terminal's error stream, so that answers stay clean; none when it is no terminal."""
    import sys

    if not sys.stderr.isatty():
        yield lambda more: None
        return
    from rich.console import Console
    from rich.progress import Progress as Bar

    with Bar(console=Console(stderr=True), transient=True) as progress:
        task = progress.add_task("rows written", total=rows)
        yield lambda more: progress.advance(task, more)


# --- what stands on the command line ---


def _exact(text: str) -> Fraction | None:
    """A plain decimal number, exact."""
    try:
        return read_number(Decimal(text)) if text.isascii() and "_" not in text else None
    except InvalidOperation:
        return None


def step(text: str) -> Fraction:
    """The time from reading to reading, in seconds; ms, s, min or h may stand behind it."""
    units = {"ms": Fraction(1, 1000), "s": Fraction(1), "min": Fraction(60), "h": Fraction(3600)}
    unit = next((one for one in units if text.endswith(one)), "")
    value = _exact(text.removesuffix(unit).rstrip())
    found = None if value is None else value * units.get(unit, Fraction(1))
    if found is None or not 0 < found <= 86400 or (found * 1_000_000).denominator != 1:
        accepted = "seconds above 0, at most a day, whole microseconds, such as 10, 0.02, 20ms or 1min"
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: {accepted}')
    return found


def days(text: str) -> Fraction:
    """How long a trace is."""
    value = _exact(text)
    if value is None or not 0 < value <= MOST_DAYS:
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: days above 0, at most {MOST_DAYS}, such as 30')
    return value


def start(text: str) -> datetime:
    """The moment of the first reading; UTC where no zone is named."""
    try:
        found = datetime.fromisoformat(text)
        found = found.replace(tzinfo=UTC) if found.tzinfo is None else found.astimezone(UTC)
    except (ValueError, OverflowError):
        found = datetime.min.replace(tzinfo=UTC)
    if not FIRST_YEAR <= found.year < LAST_YEAR:
        accepted = f"a day or a moment from {FIRST_YEAR} to {LAST_YEAR - 1}, such as 2024-01-01 or 2024-01-01T06:30"
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: {accepted}')
    return found


def rate(text: str) -> float:
    """Events a year."""
    value = _exact(text)
    if value is None or not 0 < value <= 10**7:
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: events a year above 0, at most 10000000')
    return float(value)


def digits(text: str) -> int:
    """The decimals of a reading."""
    if not (text.isascii() and text.isdigit() and len(text) == 1 and int(text) <= MOST_DIGITS):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a whole number from 0 to {MOST_DIGITS}')
    return int(text)


def gaps(text: str) -> float:
    """The share of the time lost."""
    return _share(text, MOST_GAPS)


def bad(text: str) -> float:
    """The share of the rows spoilt."""
    return _share(text, MOST_BAD)


def _share(text: str, most: float) -> float:
    value = _exact(text)
    if value is None or not 0 <= value <= Fraction(str(most)):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a share from 0 to {most:g}, such as 0.01')
    return float(value)


def sites(text: str) -> int:
    """How many traces."""
    if not (text.isascii() and text.isdigit() and len(text) <= 5 and 1 <= int(text) <= MOST_SITES):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a whole number from 1 to {MOST_SITES}')
    return int(text)
