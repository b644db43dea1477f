"""Whether the stage can go to and fro at one steady source, and the least threshold that stops it.

With a passive load, source impedance alone does not make an input-sensed stage hunt: a boost draws more current
and lowers the inlet further, which widens the loop (own derivation). What does: a load that leaves for the
backup, and a step wider than the window of a reading taken behind the relays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.review import Review
from tapplan.control.automaton import Automaton, Cycle, automaton
from tapplan.control.lookup import AWAY
from tapplan.control.source import source_of
from tapplan.control.table import ControlTable, Row
from tapplan.control.timing import travel_between
from tapplan.design.model import Design
from tapplan.exact import Span

FINEST = Fraction(1, 1000)  # volts: to this the searches for a least threshold go


def own_action(review: Review) -> Iterator[Finding]:
    """Rows that follow one another while the source stands still."""
    yield from hunting(review)
    yield from backup_cycling(review)


def _names(review: Review, knot: tuple[int, ...]) -> tuple[str, ...]:
    return tuple("backup" if number == AWAY else review.table.rows[number].name for number in knot)


def _where(names: tuple[str, ...]) -> str:
    return "bands " + " and ".join(f'"{name}"' for name in names)


def hunting(review: Review) -> Iterator[Finding]:
    """Rows that follow one another without end at one steady source, with no noise at all."""
    for cycle in review.quiet.cycles():
        if AWAY in cycle.rows:
            continue
        names = _names(review, cycle.rows)
        below, above = (review.table.rows[number] for number in (cycle.rows[0], cycle.rows[-1]))
        formula, search = _least_upper_end(review, (below, above)), _searched_upper_end(review, cycle)
        mend = (
            f'; to stop it, hold "{below.name}" to at least {volts(formula)} (formula), {volts(search)} (search)'
            if formula is not None and search is not None
            else ""
        )
        period = _round_ms(review, cycle)
        yield Finding(
            "hunting",
            Severity.FAULT,
            _where(names),
            f"at a steady source of {volts(cycle.emf.low)} to {volts(cycle.emf.high)} each move undoes itself: a "
            f"round can take as little as {float(period):g} ms, without end{mend}",
            Witness(
                bands=names,
                emf_v=cycle.emf.witness(),
                from_v=cycle.emf.low,
                to_v=cycle.emf.high,
                lasts_ms=period,
                least_v=formula,
                least_search_v=search,
            ),
        )


def _round_ms(review: Review, cycle: Cycle) -> Fraction:
    """How soon a round can be over: the confirmation, and the first contact's change, for each move."""
    rows = [review.table.rows[number] for number in cycle.rows]
    steps = [*pairwise(rows), (rows[-1], rows[0])]
    return sum(
        (
            review.design.sensing.confirm_ms + travel_between(review.design, a.energised, b.energised).first_ms
            for a, b in steps
        ),
        Fraction(0),
    )


def _least_upper_end(review: Review, pair: tuple[Row, Row]) -> Fraction | None:
    """The upper end of the lower band, in the units sensed, at which the upper band's lower end is just met.

    With shares q and the source behind: E_below(T/q_below) = E_above(low/q_above); at a stiff source
    T = low q_below/q_above, that is, T over low must be no less than the ratio of the shares.
    """
    below, above = pair
    if below.sensed is None or above.input_hold is None:
        return None
    source = review.quiet.source
    emf = source.emf(above.input_hold.low, above.ratio)
    return source.inlet(emf, below.ratio) * below.sensed


def _searched_upper_end(review: Review, cycle: Cycle) -> Fraction | None:
    """As `_least_upper_end`, by trying: the least upper end with which these rows no longer form a cycle."""
    table, place = review.table, cycle.rows[0]
    kept = table.rows[place].kept

    def calm(end: Fraction) -> bool:
        row = replace(table.rows[place], kept=Span(min(kept.low, end), end))
        changed = replace(table, rows=(*table.rows[:place], row, *table.rows[place + 1 :]))
        return cycle.rows not in {one.rows for one in automaton(changed, noisy=False).cycles()}

    return _least(calm, Span(kept.high, 2 * kept.high))


def _least(calm: Callable[[Fraction], bool], among: Span) -> Fraction | None:
    """The least value that is calm, by halving, to `FINEST`; None when even the highest is not."""
    low, high = among.low, among.high
    if not calm(high):
        return None
    while high - low > FINEST:
        middle = (low + high) / 2
        low, high = (low, middle) if calm(middle) else (middle, high)
    return high


def backup_cycling(review: Review) -> Iterator[Finding]:
    """Mains and backup that follow each other: the load leaves, the inlet rises, the load comes back."""
    backup = review.design.backup
    if backup is None or not review.table.rows:
        return
    cycles = [cycle for noisy in erring(review) for cycle in noisy.cycles() if AWAY in cycle.rows]
    middle = sum(backup.return_v) / 2
    for low_side in (True, False):
        share = _outermost(review, low_side=low_side).sensed or Fraction(1)
        here = [cycle for cycle in cycles if (cycle.emf.low * share < middle) == low_side]
        if here:
            yield _cycling(review, here, low_side=low_side)


