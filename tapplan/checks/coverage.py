"""Whether the mains range is served: by the turns, by the table, inside the window, with hysteresis enough."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import Literal

from tapplan.checks.finding import Finding, Severity, Witness, apart, course, relays, volts
from tapplan.checks.review import Review
from tapplan.control.automaton import automaton
from tapplan.control.courses import shortest_course
from tapplan.control.reading import Blur
from tapplan.control.serving import STEADY, Served, rippling
from tapplan.control.source import Source
from tapplan.control.table import ControlTable, Meeting, Row
from tapplan.exact import Opening, Span, uncovered


def gaps(review: Review) -> list[Finding]:
    """The coverage gaps: inputs no state serves, then inputs no band holds."""
    return [*uncovered_range(review), *dead_zone(review)]


def uncovered_range(review: Review) -> Iterator[Finding]:
    """Inputs of the range that no usable state serves: the turns are wrong."""
    spans = [one.serves for one in review.serving if one.serves is not None]
    for opening in uncovered(spans, review.mains):
        volt = opening.witness()
        below, above = _neighbours(review, volt)
        nearest = below or above
        yield Finding(
            "uncovered-range",
            Severity.FAULT,
            "mains.range_v",
            f"{_stretch(opening)}: no usable relay state keeps the output inside the window"
            + _remedy(review, opening, below, above),
            Witness(
                from_v=opening.low,
                to_v=opening.high,
                input_v=volt,
                energised=nearest.state.energised if nearest else None,
                ratio=nearest.ratio if nearest else None,
                output_v=nearest.ratio * volt if nearest else None,
            ),
        )


def _neighbours(review: Review, volt: Fraction) -> tuple[Served | None, Served | None]:
    """The states that serve nearest below and nearest above an input that none serves."""
    serving = [(one, one.serves) for one in review.serving if one.serves is not None]
    below = max(((o, s.high) for o, s in serving if s.high <= volt), key=lambda pair: pair[1], default=None)
    above = min(((o, s.low) for o, s in serving if s.low >= volt), key=lambda pair: pair[1], default=None)
    return below[0] if below else None, above[0] if above else None


def _remedy(review: Review, opening: Opening, below: Served | None, above: Served | None) -> str:
    """By how much each neighbour would have to stretch to close the opening alone."""
    width = volts(opening.high - opening.low)
    parts = []
    if below is not None:
        needed = float(review.window.high / opening.high)
        parts.append(
            f"{relays(below.state.energised)} would have to reach {width} higher"
            f" (ratio {needed:.4f} instead of {float(below.ratio):.4f})"
        )
    if above is not None:
        needed = float(review.window.low / opening.low)
        parts.append(
            f"{relays(above.state.energised)} would have to begin {width} lower"
            f" (ratio {needed:.4f} instead of {float(above.ratio):.4f})"
        )
    return "; " + ", or ".join(parts) if parts else ""


def dead_zone(review: Review) -> Iterator[Finding]:
    """Inputs of the range some reading of which, error and noise included, no band holds: the table is wrong."""
    for unheld in unheld_readings(review.table):
        opening = unheld.inputs(review.table.blur).meet(review.mains)
        if opening is None:
            continue
        volt = opening.witness()
        reading = unheld.reading(volt, review.table.blur)
        yield Finding(
            "dead-zone",
            Severity.FAULT,
            _place_of(unheld),
            f"{_stretch(opening)}: a reading of {volts(reading)} is held by no band",
            Witness(from_v=opening.low, to_v=opening.high, input_v=volt, reading_v=reading, course_v=(volt,)),
        )


@dataclass(frozen=True, slots=True)
class Unheld:
    """Readings, referred to the input, that no band surely holds: between the band below and the band above.

    `low` and `high` are their ends in input volts, where the most (of the band below) and the least (of the one
    above) is read. None: there is no band on that side, and readings go on to nought or without end.
    """

    below: Row | None
    above: Row | None
    low: Fraction
    high: Fraction

    @property
    def read_low(self) -> Fraction:
        """What is read of an input volt at the low end, at the most."""
        return _read(self.below, "high")

    @property
    def read_high(self) -> Fraction:
        """What is read of an input volt at the high end, at the least."""
        return _read(self.above, "low")

    def inputs(self, blur: Blur) -> Opening:
        """The inputs some reading of which lies here."""
        below, above = self.below, self.above
        low = self.low if below is None or below.read is None else blur.lowest(below.kept.high, below.read)
        high = self.high if above is None or above.read is None else blur.highest(above.kept.low, above.read)
        return Opening(low, high)

    def reading(self, volt: Fraction, blur: Blur) -> Fraction:
        """A reading of this input strictly between the ends: the error-free one if it lies there."""
        if self.low < volt < self.high:
            return volt
        lowest = (1 - blur.error) * volt - blur.half_noise / self.read_high
        highest = (1 + blur.error) * volt + blur.half_noise / self.read_low
        return (max(lowest, self.low) + min(highest, self.high)) / 2


def _read(row: Row | None, end: Literal["low", "high"]) -> Fraction:
    return Fraction(1) if row is None or row.read is None else getattr(row.read, end)


def unheld_readings(table: ControlTable) -> list[Unheld]:
    """Every stretch of readings that no band surely holds, by rising input; none is below nought."""
    held = [(row, Span(low, high)) for row in table.rows if row.read for low, high in [_sure(row)] if low <= high]
    top = max([span.high for _, span in held], default=Fraction(0)) + 4 * table.design.mains.span.high
    found = []
    for opening in uncovered([span for _, span in held], Span(Fraction(0), top)):
        below = [row for row, span in held if span.high == opening.low]
        above = [row for row, span in held if span.low == opening.high]
        found.append(
            Unheld(
                min(below, key=lambda row: _read(row, "high"), default=None),
                min(above, key=lambda row: _read(row, "low"), default=None),
                opening.low,
                opening.high,
            )
        )
    return found


def _sure(row: Row) -> tuple[Fraction, Fraction]:
    """The input volts, error and noise left out, that keep a row under every load."""
    return row.kept.low / _read(row, "low"), row.kept.high / _read(row, "high")


def _place_of(unheld: Unheld) -> str:
    below, above = unheld.below, unheld.above
    if below is not None and above is not None:
        return f'bands "{below.name}" and "{above.name}"'
    if below is not None:
        return f'above band "{below.name}"'
    return "bands" if above is None else f'below band "{above.name}"'


def chatter(review: Review) -> Iterator[Finding]:
    """Neighbours that touch, or overlap by no more than the noise of the reading."""
    for meeting in review.table.meetings():
        if meeting.overlap >= 0 >= meeting.margin:
            yield Finding(
                "chatter",
                Severity.FAULT,
                _both(meeting),
                f"they overlap by {volts(meeting.overlap)} of input, no more than the reading's noise of "
                f"{volts(meeting.noise)}: {_chattering(meeting)}",
                _overlap_witness(review, meeting),
            )
    yield from _chatter_apart(review)


def _chattering(meeting: Meeting) -> str:
    if meeting.margin < 0:
        return "the relays can move back and forth at one steady input"
    return "no margin is left, and the least more noise moves the relays back and forth at one steady input"


def _both(meeting: Meeting) -> str:
    return f'bands "{meeting.below.name}" and "{meeting.above.name}"'


def _chatter_apart(review: Review) -> Iterator[Finding]:
    """Rows that are no neighbours, and yet follow one another under the noise at one steady input."""
    rows = review.table.rows
    close = {
        (meeting.below, meeting.above)
        for meeting in review.table.meetings()
        if meeting.overlap < 0 or meeting.margin <= 0
    }
    stiff = Source(Fraction(0), Fraction(0), review.design.output.nominal_v, "impedance")
    same = review.quiet.source.stiff
    quiet = review.quiet if same else automaton(review.decisions, noisy=False, source=stiff)
    noisy = review.noisy if same else automaton(review.decisions, noisy=True, source=stiff)
    steady = {cycle.standings for cycle in quiet.cycles()}
    for cycle in noisy.cycles():
        knot = cycle.rows
        if (
            cycle.away
            or cycle.standings in steady
            or any((rows[low], rows[high]) in close for low, high in pairwise(knot))
        ):
            continue
        names = tuple(rows[number].name for number in knot)
        yield Finding(
            "chatter",
            Severity.FAULT,
            "bands " + " and ".join(f'"{name}"' for name in names),
            f"at a steady input of {volts(cycle.emf.low)} to {volts(cycle.emf.high)} the reading's noise of "
            f"{volts(review.design.sensing.noise_v)} moves the relays to and fro",
            Witness(bands=names, from_v=cycle.emf.low, to_v=cycle.emf.high, noise_v=review.design.sensing.noise_v),
        )


def thin_hysteresis(review: Review) -> Iterator[Finding]:
    """Neighbours that overlap by more than the noise but less than the hysteresis wanted."""
    wanted = review.design.sensing.hysteresis_v
    for meeting in review.table.meetings():
        if meeting.margin > 0 and meeting.overlap < wanted:
            yield Finding(
                "thin-hysteresis",
                Severity.WARNING,
                _both(meeting),
                f"they overlap by {volts(meeting.overlap)} of input; hysteresis_v asks for {volts(wanted)}",
                _overlap_witness(review, meeting),
            )


def _overlap_witness(review: Review, meeting: Meeting) -> Witness:
    sensing = review.design.sensing
    return Witness(
        bands=(meeting.below.name, meeting.above.name),
        input_v=_sure(meeting.below)[1],
        from_v=_sure(meeting.above)[0],
        to_v=_sure(meeting.below)[1],
        overlap_v=meeting.overlap,
        noise_v=sensing.noise_v,
        wanted_v=sensing.hysteresis_v,
    )


def ripple_in_reading(review: Review) -> Iterator[Finding]:
    """An averaging window that is no whole number of half cycles, so that the reading of a steady line wanders."""
    wander = rippling(review.design)
    if wander == STEADY:
        return
    low, high = (f"{100 * float(end - 1):+.2f} %" for end in (wander.low, wander.high))
    yield Finding(
        "ripple-in-reading",
        Severity.NOTE,
        "sensing.window_cycles",
        f"a window of {float(review.design.sensing.window_cycles):g} cycles is no whole number of half cycles: a "
        f"steady line is read anywhere from {low} to {high} of what it is, and every promise is proven with that",
        Witness(factor=wander.high if wander.high - 1 > 1 - wander.low else wander.low),
    )


def out_of_window(review: Review) -> Iterator[Finding]:
    """Inputs within the range that a band really holds and that put the output outside the window."""
    for number, row in enumerate(review.table.rows):
        real = row.real_hold(review.table.blur)
        inside = real.meet(review.mains) if real is not None and row.state.usable else None
        if inside is None:
            continue
        for breach in _breaches(review, row, inside):
            reading, steps = _way_there(review, number, breach)
            output, limit = apart(breach.output, breach.limit)
            yield Finding(
                "out-of-window",
                Severity.FAULT,
                f'band "{row.name}"',
                f"at {volts(breach.input)} in, read as {volts(reading)}, which the band holds, the output is "
                f"{output}, {breach.side} the window's {limit} ({course(steps)})",
                replace(_window_witness(row, breach), reading_v=reading, course_v=steps),
            )


def _way_there(review: Review, number: int, breach: Breach) -> tuple[Fraction, tuple[Fraction, ...] | None]:
    """A reading of this input that the row holds, as near as can be, and the shortest course that ends so.

    In input volts. The reading is off by one and the same share all along the course, and by noise at its end.
    """
    hold, error = review.table.rows[number].input_hold or Span(breach.input, breach.input), review.table.blur.error
    reading = min(max(breach.input, hold.low), hold.high)
    factor = 1 + min(max(reading / breach.input - 1, -error), error)
    plain = review.design.sensing.at == "input" or reading == factor * breach.input
    within = review.mains.scaled(factor)
    readings = shortest_course(review.decisions, number, reading, within, switched_on=plain)
    return reading, None if readings is None else (*(one / factor for one in readings[:-1]), breach.input)


def holds_beyond_range(review: Review) -> Iterator[Finding]:
    """Inputs outside the range that a band still holds with the output outside the window."""
    for row in review.table.rows:
        real = row.real_hold(review.table.blur)
        if real is None or not row.state.usable:
            continue
        for outside in _outside(real, review.mains):
            for breach in _breaches(review, row, outside):
                output, limit = apart(breach.output, breach.limit)
                yield Finding(
                    "holds-beyond-range",
                    Severity.NOTE,
                    f'band "{row.name}"',
                    f"outside the mains range, at {volts(breach.input)} in, the band still holds; "
                    f"the output is {output} against a window limit of {limit}",
                    _window_witness(row, breach),
                )


def _outside(real: Span, mains: Span) -> Iterator[Span]:
    if real.low < mains.low:
        yield Span(real.low, min(real.high, mains.low))
    if real.high > mains.high:
        yield Span(max(real.low, mains.high), real.high)


@dataclass(frozen=True, slots=True)
class Breach:
    """The worst input on one side of the window, the output there, and the limit it breaks."""

    input: Fraction
    output: Fraction
    limit: Fraction

    @property
    def side(self) -> Literal["below", "above"]:
        """Where the output stands."""
        return "below" if self.output < self.limit else "above"


def _breaches(review: Review, row: Row, inputs: Span) -> Iterator[Breach]:
    """The worst input on each side of the window, where the window is left."""
    window = review.window
    if row.ratio is None or row.full is None:
        return
    lowest, highest = row.full * inputs.low, row.ratio * inputs.high
    if lowest < window.low:
        yield Breach(inputs.low, lowest, window.low)
    if highest > window.high:
        yield Breach(inputs.high, highest, window.high)


def _window_witness(row: Row, breach: Breach) -> Witness:
    return Witness(
        bands=(row.name,),
        energised=row.energised,
        ratio=row.ratio,
        input_v=breach.input,
        output_v=breach.output,
        limit_v=breach.limit,
    )


def wrong_way(review: Review) -> Iterator[Finding]:
    """A band at higher input with a higher ratio than its lower neighbour."""
    for below, above in pairwise(review.table.rows):
        if below.ratio is not None and above.ratio is not None and above.ratio > below.ratio:
            yield Finding(
                "wrong-way",
                Severity.FAULT,
                f'bands "{below.name}" and "{above.name}"',
                f"the ratio rises from {below.ratio} to {above.ratio} as the input rises: "
                "the upper band boosts what is already high",
                Witness(
                    bands=(below.name, above.name),
                    energised=above.energised,
                    ratio=above.ratio,
                    input_v=above.input_hold.low if above.input_hold else None,
                    output_v=above.ratio * above.input_hold.low if above.input_hold else None,
                ),
            )


def blind_reading(review: Review) -> Iterator[Finding]:
    """A band, or being away, whose state leaves the reading without a fixed, positive share of the input."""
    unread = "the sensed points do not read a fixed, positive share of the input, so the controller cannot know where"
    for row in review.table.rows:
        if row.sensed is None and row.state.usable:
            yield Finding(
                "blind-reading",
                Severity.FAULT,
                f'band "{row.name}"',
                f"in this state {unread} it stands",
                Witness(bands=(row.name,), energised=row.energised, ratio=row.ratio),
            )
    away = review.table.away
    if away.sensed is None and review.table.rows:
        yield Finding(
            "blind-reading",
            Severity.FAULT,
            "away",
            f"with no band in force ({relays(away.state.energised)}) {unread} to come back to",
            Witness(energised=away.state.energised, ratio=away.state.ratio),
        )


def stranded(review: Review) -> Iterator[Finding]:
    """Promised inputs some reading of which, while away, lies outside `return_v`: the load need never come back."""
    away, backup = review.table.away, review.design.backup
    if backup is None or away.read is None or not review.table.rows:
        return
    needed, given = review.table.blur.readings(review.mains, away.read), Span(*backup.return_v)
    sides = [
        ("low", needed.low, given.low, review.mains.low),
        ("high", needed.high, given.high, review.mains.high),
    ]
    for side, reading, end, volt in sides:
        if (reading < end) if side == "low" else (reading > end):
            found, limit = apart(reading, end)
            yield Finding(
                "stranded",
                Severity.FAULT,
                f"backup.return_v, {side} side",
                f"away at a steady {volts(volt)} in, a promised input, the reading can stay at {found}, where "
                f"return_v {'begins' if side == 'low' else 'ends'} at {limit}: the load need never come back",
                Witness(input_v=volt, reading_v=reading, limit_v=end, least_v=reading),
            )


def _stretch(opening: Opening) -> str:
    return f"inputs {volts(opening.low)} to {volts(opening.high)}"
