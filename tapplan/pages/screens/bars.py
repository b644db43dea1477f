"""Bars of text: how a whole is shared out, a letter a share, and what is overdrawn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

OVERDRAWN = "!"


@dataclass(frozen=True, slots=True)
class Share:
    """A part of a whole: the letter that stands for it, and its size."""

    letter: str
    size: Fraction


@dataclass(frozen=True, slots=True)
class ShareBar:
    """What a bar is of, and its shares."""

    name: str
    shares: tuple[Share, ...]


def bar(shares: Sequence[Share], scale: Fraction, columns: int) -> str:
    """The shares side by side, `columns` characters for `scale` volts; a negative share is marked at the end.

    Each share ends at the column its running sum comes to, so that roundings do not add up.
    """
    text, reached = "", Fraction(0)
    for one in shares:
        if one.size > 0:
            reached += one.size
            text += one.letter * (round(reached / scale * columns) - len(text))
    missing = sum((-one.size for one in shares if one.size < 0), Fraction(0))
    return text + OVERDRAWN * (max(1, round(missing / scale * columns)) if missing else 0)
