"""A wiring whose turns are still unknown: taps, sections and relays, and the ratios they give as linear forms.

A row holds one whole number per unknown; the turns of a point are the row times the unknowns. What a state of the
relays does follows from the contacts alone, so an arrangement is only its wiring: nothing about its ratios is written
down twice.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import combinations

from tapplan.design.model import Arrangement

TurnRow = tuple[int, ...]
Code = frozenset[int]  # the relays driven, by their place


@dataclass(frozen=True, slots=True)
class Tap:
    """A point of the main winding, and its turns."""

    point: str
    row: TurnRow


@dataclass(frozen=True, slots=True)
class SeriesSection:
    """A winding of its own on the same core, between two points, and the number of the unknown that is its turns."""

    start: str
    finish: str
    unknown: int


@dataclass(frozen=True, slots=True)
class Changeover:
    """A pole by its points: the common, and those it closes to at rest and driven; None: no contact.

    `coil` is the place of the relay that moves it.
    """

    com: str
    rest: str | None
    driven: str | None
    coil: int = 0


def never() -> bool:
    """Whether to stop, where nobody asks for it."""
    return False


def one_pole_each(poles: Iterable[Changeover]) -> tuple[Changeover, ...]:
    """The poles, each moved by a relay of its own."""
    return tuple(replace(one, coil=number) for number, one in enumerate(poles))


@dataclass(frozen=True, slots=True)
class SideRows:
    """The turns that line and output stand on in a state."""

    line: TurnRow
    output: TurnRow

    @property
    def direct(self) -> bool:
        """Whether both stand on the same turns, whatever those are."""
        return self.line == self.output


@dataclass(frozen=True, slots=True)
class _NextPoint:
    """A point next to another: by a closed contact, or across a section (by its unknown), whose turns it adds."""

    point: str
    unknown: int | None = None
    sign: int = 0


@dataclass(frozen=True)
class Wiring:
    """Points and what joins them: taps of the main winding, the relays' poles, sections in series.

    `rising`: rows that are at least 1, which order the unknowns; `least_used`: fewer ratios are not its business.
    """

    arrangement: Arrangement
    unknowns: int
    taps: tuple[Tap, ...]
    poles: tuple[Changeover, ...]
    line: str = "LINE"
    output: str = "OUTPUT"
    sections: tuple[SeriesSection, ...] = ()
    rising: tuple[TurnRow, ...] = ()
    least_used: int = 2

    @cached_property
    def states(self) -> dict[SideRows, tuple[Code, ...]]:
        """The turns that line and output stand on, and the relay states that put them there."""
        found: dict[SideRows, list[Code]] = {}
        places = range(self.relays)
        for code in (frozenset(some) for size in range(self.relays + 1) for some in combinations(places, size)):
            line, output = (self._turns(point, code) for point in (self.line, self.output))
            if line is not None and output is not None:
                found.setdefault(SideRows(line, output), []).append(code)
        return {rows: tuple(codes) for rows, codes in found.items()}

    def _turns(self, point: str, code: Code) -> TurnRow | None:
        """Where a point stands with these relays driven; None when it stands on nothing."""
        on = {tap.point: tap.row for tap in self.taps}
        seen: dict[str, TurnRow] = {point: (0,) * self.unknowns}
        waiting = [point]
        while waiting:
            here = waiting.pop()
            if here in on:
                return _plus(on[here], seen[here], -1)
            for there in self._joined(here, code):
                if there.point not in seen:
                    step = tuple(there.sign if place == there.unknown else 0 for place in range(self.unknowns))
                    seen[there.point] = _plus(seen[here], step, 1)
                    waiting.append(there.point)
        return None

    def _joined(self, point: str, code: Code) -> list[_NextPoint]:
        """The points next to one."""
        found: list[_NextPoint] = []
        for pole in self.poles:
            throw = pole.driven if pole.coil in code else pole.rest
            if throw is not None and point in (pole.com, throw):
                found.append(_NextPoint(throw if point == pole.com else pole.com))
        for one in self.sections:
            if point == one.start:
                found.append(_NextPoint(one.finish, one.unknown, 1))
            elif point == one.finish:
                found.append(_NextPoint(one.start, one.unknown, -1))
        return found

    @property
    def relays(self) -> int:
        """How many relays it takes."""
        return 1 + max((pole.coil for pole in self.poles), default=-1)

    @property
    def points(self) -> int:
        """Taps brought out: those of the main winding, and one more for each section."""
        return len(self.taps) + len(self.sections)

    @property
    def highest(self) -> tuple[TurnRow, ...]:
        """Rows of all points that can be the highest."""
        ends = [row for rows in self.states for row in (rows.line, rows.output)]
        return tuple(dict.fromkeys([tap.row for tap in self.taps] + ends))


def _plus(a: TurnRow, b: TurnRow, sign: int) -> TurnRow:
    return tuple(x + sign * y for x, y in zip(a, b, strict=True))
