"""How often the mains stands where: a file of volts and weights, one pair a line."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from fractions import Fraction

from tapplan.design.file import read_text
from tapplan.design.numbers import read_number
from tapplan.errors import DesignError, Problem
from tapplan.exact import Span
from tapplan.logs.head import made_in
from tapplan.study.request import InletWeight

ACCEPTED = "volts and a weight of nought or more, such as 231.5, 12"


@dataclass(frozen=True, slots=True)
class InletWeights:
    """What a file of weights holds; `made`: how its mains were made up, where it says so."""

    entries: tuple[InletWeight, ...] = ()
    made: str | None = None


def load_weights(path: str, mains: Span) -> InletWeights:
    """The weights in a file: two numbers a line, by comma, semicolon or space; `#` begins a comment.

    A first line of words is a heading. Volts outside the mains range count for nothing: nothing is promised there.

    Raises:
        DesignError: the file cannot be read, a line is no pair of numbers, or no weight lies inside the range.
    """
    found: list[InletWeight] = []
    problems: list[Problem] = []
    heading = True
    lines = read_text(path, "a file of volts and weights that can be read").splitlines()
    for line, text in enumerate(lines, 1):
        words = text.partition("#")[0].replace(",", " ").replace(";", " ").split()
        if not words:
            continue
        numbers = [_number(word) for word in words]
        match numbers:
            case [Fraction() as volts, Fraction() as weight] if volts >= 0 and weight >= 0:
                found.append(InletWeight(volts, weight))
            case _ if not (heading and all(number is None for number in numbers)):
                problems.append(Problem("", f'"{text.strip()}"', ACCEPTED, line))
        heading = False
    inside = tuple(one for one in found if one.volts in mains and one.counts > 0)
    if not problems and not inside:
        problems.append(Problem("", "no weight inside the mains range", ACCEPTED))
    if problems:
        raise DesignError(path, tuple(problems))
    comments = (text.lstrip().removeprefix("#").strip() for text in lines if text.lstrip().startswith("#"))
    return InletWeights(inside, made_in(comments))


def _number(word: str) -> Fraction | None:
    try:
        return read_number(Decimal(word)) if word.isascii() and "_" not in word else None
    except InvalidOperation:
        return None
