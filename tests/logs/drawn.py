"""A made-up trace as a log, for what is read of one that was written."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from fractions import Fraction

import numpy as np

from tapplan.logs.made import MadeRows, blocks
from tapplan.logs.recipe import SPOILT, Recipe, told
from tapplan.logs.samples import MOST_TOLD, BadRow, BadRows, Chunk, RowFault


@dataclass(frozen=True, slots=True)
class MadeLog:
    """A trace as a log without a file: stored readings are whole counts of 10^-digits volts, so exact."""

    recipe: Recipe
    name: str = ""
    scale: Fraction = field(init=False)
    made: str | None = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "scale", Fraction(1, 10**self.recipe.digits))
        object.__setattr__(self, "made", told(self.recipe))
        object.__setattr__(self, "name", self.name or f"{self.recipe.kind}-{self.recipe.seed}")

    def chunks(self) -> Iterator[Chunk]:
        """The samples in order; rows are counted from 1."""
        before = 0
        for rows in blocks(self.recipe):
            good = rows.where(rows.good)
            yield Chunk(good.times, good.counts, self._bad(rows, before))
            before += len(rows)

    def _bad(self, rows: MadeRows, before: int) -> BadRows:
        places = np.flatnonzero(rows.spoilt)
        kinds = [SPOILT[which - 1] for which in rows.spoilt[places].tolist()]
        counts = {fault: sum(kind.fault is fault for kind in kinds) for fault in RowFault}
        first = zip(places[:MOST_TOLD].tolist(), kinds, strict=False)
        named = tuple(BadRow(self.name, before + place + 1, kind.fault, kind.words) for place, kind in first)
        return BadRows({fault: many for fault, many in counts.items() if many}, named)
