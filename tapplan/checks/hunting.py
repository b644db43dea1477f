"""Whether the stage can hunt at a steady source, and the least threshold that stops it.

With a passive load, source impedance alone does not make an input-sensed stage hunt: a boost draws more current
and lowers the inlet further, which widens the loop (own derivation). What does: a load that leaves for the
backup, and a step wider than the window of a reading taken behind the relays.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.witnesses.moving import BackupRound, EndlessRound
from tapplan.control.automaton import Cycle
from tapplan.control.commands import commands
from tapplan.control.moves import move_between
from tapplan.control.source import source_of
from tapplan.control.standing import InRow
from tapplan.control.table import Row
from tapplan.design.model import Design
from tapplan.exact import Span

FINEST = Fraction(1, 1000)  # volts: to this the searches for a least value go


def own_action(review: Review) -> Iterator[Finding]:
    """Rows that follow one another while the source stands still."""
    yield from hunting(review)
    yield from backup_cycling(review)


def hunting(review: Review) -> Iterator[Finding]:
    """Rows that follow one another without end at one steady source, with no noise at all."""
    for cycle in review.quiet_cycles:
        if cycle.away:
            continue
        names = tuple(review.table.rows[number].name for number in cycle.rows)
        shown = EndlessRound(
            bands=names,
            emf_v=cycle.emf.witness(),
            from_v=cycle.emf.low,
            to_v=cycle.emf.high,
            lasts_ms=_round_ms(review, cycle),
            least_v=_least_upper_end(review, cycle),
        )
        yield Finding("hunting", Severity.FAULT, where.in_bands(*names), shown)


def _round_ms(review: Review, cycle: Cycle) -> Fraction:
    """How soon a round can be over: the shorter confirmation, and the relays' travel and blanking, for each move."""
    steps = [*pairwise(cycle.rows), (cycle.rows[-1], cycle.rows[0])]
    confirm = review.design.sensing.shortest_confirmation_ms
    moves = (move_between(review.table, InRow(a), InRow(b)) for a, b in steps)
    return sum((confirm + commands(review.table, review.mixtures, move).decides_ms for move in moves), Fraction(0))


def _least_upper_end(review: Review, cycle: Cycle) -> Fraction | None:
    """The upper end of the lower band, in the units sensed, at which the upper band's lower end is just met.

    With shares q and the source behind: E_below(T/q_below) = E_above(low/q_above); at a stiff source
    T = low q_below/q_above, that is, T over low must be no less than the ratio of the shares.
    """
    below, above = review.table.rows[cycle.rows[0]], review.table.rows[cycle.rows[-1]]
    if below.sensed is None or above.input_hold is None:
        return None
    source = source_of(review.design)
    emf = source.emf(above.input_hold.low, above.ratio)
    return source.inlet(emf, below.ratio) * below.sensed


@dataclass(frozen=True, slots=True)
class LeastReturn:
    """What is read at most, on the low side, when the load has just left (on the high side: at least).

    `bare` with the load off before as well, `loaded` with it on, so that the inlet springs back; both in the units
    read while away. The return must lie beyond `bare`, and no nearer than `loaded`.
    """

    low_side: bool
    bare: Fraction
    loaded: Fraction

    def cycles(self, end: Fraction) -> bool:
        """Whether a return that begins (ends) there lets mains and backup follow each other without end."""
        return end <= self.bare or end < self.loaded if self.low_side else end >= self.bare

    @property
    def bound(self) -> Fraction:
        """The farther of the two."""
        return max(self.bare, self.loaded) if self.low_side else self.bare


def backup_cycling(review: Review) -> Iterator[Finding]:
    """Mains and backup that follow each other: the load leaves, the inlet rises, the load comes back."""
    backup = review.design.backup
    if backup is None:
        return
    for low_side, end in ((True, backup.return_v[0]), (False, backup.return_v[1])):
        least = least_return(review, low_side=low_side)
        if least is not None and least.cycles(end):
            yield _cycling(review, least, end)


def least_return(review: Review, *, low_side: bool) -> LeastReturn | None:
    """Where the reading stands when the load has just left; None where nothing fixes it.

    A reading that errs by s = 1 + eps leaves the outermost band at (leave + n/2)/(s q); the load gone, the inlet
    stands at the EMF, and s q0 E + n/2 is read. For a load of constant impedance, a reading of the input and no noise
    that is leave (1 + z), z = Z g^2 S / Vn^2 (own derivation). On the high side a load only parts the two further.
    """
    rows, away, blur = review.table.rows, review.table.away.read, review.table.blur
    row = rows[0 if low_side else -1] if rows else None
    if row is None or row.read is None or away is None:
        return None
    share, source = row.read, source_of(review.design)
    half, errors = blur.half_noise, (-blur.error, Fraction(0), blur.error)

    def read(error: Fraction, ratio: Fraction | None) -> Fraction:
        scale = 1 + error
        if low_side:
            left = (row.kept.low + half) / (scale * share.low)
            return scale * away.high * source.emf(left, ratio) + half
        left = (row.kept.high - half) / (scale * share.high)
        return scale * away.low * left - half

    choose = max if low_side else min
    bare = choose(read(error, None) for error in errors)
    loaded = choose(read(error, row.ratio) for error in errors)
    return LeastReturn(low_side, bare, loaded)


def _cycling(review: Review, least: LeastReturn, end: Fraction) -> Finding:
    row: Row = review.table.rows[0 if least.low_side else -1]
    shown = BackupRound(
        bands=(row.name, "backup"),
        side="low" if least.low_side else "high",
        reading_v=least.bound,
        limit_v=end,
        least_v=least.bound,
        noise_v=review.design.sensing.noise_v,
    )
    return Finding("backup-cycling", Severity.FAULT, f"{where.in_band(row.name)} and backup", shown)


def last_calm(review: Review, changed: Callable[[Fraction], Design], among: Span) -> Fraction | None:
    """The largest value with which mains and backup do not cycle, to `FINEST`; None when all are calm.

    `changed` is the design with a value in it; below `among.low`, where even that one cycles.
    """

    def calm(value: Fraction) -> bool:
        design = changed(value)
        moved = replace(review, design=design, table=replace(review.table, design=design))
        return not any(backup_cycling(moved))

    low, high = among.low, among.high
    if calm(high):
        return None
    if not calm(low):
        return low - FINEST
    while high - low > FINEST:
        middle = (low + high) / 2
        low, high = (middle, high) if calm(middle) else (low, middle)
    return low