def erring(review: Review) -> list[Automaton]:
    """The noisy controller as it is, and where that differs, with its reading at either end of its error.

    A load of constant impedance scales with the volts, so that an error moves a cycle and neither makes nor ends one.
    """
    source, error = review.noisy.source, review.table.error
    if source.stiff or source.model == "impedance" or not error:
        return [review.noisy]
    return [review.noisy, *(automaton(review.table, noisy=True, error=one) for one in (-error, error))]


def last_calm(review: Review, changed: Callable[[Fraction], Design], among: Span) -> Fraction | None:
    """The largest value with which mains and backup do not cycle, by formula, to `FINEST`; None when all are calm.

    `changed` is the design with a value in it; below `among.low`, where even that one cycles.
    """

    def cycles(value: Fraction) -> bool:
        design = changed(value)
        moved = replace(review, design=design, table=replace(review.table, design=design))
        low, high = design.backup.return_v if design.backup is not None else (Fraction(0), Fraction(0))
        return _least_return(moved, low_side=True) >= low or _least_return(moved, low_side=False) <= high

    first = _least(cycles, among)
    return None if first is None else first - FINEST


def _outermost(review: Review, *, low_side: bool) -> Row:
    return review.table.rows[0 if low_side else -1]


def _cycling(review: Review, cycles: list[Cycle], *, low_side: bool) -> Finding:
    names = tuple(dict.fromkeys(name for cycle in cycles for name in _names(review, cycle.rows)))
    emf = Span(min(cycle.emf.low for cycle in cycles), max(cycle.emf.high for cycle in cycles))
    formula, search = _least_return(review, low_side=low_side), _searched_return(review, low_side=low_side)
    side, bound = ("low", "begin above") if low_side else ("high", "end below")
    tried = "no return that far in stops it" if search is None else f"{volts(search)} (search)"
    return Finding(
        "backup-cycling",
        Severity.FAULT,
        _where(names),
        f"at a steady source of {volts(emf.low)} to {volts(emf.high)} the load goes to the backup and comes back "
        f"without end, on the {side} side; return_v must {bound} {volts(formula)} (formula), {tried}",
        Witness(
            bands=names,
            emf_v=cycles[0].emf.witness(),
            from_v=emf.low,
            to_v=emf.high,
            least_v=formula,
            least_search_v=search,
            noise_v=review.design.sensing.noise_v,
        ),
    )


def _least_return(review: Review, *, low_side: bool) -> Fraction:
    """Where the reading stands when the load has just left, in the units sensed; the return must lie beyond.

    The load leaves at leave_v, noise included; the inlet then stands at the EMF, Z I above: on the low side
    return = E(leave + noise/2) + noise/2, which for a load of constant impedance and no noise is
    leave (1 + z), z = Z g^2 S / Vn^2 (own derivation). A reading s too high leaves at leave/s and reads s E.
    """
    row = _outermost(review, low_side=low_side)
    hold, share = row.input_hold, row.sensed or Fraction(1)
    half = review.design.sensing.noise_v / 2 / share
    source = source_of(review.design)
    if hold is None:
        return Fraction(0)
    scales = [1 + error for error in (-review.table.error, Fraction(0), review.table.error)]
    left = hold.low + half if low_side else hold.high - half
    unloaded = [scale * source.emf(left / scale, row.ratio) for scale in scales]
    return (max(unloaded) + half) * share if low_side else (min(unloaded) - half) * share


def _searched_return(review: Review, *, low_side: bool) -> Fraction | None:
    """As `_least_return`, by trying returns farther and farther in until no cycle is left on that side."""
    backup = review.design.backup
    if backup is None:
        return None
    first, last = backup.return_v if low_side else (-backup.return_v[1], -backup.return_v[0])

    def calm(end: Fraction) -> bool:
        moved = (end, backup.return_v[1]) if low_side else (backup.return_v[0], -end)
        table = _returning(review.table, moved)
        share = _outermost(review, low_side=low_side).sensed or Fraction(1)
        middle = sum(backup.return_v) / 2
        return not any(
            AWAY in cycle.rows and (cycle.emf.low * share < middle) == low_side
            for error in {Fraction(0), table.error, -table.error}
            for cycle in automaton(table, noisy=True, error=error).cycles()
        )

    found = _least(calm, Span(first, last))
    return found if found is None or low_side else -found


def _returning(table: ControlTable, return_v: tuple[Fraction, Fraction]) -> ControlTable:
    backup = table.design.backup
    if backup is None:
        return table
    return replace(table, design=replace(table.design, backup=replace(backup, return_v=return_v)))
