"""The compiled controller: the one place that knows what a reading makes of the band in force.

The table becomes data: for each row, and for being away, the readings at which the answer changes and the answers
between. Whoever needs a decision looks it up here; courses, checks, the page's script, the exported C, equations and
vectors only search an array. The rule itself:

- A row stays while its hold contains the reading, ends included; in the outermost rows of a table with a backup the
  outer ends are those of `leave_v`.
- An input reading beyond the hold leads to the nearest row on that side whose hold contains it, or away. A reading
  taken elsewhere, which cannot be foreseen, leads one row on, or away from the outermost.
- Away, a reading m stands for the input m/q0, which a row would read as m qb/q0. Inside `return_v`, where there is a
  backup, and where some hold contains that, the row is taken whose output is nearest nominal; a tie goes to the lower
  ratio, and between equal ratios to the first in the table.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property
from itertools import groupby, pairwise
from math import ceil, floor, lcm

from tapplan.control.once import AnswersOnce
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import ControlTable
from tapplan.exact import Span


@dataclass(frozen=True, slots=True, order=True)
class Cut:
    """Where the next answer begins: at the mark, or, with `above`, just above it."""

    mark: Fraction
    above: bool


def _code(cut: Cut, unit: int) -> int:
    """A cut as a whole number: twice its mark in so many parts of a volt, one more where it lies just above."""
    return 2 * cut.mark.numerator * (unit // cut.mark.denominator) + cut.above


@dataclass(frozen=True, slots=True)
class Node:
    """What the controller decides in one standing: one more answer than cuts, by rising reading.

    Marks are in the units sensed; `sensed` is reading over input volts there, without load, None where not fixed.
    """

    standing: Standing
    sensed: Fraction | None
    cuts: tuple[Cut, ...]
    answers: tuple[Standing, ...]
    _unit: int = field(init=False, repr=False, compare=False)
    _codes: tuple[int, ...] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        unit = lcm(*(cut.mark.denominator for cut in self.cuts))
        object.__setattr__(self, "_unit", unit)
        object.__setattr__(self, "_codes", tuple(_code(cut, unit) for cut in self.cuts))

    def answer(self, reading: Fraction, side: int = 0) -> Standing:
        """The standing after a reading, or after one just above it (side 1) or just below it (side -1)."""
        return self.answers[self._place(reading, side)]

    def met(self, low: Fraction, high: Fraction) -> tuple[Standing, ...]:
        """The answers that readings above one and below another meet, by rising reading."""
        return self.answers[self._place(low, 1) : self._place(high, -1) + 1]

    def _place(self, reading: Fraction, side: int) -> int:
        whole, rest = divmod(reading.numerator * self._unit, reading.denominator)
        return bisect_right(self._codes, 2 * whole + (1 if rest else side))

    def whole(self, per_volt: Fraction) -> WholeNode:
        """The same for readings that are whole numbers, so many to the volt sensed."""
        begins = [0, *(_first(cut, per_volt) for cut in self.cuts)]
        ends = [*begins[1:], None]
        kept = [
            (begin, answer)
            for begin, end, answer in zip(begins, ends, self.answers, strict=True)
            if end is None or begin < end
        ]
        merged = [next(group) for _, group in groupby(kept, key=lambda one: one[1])]
        return WholeNode(tuple(begin for begin, _ in merged[1:]), tuple(answer for _, answer in merged))


def _first(cut: Cut, per_volt: Fraction) -> int:
    """The first whole number that is in the next answer; none is below nought."""
    mark = cut.mark * per_volt
    return max(floor(mark) + 1 if cut.above else ceil(mark), 0)


@dataclass(frozen=True, slots=True)
class WholeNode:
    """A node in whole numbers: `firsts` are where each answer but the first begins."""

    firsts: tuple[int, ...]
    answers: tuple[Standing, ...]

    def answer(self, reading: int) -> Standing:
        """The standing after a reading."""
        return self.answers[bisect_right(self.firsts, reading)]


@dataclass(frozen=True)
class Decisions(AnswersOnce):
    """The compiled controller of a table: a node for each row, in order, and last the one for being away."""

    table: ControlTable
    nodes: tuple[Node, ...]

    @cached_property
    def marks(self) -> tuple[Fraction, ...]:
        """The inputs, in rising order, at which a decision on an error-free reading can change."""
        by_share: dict[Fraction, set[Fraction]] = {}
        for node in self.nodes:
            if node.sensed is not None:
                by_share.setdefault(node.sensed, set()).update(cut.mark for cut in node.cuts)
        return tuple(sorted({mark / share for share, found in by_share.items() for mark in found}))

    def node(self, standing: Standing) -> Node:
        """What is decided in a standing; at rest, as away."""
        return self.nodes[standing.number] if isinstance(standing, InRow) else self.nodes[-1]

    def decided(self, standing: Standing, reading: Fraction) -> Standing:
        """The standing after one decision."""
        return self.node(standing).answer(reading)

    def named(self, standing: Standing) -> str:
        """A standing by the name of its row; being away and being at rest have names of their own."""
        return self.table.rows[standing.number].name if isinstance(standing, InRow) else standing.value


@dataclass(frozen=True, slots=True)
class RuleRow:
    """A row as the rule sees it: output and reading over input volts without load, and the readings that keep it."""

    ratio: Fraction
    sensed: Fraction | None
    kept: Span


@dataclass(frozen=True, slots=True)
class ControlRule:
    """All that a decision depends on; `away` is reading over input volts then, `returns` the backup's return."""

    rows: tuple[RuleRow, ...]
    input_read: bool
    away: Fraction | None
    returns: Span | None
    nominal: Fraction


