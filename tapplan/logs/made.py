"""Mains voltage that is made up: scenarios of our own, drawn from a seed, for demonstrations and tests.

No trace of this module was measured anywhere, and every form of it says so (`told`). A recipe says what is drawn; the
same recipe gives the same readings, bit by bit on one version of numpy, however many are asked for at a time. To that
end everything random has a stream of its own, PCG64 spawned from the seed, and samples are worked out in parts of
`PART`, whatever the blocks that are handed on. So gaps and spoilt rows leave the other samples as they are, and a
shorter trace is the beginning of a longer one.

Hours of the day are those of the written clock, which is UTC.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tapplan.arrays import Floats, Mask, Micros, Wholes
from tapplan.errors import UsageError
from tapplan.logs.happenings import Happening, drawn_gaps, met
from tapplan.logs.madevolts import made_volts
from tapplan.logs.recipe import PART, SPOILT, DrawnFor, Recipe, Spoilt


@dataclass(frozen=True, slots=True)
class MadeRows:
    """Rows of a trace, as a file has them: `counts` times 10^-digits are volts.

    `spoilt` is 0 for a good row, else the number, from 1, of what was done to it in `SPOILT`; its time or its number
    is then not to be believed.
    """

    times: Micros
    counts: Wholes
    spoilt: Wholes
    digits: int

    def __len__(self) -> int:
        return len(self.times)

    @property
    def good(self) -> Mask:
        """Which rows are samples."""
        good: Mask = self.spoilt == 0
        return good

    @property
    def volts(self) -> Floats:
        """The volts of every row, each the double nearest to its decimal number."""
        return self.counts / 10.0**self.digits

    def where(self, chosen: Mask | slice) -> MadeRows:
        """Some of these rows."""
        return MadeRows(self.times[chosen], self.counts[chosen], self.spoilt[chosen], self.digits)


def blocks(recipe: Recipe, most: int = PART) -> Iterator[MadeRows]:
    """The rows of a trace in order, `most` of them together and the rest at the end, in bounded memory.

    The rows are the same whatever `most` is.

    Raises:
        UsageError: blocks of no row are asked for.
    """
    if most < 1:
        raise UsageError(f"found blocks of {most} rows; accepted: a whole number above 0")
    return _regrouped(_parts(recipe), most)


def _regrouped(parts: Iterator[MadeRows], most: int) -> Iterator[MadeRows]:
    held: list[MadeRows] = []
    many = 0
    for part in parts:
        held.append(part)
        many += len(part)
        if many < most:
            continue
        whole = _joined(held)
        full = many - many % most
        yield from (whole.where(slice(first, first + most)) for first in range(0, full, most))
        held, many = [whole.where(slice(full, many))], many - full
    if many:
        yield _joined(held)


def _joined(some: Sequence[MadeRows]) -> MadeRows:
    if len(some) == 1:
        return some[0]
    return MadeRows(
        np.concatenate([one.times for one in some]),
        np.concatenate([one.counts for one in some]),
        np.concatenate([one.spoilt for one in some]),
        some[0].digits,
    )


def _parts(recipe: Recipe) -> Iterator[MadeRows]:
    """The rows of every part of the clock: fewer where a gap takes some, none where it takes all."""
    spoiling = recipe.stream(DrawnFor.SPOILT) if recipe.bad else None
    gaps = met(drawn_gaps(recipe), recipe.clock)
    for volts, times, lost in zip(made_volts(recipe), recipe.clock.parts(), gaps, strict=True):
        counts = np.rint(np.maximum(volts, 0) * 10.0**recipe.digits).astype(np.int64)
        kept = _kept(times, lost)
        spoilt = np.zeros(len(times), np.int64)
        if spoiling is not None:
            spoilt = _spoilt(kept, recipe.bad, spoiling)
            times = _mistimed(times, spoilt, recipe.clock.step_us)
        rows = MadeRows(times, counts, spoilt, recipe.digits)
        yield rows.where(kept) if lost else rows


def _kept(times: Micros, gaps: Sequence[Happening]) -> Mask:
    kept = np.ones(len(times), np.bool_)
    for one in gaps:
        first, last = np.searchsorted(times, (one.begin_us, one.end_us))
        kept[first:last] = False
    return kept


def _spoilt(kept: Mask, share: float, drawn: Generator) -> Wholes:
    """What is done to each row; only every second row can be chosen, and none whose row before is lost."""
    spoilt = np.zeros(len(kept), np.int64)
    at = drawn.random(PART // 2)[: len(kept) // 2]  # as many draws for a short part
    places = 1 + 2 * np.flatnonzero((at < 2 * share) & kept[1::2] & kept[: 2 * len(at) : 2])
    spoilt[places] = drawn.integers(1, len(SPOILT) + 1, size=len(places))
    return spoilt


def _mistimed(times: Micros, spoilt: Wholes, step_us: int) -> Micros:
    """The times as written: of spoilt rows that of the row before, or one step before it."""
    written = times.copy()
    for how, back in ((Spoilt.TWICE, 0), (Spoilt.BACKWARDS, step_us)):
        places = np.flatnonzero(spoilt == 1 + SPOILT.index(how))
        written[places] = times[places - 1] - back
    return written
