"""What the controller reads just after a move: the next band's own sag, the open flight, the load's inrush."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.flight import ON_NOTHING
from tapplan.checks.review import Review
from tapplan.checks.witnesses.moving import FlightRead, InrushSag, SteppedThrough
from tapplan.control.flown import Flown
from tapplan.control.lookup import Place, follows
from tapplan.control.moves import move_between
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import Row
from tapplan.control.timing import reading_ms
from tapplan.network.turns import Kind


def after_moves(review: Review) -> Iterator[Finding]:
    """All that a reading taken just after a move can bring about."""
    every = list(crossings(review))
    yield from step_through(review, every)
    yield from flight_in_reading(review, every)
    yield from inrush_retrip(review, every)


@dataclass(frozen=True, slots=True)
class Crossing:
    """Where a slow course inside the mains range leaves a standing for a row: the EMF there, and to which side."""

    old: Standing
    new: InRow
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
            new = quiet.follows(InRow(number), quiet.beyond(emf, side))
            if end in review.mains and isinstance(new, InRow) and new != InRow(number):
                yield Crossing(InRow(number), new, emf, side)


def _row(review: Review, standing: Standing) -> Row | None:
    return review.table.rows[standing.number] if isinstance(standing, InRow) else None


def named(review: Review, standing: Standing) -> str:
    """A standing in a sentence: a row by its name, else the backup, or every coil off."""
    if isinstance(standing, InRow):
        return review.table.rows[standing.number].name
    return "backup" if standing is AWAY and review.design.backup is not None else "all at rest"


def step_through(review: Review, every: list[Crossing]) -> Iterator[Finding]:
    """A slow course that leaves a row and does not stay in the next: one step calls for another."""
    for crossing in every:
        entered = review.quiet.course(crossing.old, review.quiet.beyond(crossing.emf, crossing.side))
        if len(entered) < 2 or crossing.old in entered or len(set(entered)) < len(entered):
            continue
        names = tuple(named(review, one) for one in (crossing.old, *entered))
        inlet = review.quiet.source.inlet(crossing.emf, review.table.rows[crossing.new.number].ratio)
        shown = SteppedThrough(bands=names, emf_v=crossing.emf, input_v=inlet, count=len(entered))
        yield Finding("step-through", Severity.WARNING, where.in_band(names[0]), shown)


def flight_in_reading(review: Review, every: list[Crossing]) -> Iterator[Finding]:
    """Moves after which a reading that still holds the open flight leaves the new band; the worst of them."""
    found = [one for crossing in every for one in _flight_read(review, crossing)]
    if found:
        worst = max(found, key=lambda one: abs(one.reading_v - one.limit_v))
        yield Finding("flight-in-reading", Severity.WARNING, where.between(*worst.bands), worst)


def _flight_read(review: Review, crossing: Crossing) -> Iterator[FlightRead]:
    """While relays fly the load is off: an inlet reading rises to the EMF E, one behind the contacts falls to 0.

    Readings count again D after the first command, the last relay being settled at s at the latest, and have to stand
    for the confirmation c. So at D + c the window w holds the flight's last part still, at most w - (D - s) - c of
    it, and with that as a share a of the window reads reading^2 = a x^2 + (1 - a) v^2, x what is read in flight.
    """
    design, window = review.design, reading_ms(review.design)
    old, new = _row(review, crossing.old), review.table.rows[crossing.new.number]
    flown = review.flying.of(move_between(review.table, crossing.old, crossing.new))
    if not flown.examined:
        return
    inlet, hold = review.quiet.source.inlet(crossing.emf, new.ratio), new.input_hold
    in_flight = _read_in_flight(review, flown, crossing.emf)
    if old is None or hold is None or inlet not in hold or in_flight is None:
        return
    gap = flown.open_ms(lambda outcome: outcome.kind in ON_NOTHING)
    upward = in_flight > inlet
    confirm, given = design.sensing.confirmation_ms(upward=upward), flown.given
    clear = given.settled_ms + window - confirm
    share = min(gap, clear - given.decides_ms) / window
    square = share * in_flight**2 + (1 - share) * inlet**2
    if share <= 0 or hold.low**2 <= square <= hold.high**2:
        return
    reading = Fraction(round(float(square) ** 0.5 * 1000), 1000)
    yield FlightRead(
        bands=(old.name, new.name),
        emf_v=crossing.emf,
        input_v=inlet,
        reading_v=reading,
        limit_v=hold.low if reading < hold.low else hold.high,
        lasts_ms=gap,
        limit_ms=clear - max(one.commanded for one in given.flights),
    )


def _read_in_flight(review: Review, flown: Flown, emf: Fraction) -> Fraction | None:
    """What the controller reads, as input volts, while the relays of a move fly; None when nothing changes."""
    if review.design.sensing.at == "input":
        return emf
    lost = {Kind.UNFED} if review.circuit.sensed is not None else {Kind.UNFED, Kind.FLOATING}
    met = {passage.outcome.kind for passage in flown.passages if passage.flying}
    return Fraction(0) if met & lost else None


def _return(review: Review) -> Iterator[Crossing]:
    """The return from the backup at the lowest input it comes back at."""
    backup, sensed = review.design.backup, review.table.away.sensed
    if backup is None or sensed is None:
        return
    low = backup.return_v[0] / sensed
    new = follows(review.decisions, AWAY, Place(low))
    if isinstance(new, InRow):
        yield Crossing(AWAY, new, low, 1)


def inrush_retrip(review: Review, every: list[Crossing]) -> Iterator[Finding]:
    """Moves after which the load's inrush pulls the inlet below the new band.

    With the inrush current I at the output the inlet stands at E - Z g I. To stop it the band must be held down
    to there, that is a hysteresis of 1 - M (1 - q) with M the change of the inlet by the move and q the sag
    (own derivation), or readings must be ignored until the inrush is over.
    """
    inrush, source = review.design.output.inrush_a, review.quiet.source
    if inrush is None or source.ohm == 0:
        return
    for crossing in [*every, *_return(review)]:
        new, emf = review.table.rows[crossing.new.number], crossing.emf
        hold = new.input_hold
        if hold is None or new.ratio is None:
            continue
        sagged = max(emf - source.ohm * new.ratio * inrush, Fraction(0))
        if sagged >= hold.low or not hold.low <= source.inlet(emf, new.ratio) <= hold.high:
            continue
        before_row = _row(review, crossing.old)
        before = source.inlet(emf, None if before_row is None else before_row.ratio)
        shown = InrushSag(
            bands=(named(review, crossing.old), new.name),
            emf_v=emf,
            inrush_a=inrush,
            input_v=sagged,
            limit_v=hold.low,
            least_v=sagged,
            limit_ms=_unread_ms(review, crossing),
            hysteresis_pct=100 * (1 - sagged / before),
        )
        yield Finding("inrush-retrip", Severity.WARNING, where.between(*shown.bands), shown)


def _unread_ms(review: Review, crossing: Crossing) -> Fraction:
    """How long, from the first touch of a new contact, nothing that is read can move the stage again."""
    design = review.design
    given = review.flying.of(move_between(review.table, crossing.old, crossing.new)).given
    touched = min((one.touches.low for one in given.flights), default=Fraction(0))
    return max(reading_ms(design), given.decides_ms - touched) + design.sensing.confirmation_ms(upward=False)