def decisions(table: ControlTable) -> Decisions:
    """The compiled controller of a table."""
    return Decisions(table, nodes(rule_of(table)))


def rule_of(table: ControlTable) -> ControlRule:
    """What the rule needs of a table; a row without a ratio counts as giving nothing."""
    backup = table.design.backup
    return ControlRule(
        tuple(RuleRow(row.ratio or Fraction(0), row.sensed, row.kept) for row in table.rows),
        table.design.sensing.at == "input",
        table.away.sensed,
        None if backup is None else Span(*backup.return_v),
        table.design.output.nominal_v,
    )


def nodes(rule: ControlRule) -> tuple[Node, ...]:
    """A node for each row, and last the one for being away; work grows with the rows squared, away cubed at most."""
    if not rule.rows:
        return (_away_node(rule),)
    holds = [row.kept for row in rule.rows]
    if not rule.input_read:
        return (*(_onward_node(rule, number) for number in range(len(holds))), _away_node(rule))
    marks = _Marks(holds)
    keeping = _Keeping(marks, holds)
    return (*(_row_node(rule, keeping, number) for number in range(len(holds))), _away_node(rule))


class _Keeping:
    """Which rows keep the reading at each place, by rising number."""

    def __init__(self, marks: _Marks, holds: Sequence[Span]) -> None:
        self.marks = marks
        self.spots = [marks.spots(hold) for hold in holds]
        self._rows: dict[int, list[int]] = {spot: [] for spot in marks.places}
        for number, spots in enumerate(self.spots):
            for spot in spots:
                self._rows[spot].append(number)
        self._standings = [InRow(number) for number in range(len(holds))]

    def nearest(self, number: int, spot: int) -> Standing:
        """Where a row leads at a place: itself, or the nearest on that side that keeps the reading, or away."""
        here, own = self._rows[spot], self.spots[number]
        if spot in own:
            return self._standings[number]
        place = bisect_right(here, number)
        if spot >= own.stop:
            return self._standings[here[place]] if place < len(here) else AWAY
        return self._standings[here[place - 1]] if place else AWAY


def _row_node(rule: ControlRule, keeping: _Keeping, number: int) -> Node:
    """The node of a row that reads the input."""
    answers = [keeping.nearest(number, spot) for spot in keeping.marks.places]
    return keeping.marks.node(InRow(number), rule.rows[number].sensed, answers)


