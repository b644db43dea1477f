"""Whether the mains range is served: by the turns, by the table, inside the window, with hysteresis enough."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise

from tapplan.checks.finding import Finding, Severity, Witness, course, relays, volts
from tapplan.checks.review import Review
from tapplan.control.automaton import automaton
from tapplan.control.courses import shortest_course
from tapplan.control.lookup import AWAY
from tapplan.control.serving import Served
from tapplan.control.source import Source
from tapplan.control.table import Row
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
    """Inputs of the range some reading of which, error included, no band holds: the table is wrong."""
    error = review.table.error
    holds = [row.input_hold for row in review.table.rows if row.input_hold is not None]
    readings = Span(Fraction(0), (1 + error) * review.mains.high + 1)
    for unheld in uncovered(holds, readings):
        opening = Opening(unheld.low / (1 + error), unheld.high / (1 - error)).meet(review.mains)
        if opening is None:
            continue
        volt = opening.witness()
        reading = _unheld_reading(volt, error, unheld)
        yield Finding(
            "dead-zone",
            Severity.FAULT,
            _place_of(review, unheld),
            f"{_stretch(opening)}: a reading of {volts(reading)} is held by no band",
            Witness(from_v=opening.low, to_v=opening.high, input_v=volt, reading_v=reading, course_v=(volt,)),
        )


def _unheld_reading(volt: Fraction, error: Fraction, unheld: Opening) -> Fraction:
    """A reading of this input strictly inside the opening: the error-free one if it lies there."""
    if unheld.low < volt < unheld.high:
        return volt
    lowest, highest = (1 - error) * volt, (1 + error) * volt
    return (max(lowest, unheld.low) + min(highest, unheld.high)) / 2


def _place_of(review: Review, unheld: Opening) -> str:
    below = [row.name for row in review.table.rows if row.input_hold and row.input_hold.high == unheld.low]
    above = [row.name for row in review.table.rows if row.input_hold and row.input_hold.low == unheld.high]
    if below and above:
        return f'bands "{below[0]}" and "{above[0]}"'
    if below or above:
        side = "above" if below else "below"
        return f'{side} band "{(below or above)[0]}"'
    return "bands"


def chatter(review: Review) -> Iterator[Finding]:
    """Neighbours that touch, or overlap by no more than the noise of the reading."""
    for below, above, overlap, noise in _overlaps(review):
        if 0 <= overlap <= noise:
            yield Finding(
                "chatter",
                Severity.FAULT,
                f'bands "{below.name}" and "{above.name}"',
                f"they overlap by {volts(overlap)} of input, no more than the reading's noise of {volts(noise)}: "
                "the relays can move back and forth at one steady input",
                _overlap_witness(review, below, above, overlap),
            )
    yield from _chatter_apart(review)


def _chatter_apart(review: Review) -> Iterator[Finding]:
    """Rows that are no neighbours, and yet follow one another under the noise at one steady input."""
    rows = review.table.rows
    close = {(below, above) for below, above, overlap, noise in _overlaps(review) if 0 <= overlap <= noise}
    stiff = Source(Fraction(0), Fraction(0), review.design.output.nominal_v, "impedance")
    same = review.quiet.source.stiff
    quiet = review.quiet if same else automaton(review.table, noisy=False, source=stiff)
    noisy = review.noisy if same else automaton(review.table, noisy=True, source=stiff)
    steady = {cycle.rows for cycle in quiet.cycles()}
    for cycle in noisy.cycles():
        knot = cycle.rows
        if AWAY in knot or knot in steady or any((rows[low], rows[high]) in close for low, high in pairwise(knot)):
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
    for below, above, overlap, noise in _overlaps(review):
        if noise < overlap < wanted:
            yield Finding(
                "thin-hysteresis",
                Severity.WARNING,
                f'bands "{below.name}" and "{above.name}"',
                f"they overlap by {volts(overlap)} of input; hysteresis_v asks for {volts(wanted)}",
                _overlap_witness(review, below, above, overlap),
            )


def _overlaps(review: Review) -> Iterator[tuple[Row, Row, Fraction, Fraction]]:
    """Neighbours with their overlap and noise, both in input volts."""
    for below, above in pairwise(review.table.rows):
        if below.input_hold is None or above.input_hold is None or not below.sensed or not above.sensed:
            continue
        noise = review.design.sensing.noise_v / 2 * (1 / below.sensed + 1 / above.sensed)
        yield below, above, below.input_hold.high - above.input_hold.low, noise


def _overlap_witness(review: Review, below: Row, above: Row, overlap: Fraction) -> Witness:
    sensing = review.design.sensing
    return Witness(
        bands=(below.name, above.name),
        input_v=below.input_hold.high if below.input_hold else None,
        from_v=above.input_hold.low if above.input_hold else None,
        to_v=below.input_hold.high if below.input_hold else None,
        overlap_v=overlap,
        noise_v=sensing.noise_v,
        wanted_v=sensing.hysteresis_v,
    )


def out_of_window(review: Review) -> Iterator[Finding]:
    """Inputs within the range that a band really holds and that put the output outside the window."""
    for number, row in enumerate(review.table.rows):
        real = row.real_hold(review.table.error)
        inside = real.meet(review.mains) if real is not None and row.state.usable else None
        if inside is None:
            continue
        for volt, output, limit in _breaches(review, row, inside):
            side = "below" if output < limit else "above"
            reading, steps = _way_there(review, number, volt)
            yield Finding(
                "out-of-window",
                Severity.FAULT,
                f'band "{row.name}"',
                f"at {volts(volt)} in, read as {volts(reading)}, which the band holds, the output is "
                f"{volts(output)}, {side} the window's {volts(limit)} ({course(steps)})",
                replace(_window_witness(row, (volt, output, limit)), reading_v=reading, course_v=steps),
            )


def _way_there(review: Review, number: int, volt: Fraction) -> tuple[Fraction, tuple[Fraction, ...] | None]:
    """A reading of this input that the row holds, as near as can be, and the shortest course that ends so.

    The reading errs by one and the same share all along the course.
    """
    hold = review.table.rows[number].input_hold or Span(volt, volt)
    reading = min(max(volt, hold.low), hold.high)
    factor = reading / volt
    readings = shortest_course(review.table, number, reading, review.mains.scaled(factor))
    return reading, None if readings is None else tuple(one / factor for one in readings)


def holds_beyond_range(review: Review) -> Iterator[Finding]:
    """Inputs outside the range that a band still holds with the output outside the window."""
    for row in review.table.rows:
        real = row.real_hold(review.table.error)
        if real is None or not row.state.usable:
            continue
        for outside in _outside(real, review.mains):
            for volt, output, limit in _breaches(review, row, outside):
                yield Finding(
                    "holds-beyond-range",
                    Severity.NOTE,
                    f'band "{row.name}"',
                    f"outside the mains range, at {volts(volt)} in, the band still holds; "
                    f"the output is {volts(output)} against a window limit of {volts(limit)}",
                    _window_witness(row, (volt, output, limit)),
                )


def _outside(real: Span, mains: Span) -> Iterator[Span]:
    if real.low < mains.low:
        yield Span(real.low, min(real.high, mains.low))
    if real.high > mains.high:
        yield Span(max(real.low, mains.high), real.high)


Breach = tuple[Fraction, Fraction, Fraction]  # input, output, window limit


def _breaches(review: Review, row: Row, inputs: Span) -> Iterator[Breach]:
    """The worst input on each side of the window, where the window is left."""
    window = review.window
    if row.ratio is None or row.full is None:
        return
    lowest, highest = row.full * inputs.low, row.ratio * inputs.high
    if lowest < window.low:
        yield inputs.low, lowest, window.low
    if highest > window.high:
        yield inputs.high, highest, window.high


def _window_witness(row: Row, breach: Breach) -> Witness:
    volt, output, limit = breach
    return Witness(
        bands=(row.name,),
        energised=row.energised,
        ratio=row.ratio,
        input_v=volt,
        output_v=output,
        limit_v=limit,
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
    """A band whose state leaves the reading without a fixed, positive share of the input."""
    for row in review.table.rows:
        if row.sensed is None and row.state.usable:
            yield Finding(
                "blind-reading",
                Severity.FAULT,
                f'band "{row.name}"',
                "in this state the sensed points do not read a fixed, positive share of the input, "
                "so the controller cannot know where it stands",
                Witness(bands=(row.name,), energised=row.energised, ratio=row.ratio),
            )


def _stretch(opening: Opening) -> str:
    return f"inputs {volts(opening.low)} to {volts(opening.high)}"
