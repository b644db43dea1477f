"""A wiring whose turns are still unknown: taps, sections and relays, and the ratios they give as linear forms.

A row holds one whole number per unknown; the turns of a point are the row times the unknowns. What a state of the
relays does follows from the contacts alone, so an arrangement is only its wiring: nothing about its ratios is written
down twice.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import combinations

from tapplan.design.model import Arrangement

Row = tuple[int, ...]
Code = frozenset[int]  # the relays driven, by their place


@dataclass(frozen=True)
class Wiring:
    """Points and what joins them.

    `taps`: points of the main winding with their rows; `sections`: start, finish and unknown of windings of their own
    on the same core; `relays`: common, rest and driven points (None: no contact). `rising`: rows that are at
    least 1, which order the unknowns; `least_used`: fewer ratios are not its business.
    """

    arrangement: Arrangement
    unknowns: int
    taps: tuple[tuple[str, Row], ...]
    relays: tuple[tuple[str, str | None, str | None], ...]
    line: str = "LINE"
    output: str = "OUTPUT"
    sections: tuple[tuple[str, str, int], ...] = ()
    rising: tuple[Row, ...] = ()
    least_used: int = 2

    @cached_property
    def states(self) -> dict[tuple[Row, Row], tuple[Code, ...]]:
        """The turns that line and output stand on, as rows, and the relay states that put them there."""
        found: dict[tuple[Row, Row], list[Code]] = {}
        places = range(len(self.relays))
        for code in (frozenset(some) for size in range(len(self.relays) + 1) for some in combinations(places, size)):
            line, output = (self._turns(point, code) for point in (self.line, self.output))
            if line is not None and output is not None:
                found.setdefault((line, output), []).append(code)
        return {rows: tuple(codes) for rows, codes in found.items()}

    def _turns(self, point: str, code: Code) -> Row | None:
        """Where a point stands with these relays driven; None when it stands on nothing."""
        on = dict(self.taps)
        seen: dict[str, Row] = {point: (0,) * self.unknowns}
        waiting = [point]
        while waiting:
            here = waiting.pop()
            if here in on:
                return _plus(on[here], seen[here], -1)
            for there, unknown, sign in self._joined(here, code):
                if there not in seen:
                    step = tuple(sign if place == unknown else 0 for place in range(self.unknowns))
                    seen[there] = _plus(seen[here], step, 1)
                    waiting.append(there)
        return None

    def _joined(self, point: str, code: Code) -> list[tuple[str, int | None, int]]:
        """The points next to one: by a closed contact, or across a section with the turns it adds."""
        found: list[tuple[str, int | None, int]] = []
        for place, (com, rest, driven) in enumerate(self.relays):
            throw = driven if place in code else rest
            if throw is not None and point in (com, throw):
                found.append((throw if point == com else com, None, 0))
        for start, finish, unknown in self.sections:
            if point in (start, finish):
                found.append((finish, unknown, 1) if point == start else (start, unknown, -1))
        return found

    @property
    def points(self) -> int:
        """Taps brought out: those of the main winding, and one more for each section."""
        return len(self.taps) + len(self.sections)

    @property
    def highest(self) -> tuple[Row, ...]:
        """Rows of all points that can be the highest."""
        ends = [row for rows in self.states for row in rows]
        return tuple(dict.fromkeys([row for _, row in self.taps] + ends))


def _plus(a: Row, b: Row, sign: int) -> Row:
    return tuple(x + sign * y for x, y in zip(a, b, strict=True))