def _onward_node(rule: ControlRule, number: int) -> Node:
    """The node of a row that reads elsewhere, and leads one row on."""
    marks = _Marks([rule.rows[number].kept])
    own = marks.spots(rule.rows[number].kept)

    def answer(spot: int) -> Standing:
        if spot in own:
            return InRow(number)
        onward = number + 1 if spot >= own.stop else number - 1
        return InRow(onward) if 0 <= onward < len(rule.rows) else AWAY

    return marks.node(InRow(number), rule.rows[number].sensed, [answer(spot) for spot in marks.places])


def _away_node(rule: ControlRule) -> Node:
    away = rule.away
    if away is None:
        return Node(AWAY, None, (), (AWAY,))
    seen = {n: row.kept.scaled(away / row.sensed) for n, row in enumerate(rule.rows) if row.sensed is not None}
    back = {n: hold if rule.returns is None else hold.meet(rule.returns) for n, hold in seen.items()}
    holds = {n: hold for n, hold in back.items() if hold is not None}
    if not holds:
        return Node(AWAY, away, (), (AWAY,))
    switched = [mark for stretch in _stretches(holds.values()) for mark in _switches(rule, holds, stretch)]
    marks = _Marks([*holds.values(), *(Span(mark, mark) for mark in switched)])
    kept = {n: marks.spots(hold) for n, hold in holds.items()}

    def answer(spot: int) -> Standing:
        holding = [n for n, spots in kept.items() if spot in spots]
        volts = marks.place(spot) / away
        nearest = min(
            holding,
            key=lambda n: (abs(rule.rows[n].ratio * volts - rule.nominal), rule.rows[n].ratio, n),
            default=None,
        )
        return AWAY if nearest is None else InRow(nearest)

    return marks.node(AWAY, away, [answer(spot) for spot in marks.places])


def _stretches(holds: Iterable[Span]) -> Iterator[Span]:
    """From each end of a hold to the next end of any."""
    for low, high in pairwise(sorted({end for hold in holds for end in (hold.low, hold.high)})):
        yield Span(low, high)


def _switches(rule: ControlRule, holds: Mapping[int, Span], stretch: Span) -> Iterator[Fraction]:
    """Readings inside a stretch at which the output nearest nominal changes over from one ratio to the next.

    |gV - N| is least for the ratio nearest N/V; so only neighbours by ratio hand over, at V = 2N/(g + g').
    """
    ratios = {
        rule.rows[n].ratio for n, hold in holds.items() if hold.low <= stretch.low and stretch.high <= hold.high
    }
    for low, high in pairwise(sorted(ratios)):
        if low + high > 0:
            mark = 2 * rule.nominal / (low + high) * (rule.away or 1)
            if stretch.low < mark < stretch.high:
                yield mark


class _Marks:
    """Places on the axis of readings as whole numbers: 2k at the k-th mark, 2k + 1 between it and the next."""

    def __init__(self, holds: Sequence[Span]) -> None:
        self._marks = sorted({end for hold in holds for end in (hold.low, hold.high)})
        self._number = {mark: number for number, mark in enumerate(self._marks)}
        self.places = range(-1, 2 * len(self._marks))

    def spots(self, hold: Span) -> range:
        """The places that a hold contains."""
        return range(2 * self._number[hold.low], 2 * self._number[hold.high] + 1)

    def place(self, spot: int) -> Fraction:
        """One reading at a place; between two marks, the middle."""
        low = self._marks[max(spot // 2, 0)]
        if spot % 2 == 0:
            return low
        beyond = spot // 2 + 1
        if spot < 0 or beyond == len(self._marks):
            return low + (1 if spot > 0 else -low / 2)
        return (low + self._marks[beyond]) / 2

    def node(self, standing: Standing, sensed: Fraction | None, answers: Sequence[Standing]) -> Node:
        """The node whose answers are those of the places, in order, like ones joined."""
        kept, cuts = [answers[0]], []
        for spot, answer in zip(self.places[1:], answers[1:], strict=True):
            if answer is not kept[-1] and answer != kept[-1]:
                kept.append(answer)
                cuts.append(Cut(self._marks[spot // 2], above=spot % 2 == 1))
        return Node(standing, sensed, tuple(cuts), tuple(kept))
