"""What each single fault does in each band: the fault table, and the findings that follow from it."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.states import StuckHigh, StuckShort
from tapplan.control.misreading import MISREADINGS, Misreading, rows_then
from tapplan.control.table import Row
from tapplan.exact import Span
from tapplan.network.faults import Fault, closed_under, edited, single_faults
from tapplan.network.states import state_of
from tapplan.network.turns import Gain, Kind, Outcome, outcome

AnyFault = Fault | Misreading


@dataclass(frozen=True, slots=True)
class FaultRow:
    """One fault in one band: what the stage then does over the band's hold within the mains range.

    `output` is None when there is no ratio, or when the band holds nothing of the range. A wrong reading can
    lead to several rows: `output` then spans them all, and `outcome` and `energised`, the relays driven, are of the
    one that goes farthest. `away`: the load goes to the backup.
    """

    fault: AnyFault
    row: Row
    energised: tuple[str, ...]
    outcome: Outcome
    output: Span | None
    window: Span
    away: bool = False

    @property
    def harmless(self) -> bool:
        """Whether the output stays inside the window all the same, or the load goes to the backup."""
        return self.away or (
            isinstance(self.outcome, Gain)
            and self.output is not None
            and self.window.low <= self.output.low
            and self.output.high <= self.window.high
        )

    @property
    def severity(self) -> Severity:
        """A note when harmless; else a warning, for no relay stage is free of such faults."""
        return Severity.NOTE if self.harmless else Severity.WARNING

    @property
    def shorts(self) -> bool:
        """Whether turns are shorted or line is tied to neutral."""
        return self.outcome.kind is Kind.SHORTED

    @property
    def too_high(self) -> bool:
        """Whether the load gets more than the window allows."""
        return not self.shorts and not self.away and self.output is not None and self.output.high > self.window.high

    @property
    def harm(self) -> tuple[int, Fraction]:
        """For sorting, the worst first: shorts, then too high by how much, then no or too little output."""
        if self.shorts:
            return (0, Fraction(0))
        if self.away:
            return (4, Fraction(0))
        if self.output is None:
            return (2, Fraction(0))
        if self.too_high:
            return (1, -self.output.high)
        return (4, Fraction(0)) if self.harmless else (3, self.output.low)


def fault_table(review: Review) -> list[FaultRow]:
    """One row for every single fault and band, the most harmful first, ties in the order of the file."""
    return review.once(fault_table, lambda: _fault_table(review))


def _fault_table(review: Review) -> list[FaultRow]:
    rows = [_faulted(review, fault, row) for fault in single_faults(review.circuit) for row in review.table.rows]
    rows += [_misread(review, fault, row) for fault in MISREADINGS for row in review.table.rows]
    return sorted(rows, key=lambda row: row.harm)


def _misread(review: Review, fault: Misreading, row: Row) -> FaultRow:
    """What a wrong reading makes of a band; nothing is put out where the load goes to the backup."""
    backup = review.design.backup
    driven = backup.energised if backup is not None else row.energised
    away = state_of(review.circuit, driven).outcome
    outputs = [
        (Span(min(ends), max(ends)), then.row)
        for then in rows_then(review.table, fault, row)
        if then.row.ratio is not None
        and (ends := [then.row.ratio * then.inputs.low, then.row.ratio * then.inputs.high])
    ]
    if not outputs:
        return FaultRow(fault, row, driven, away, None, review.window, away=backup is not None)
    highest, lowest = max(outputs, key=lambda one: one[0].high), min(outputs, key=lambda one: one[0].low)
    worst = highest if highest[0].high > review.window.high else lowest
    reached = Span(lowest[0].low, highest[0].high)
    return FaultRow(fault, row, worst[1].energised, worst[1].state.outcome, reached, review.window)


def _faulted(review: Review, fault: Fault, row: Row) -> FaultRow:
    found = outcome(edited(review.circuit, fault), closed_under(review.circuit, (fault,), row.energised))
    inside = row.input_hold.meet(review.mains) if row.input_hold else None
    output = None
    if isinstance(found, Gain) and inside is not None:
        ends = sorted((found.ratio * inside.low, found.ratio * inside.high))
        output = Span(ends[0], ends[1])
    return FaultRow(fault, row, row.energised, found, output, review.window)


def never_survived(rows: list[FaultRow]) -> list[AnyFault]:
    """The faults that take the output out of the window in every band, in the order given."""
    survived = {row.fault for row in rows if row.harmless}
    return [fault for fault in dict.fromkeys(row.fault for row in rows) if fault not in survived]


def stuck_parts(review: Review) -> Iterator[Finding]:
    """The shorts and the overvoltages that single faults bring about."""
    table = fault_table(review)
    yield from stuck_short(table)
    yield from stuck_overvoltage(review, table)


def stuck_overvoltage(review: Review, faults: list[FaultRow]) -> Iterator[Finding]:
    """Single faults that drive the output above the window; one finding a fault, its worst band the witness."""
    for row in _first_by_fault(row for row in faults if row.too_high):
        match row:
            case FaultRow(outcome=Gain(ratio=ratio), output=Span(high=high)):
                shown = StuckHigh(
                    bands=(row.row.name,),
                    energised=row.energised,
                    ratio=ratio,
                    input_v=high / ratio,
                    output_v=high,
                    limit_v=review.window.high,
                    factor=high / review.design.output.nominal_v,
                )
                yield Finding("stuck-overvoltage", Severity.WARNING, _part(row), shown)


def stuck_short(faults: list[FaultRow]) -> Iterator[Finding]:
    """Single faults that short turns or tie line to neutral; one finding a fault, the bands the witness."""
    shorting = [row for row in faults if row.shorts]
    for first in _first_by_fault(shorting):
        bands = tuple(row.row.name for row in shorting if row.fault == first.fault)
        shown = StuckShort(bands=bands, energised=first.energised)
        yield Finding("stuck-short", Severity.WARNING, _part(first), shown)


def _part(one: FaultRow) -> str:
    return f"{one.fault.part} {one.fault.fault}"


def _first_by_fault(faults: Iterable[FaultRow]) -> list[FaultRow]:
    """For every fault the first of its rows."""
    first: dict[AnyFault, FaultRow] = {}
    for row in faults:
        first.setdefault(row.fault, row)
    return list(first.values())
