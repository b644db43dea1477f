"""What the controller reads just after a move: the next band's own sag, the open flight, the load's inrush."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.review import Review
from tapplan.control.lookup import AWAY
from tapplan.control.moves import MOST_MOVERS, Move
from tapplan.control.table import Row
from tapplan.control.timing import reading_ms, travel_between
from tapplan.network.turns import Kind


def after_moves(review: Review) -> Iterator[Finding]:
    """All that a reading taken just after a move can bring about."""
    every = list(crossings(review))
    yield from step_through(review, every)
    yield from flight_in_reading(review, every)
    yield from inrush_retrip(review, every)


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a slow course inside the mains range leaves a row for another: the EMF there, and to which side."""

    old: int
    new: int
    emf: Fraction
    side: int


def crossings(review: Review) -> Iterator[Crossing]:
    """Every place where a slow course leaves one row for another, row by row."""
    quiet = review.quiet
    for number, row in enumerate(review.table.rows):
        hold = row.input_hold
        if hold is None:
            continue
        for end, side in ((hold.low, -1), (hold.high, 1)):
            emf = quiet.source.emf(end, row.ratio)
            new = quiet.follows(number, quiet.beyond(emf, side))
            if end in review.mains and new not in (AWAY, number):
                yield Crossing(number, new, emf, side)


def step_through(review: Review, every: list[Crossing]) -> Iterator[Finding]:
    """A slow course that leaves a row and does not stay in the next: one step calls for another."""
    for crossing in every:
        entered = review.quiet.course(crossing.old, review.quiet.beyond(crossing.emf, crossing.side))
        if len(entered) < 2 or crossing.old in entered or len(set(entered)) < len(entered):
            continue
        names = tuple("backup" if n == AWAY else review.table.rows[n].name for n in (crossing.old, *entered))
        inlet = review.quiet.source.inlet(crossing.emf, review.table.rows[crossing.new].ratio)
        yield Finding(
            "step-through",
            Severity.WARNING,
            f'band "{names[0]}"',
            f"left at a source of {volts(crossing.emf)}, the stage does not stay in the next band, where the inlet "
            f'stands at {volts(inlet)}, but moves on: "' + '" to "'.join(names) + '"',
            Witness(bands=names, emf_v=crossing.emf, input_v=inlet, count=len(entered)),
        )


def flight_in_reading(review: Review, every: list[Crossing]) -> Iterator[Finding]:
    """Moves after which a reading that still holds the open flight leaves the new band; the worst of them.

    While relays fly the load is off: an inlet reading rises to the EMF E, one behind the contacts falls to 0.
    With the gap as a share a of the window, reading^2 = a x^2 + (1 - a) v^2, x what is read in flight.
    """
    design, window = review.design, reading_ms(review.design)
    found: list[tuple[Fraction, Finding]] = []
    for crossing in every:
        old, new, emf = review.table.rows[crossing.old], review.table.rows[crossing.new], crossing.emf
        gap = travel_between(design, old.energised, new.energised).gap_ms
        inlet, hold = review.quiet.source.inlet(emf, new.ratio), new.input_hold
        in_flight = _read_in_flight(review, (old, new), emf)
        if hold is None or inlet not in hold or in_flight is None or design.sensing.confirm_ms >= window + gap:
            continue
        share = min(gap / window, Fraction(1))
        square = share * in_flight**2 + (1 - share) * inlet**2
        if hold.low**2 <= square <= hold.high**2:
            continue
        reading = Fraction(round(float(square) ** 0.5 * 1000), 1000)
        limit = hold.low if reading < hold.low else hold.high
        finding = Finding(
            "flight-in-reading",
            Severity.WARNING,
            f'"{old.name}" to "{new.name}"',
            f"a reading that holds the open flight of {float(gap):g} ms shows {volts(reading)} of input, outside the "
            f"band just entered, which ends at {volts(limit)}; ignoring readings for {float(window + gap):g} ms "
            "after a move stops it, as does a confirm_ms of that length",
            Witness(
                bands=(old.name, new.name),
                emf_v=emf,
                input_v=inlet,
                reading_v=reading,
                limit_v=limit,
                lasts_ms=gap,
                limit_ms=window + gap,
            ),
        )
        found.append((abs(reading - limit), finding))
    if found:
        yield max(found, key=lambda one: one[0])[1]


def _read_in_flight(review: Review, rows: tuple[Row, Row], emf: Fraction) -> Fraction | None:
    """What the controller reads, as input volts, while the relays of a move fly; None when nothing changes."""
    old, new = rows
    if review.design.sensing.at == "input":
        return emf
    lost = {Kind.UNFED} if review.circuit.sensed is not None else {Kind.UNFED, Kind.FLOATING}
    move = Move("", frozenset(old.energised), frozenset(new.energised), None)
    if len(move.movers) > MOST_MOVERS:
        return None
    met = {passage.outcome.kind for passage in review.mixtures.passages(move) if passage.flying}
    return Fraction(0) if met & lost else None


def _return(review: Review) -> Iterator[Crossing]:
    """The return from the backup at the lowest input it comes back at."""
    backup, rows = review.design.backup, review.table.rows
    shares = [row.sensed for row in rows if row.sensed is not None]
    if backup is None or not shares:
        return
    low = backup.return_v[0] / max(shares)
    new = review.quiet.follows(AWAY, low)
    if new != AWAY:
        yield Crossing(AWAY, new, low, 1)


def inrush_retrip(review: Review, every: list[Crossing]) -> Iterator[Finding]:
    """Moves after which the load's inrush pulls the inlet below the new band.

    With the inrush current I at the output the inlet stands at E - Z g I. To stop it the band must be held down
    to there, that is a hysteresis of 1 - M (1 - q) with M the change of the inlet by the move and q the sag
    (own derivation), or readings must be ignored until the inrush is over.
    """
    inrush, design, source = review.design.output.inrush_a, review.design, review.quiet.source
    if inrush is None or source.ohm == 0:
        return
    for crossing in [*every, *_return(review)]:
        new, emf = review.table.rows[crossing.new], crossing.emf
        hold = new.input_hold
        if hold is None or new.ratio is None:
            continue
        sagged = max(emf - source.ohm * new.ratio * inrush, Fraction(0))
        if sagged >= hold.low or not hold.low <= source.inlet(emf, new.ratio) <= hold.high:
            continue
        blind = reading_ms(design) + design.sensing.confirm_ms
        old = "backup" if crossing.old == AWAY else review.table.rows[crossing.old].name
        before = source.inlet(emf, None if crossing.old == AWAY else review.table.rows[crossing.old].ratio)
        yield Finding(
            "inrush-retrip",
            Severity.WARNING,
            f'"{old}" to "{new.name}"',
            f"the load's inrush of {float(inrush):g} A pulls the inlet down to {volts(sagged)}, below the band's "
            f"{volts(hold.low)}: where it lasts longer than a reading and its confirmation, {float(blind):.4g} ms, "
            f"the stage moves again; a hysteresis of {float(100 * (1 - sagged / before)):.1f} % stops it, as does "
            "ignoring readings until it is over",
            Witness(
                bands=(old, new.name),
                emf_v=emf,
                input_v=sagged,
                limit_v=hold.low,
                least_v=sagged,
                limit_ms=blind,
            ),
        )
