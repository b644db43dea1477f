"""The proof under tolerance: the worst corner of every promise, and what eats its margin.

Everything here is exact interval arithmetic on rationals. A reading of a true input lies in its reading set
(`control.reading`), the ratio between full load and no load; output and reading are monotone in each, so the
worst case of a band lies at a corner that can be named and computed again by hand.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.checks.review import Review
from tapplan.control.source import source_of
from tapplan.control.table import Meeting, Row
from tapplan.exact import Span

End = Literal["low", "high"]
ENDS: tuple[End, End] = ("low", "high")


@dataclass(frozen=True, slots=True)
class Margin:
    """One end of one band: the worst corner within the mains range, and what is left to the window.

    `reading_v` is the reading of that corner, in the units sensed. `plain_v` is the margin without error, noise and
    load; `noise_v`, `error_v` and `load_v` are what they eat of it, all in output volts, so that
    `margin_v = plain_v - noise_v - error_v - load_v`. Negative: the window is left.
    """

    row: Row
    end: End
    input_v: Fraction
    reading_v: Fraction
    output_v: Fraction
    limit_v: Fraction
    plain_v: Fraction
    noise_v: Fraction
    error_v: Fraction
    load_v: Fraction

    @property
    def margin_v(self) -> Fraction:
        """Output volts left between the worst corner and the window."""
        return self.plain_v - self.noise_v - self.error_v - self.load_v


def margins(review: Review) -> list[Margin]:
    """Both ends of every band that really holds something of the mains range, by rising input."""
    return [margin for row in review.table.rows for margin in _of_row(review, row)]


def _of_row(review: Review, row: Row) -> Iterator[Margin]:
    real, mains, window = row.real_hold(review.table.blur), review.mains, review.window
    inside = real.meet(mains) if real is not None else None
    if inside is None or row.ratio is None or row.full is None or not row.state.usable:
        return
    low, high = (_corners(review, row, end) for end in ENDS)
    yield Margin(
        row,
        "low",
        low.worst,
        _reading(row, low.worst),
        row.full * low.worst,
        window.low,
        row.ratio * low.plain - window.low,
        row.ratio * (low.plain - low.noisy),
        row.ratio * (low.noisy - low.erring),
        row.ratio * low.erring - row.full * low.worst,
    )
    yield Margin(
        row,
        "high",
        high.worst,
        _reading(row, high.worst),
        row.ratio * high.worst,
        window.high,
        window.high - row.ratio * high.plain,
        row.ratio * (high.noisy - high.plain),
        row.ratio * (high.erring - high.noisy),
        row.ratio * (high.worst - high.erring),
    )


@dataclass(frozen=True, slots=True)
class _Corners:
    """The input at one end of a hold: plain, with noise, with error too, and with what load and ripple change."""

    plain: Fraction
    noisy: Fraction
    erring: Fraction
    worst: Fraction


def _corners(review: Review, row: Row, end: End) -> _Corners:
    blur, sensed, read = review.table.blur, row.sensed or Fraction(1), row.read or Span(Fraction(1), Fraction(1))
    mains = review.mains
    kept, sign, q = (row.kept.low, -1, read.high) if end == "low" else (row.kept.high, 1, read.low)
    scale = 1 - sign * blur.error
    noisy = kept + sign * blur.half_noise
    inputs = (kept / sensed, noisy / sensed, noisy / sensed / scale, noisy / q / scale)
    return _Corners(*(min(max(one, mains.low), mains.high) for one in inputs))


def _reading(row: Row, volt: Fraction) -> Fraction:
    """The reading of an input that keeps the row, as near to the error-free one as can be."""
    return min(max((row.sensed or Fraction(1)) * volt, row.kept.low), row.kept.high)


@dataclass(frozen=True, slots=True)
class Sharing:
    """How the input volts that two neighbours could share are used up, from the turns down to what is spare.

    `whole_v` is hi/g_below - lo/g_above. The other parts add up to it exactly; a spare part is negative where a
    threshold lies beyond the highest or lowest reading that is safe. The noise n counts twice in `noise_v`: n/2 at
    each end of the window, and n of the overlap, which has to beat it.
    """

    below: Row
    above: Row
    whole_v: Fraction
    load_v: Fraction
    error_v: Fraction
    noise_v: Fraction
    hysteresis_v: Fraction
    spare_above_v: Fraction
    spare_below_v: Fraction
    open_overlap_v: Fraction

    @property
    def overlap_v(self) -> Fraction:
        """How far the two bands overlap, in input volts."""
        return self.noise_v / 2 + self.hysteresis_v


def sharings(review: Review) -> list[Sharing]:
    """One for each pair of neighbours that both have a ratio and a reading."""
    return [found for meeting in review.table.meetings() if (found := _shared(review, meeting))]


def _shared(review: Review, meeting: Meeting) -> Sharing | None:
    below, above = meeting.below, meeting.above
    kept, entered = below.input_hold, above.input_hold
    if kept is None or entered is None or below.read is None or above.read is None:
        return None
    if not below.ratio or not above.ratio or not above.full or min(below.ratio, above.ratio, above.full) <= 0:
        return None
    window, error = review.window, review.table.blur.error
    highest, lowest = window.high / below.ratio, window.low / above.ratio
    read_least = highest * below.read.low / below.read.high  # the same reading, taken for as little as it may be
    read_most = window.low / above.full * above.read.high / above.read.low
    half = review.table.blur.half_noise
    source = source_of(review.design)
    return Sharing(
        below,
        above,
        highest - lowest,
        highest - read_least + read_most - lowest,
        error * (read_least + read_most),
        2 * meeting.noise,
        meeting.margin,
        (1 - error) * read_least - (below.kept.high + half) / below.read.high,
        (above.kept.low - half) / above.read.low - (1 + error) * read_most,
        source.emf(kept.high, below.ratio) - source.emf(entered.low, above.ratio),
    )
