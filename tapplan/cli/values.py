"""What stands on the command line as text, read into values, or refused in the words of every other error."""

from __future__ import annotations

import argparse
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from tapplan.design.numbers import MOST_SAMPLES, MOST_SEED, read_number

MOST_SWEEP_POINTS = 20_000
LAST_PORT = 65_535


def volts(text: str) -> Fraction:
    """A voltage from the command line, exact; a comma is a decimal sign, and the unit may stand behind it."""
    try:
        value = read_number(Decimal(text)) if text.isascii() and "_" not in text else None
    except InvalidOperation:
        from tapplan.bench.quantities import quantity  # as a reading is written; late, for most volts are plain

        value = quantity(text, "V")
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
    if not (text.isascii() and text.isdigit() and len(text) <= 18 and int(text) <= MOST_SEED):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a whole number from 0 to {MOST_SEED}')
    return int(text)


def factor(text: str) -> Fraction:
    """What the numbers of a log are multiplied by, exact."""
    value = _plain(text)
    if value is None or value <= 0:
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a number above 0, such as 0.01')
    return value


def span_s(text: str) -> Fraction:
    """A time in seconds, exact."""
    value = _plain(text)
    if value is None or value <= 0:
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: seconds above 0, such as 60 or 0.02')
    return value


def _plain(text: str) -> Fraction | None:
    try:
        return read_number(Decimal(text)) if text.isascii() and "_" not in text else None
    except InvalidOperation:
        return None


def cores(text: str) -> int:
    """How many processes work side by side."""
    if not (text.isascii() and text.isdigit() and len(text) <= 4 and int(text) >= 1):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a whole number from 1')
    return int(text)


def port(text: str) -> int:
    """The number of a port of this machine."""
    if not (text.isascii() and text.isdigit() and len(text) <= 5 and 1 <= int(text) <= LAST_PORT):
        raise argparse.ArgumentTypeError(f'found "{text}"; accepted: a port from 1 to {LAST_PORT}, such as 8350')
    return int(text)
