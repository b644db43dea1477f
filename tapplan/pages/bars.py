"""Bars of text: how a whole is shared out, a letter a share, and what is overdrawn."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction

OVERDRAWN = "!"
Share = tuple[str, Fraction]  # one letter and its size


def bar(shares: Sequence[Share], scale: Fraction, columns: int) -> str:
    """The shares side by side, `columns` characters for `scale` volts; a negative share is marked at the end.

    Each share ends at the column its running sum comes to, so that roundings do not add up.
    """
    text, reached = "", Fraction(0)
    for letter, size in shares:
        if size > 0:
            reached += size
            text += letter * max(round(reached / scale * columns) - len(text), 0)
    missing = sum((-size for _, size in shares if size < 0), Fraction(0))
    return text + OVERDRAWN * (max(1, round(missing / scale * columns)) if missing else 0)
