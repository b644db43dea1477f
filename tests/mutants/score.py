"""What became of mutants, and what a sample of them says of all."""

import math
from collections import Counter
from dataclasses import dataclass
from enum import StrEnum


class Fate(StrEnum):
    """What became of a mutant. `SAME`: it does what the code does, for a reason that stands in same.txt."""

    KILLED = "killed"
    TIMED_OUT = "timed out"
    SURVIVED = "survived"
    NOT_REACHED = "not reached"
    SAME = "the same"


@dataclass(frozen=True, slots=True)
class Interval:
    """From and to, as shares of one."""

    low: float
    high: float


def wilson(good: int, drawn: int, z: float = 1.959964) -> Interval:
    """The interval of a share at 95 %, good of drawn (E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209)."""
    if not drawn:
        return Interval(0.0, 1.0)
    share, more = good / drawn, z * z / drawn
    middle = (share + more / 2) / (1 + more)
    half = z / (1 + more) * math.sqrt(share * (1 - share) / drawn + more / (4 * drawn))
    return Interval(max(0.0, middle - half), min(1.0, middle + half))


@dataclass(frozen=True, slots=True)
class Score:
    """A room's mutants: how many there are, and what became of those drawn."""

    room: str
    places: int
    possible: int
    fates: Counter[Fate]

    @property
    def drawn(self) -> int:
        """How many were judged."""
        return self.fates.total()

    @property
    def found(self) -> int:
        """How many some test noticed."""
        return self.fates[Fate.KILLED] + self.fates[Fate.TIMED_OUT]

    @property
    def other(self) -> int:
        """How many of those judged do something else than the code, as far as is known."""
        return self.drawn - self.fates[Fate.SAME]

    def row(self) -> str:
        """A line of the table in Markdown."""
        interval = wilson(self.found, self.other)
        share = 100 * self.found / self.other if self.other else 0.0
        cells = (
            self.room,
            self.places,
            self.possible,
            self.drawn,
            *(self.fates[fate] for fate in Fate),
            f"{share:.1f} %",
        )
        told = " | ".join(str(cell) for cell in cells)
        return f"| {told} | {100 * interval.low:.1f} to {100 * interval.high:.1f} % |"


_COLUMNS = ("room", "places", "mutants", "drawn", *(fate.value for fate in Fate), "score", "95 % interval")
HEADING = f"| {' | '.join(_COLUMNS)} |\n| --- | {' | '.join(['---:'] * (len(_COLUMNS) - 1))} |"
