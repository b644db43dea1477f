"""The proof under tolerance: the worst corner of every promise, what eats its margin, how much each may grow.

Everything here is exact interval arithmetic on rationals. A reading of a true input lies in its reading set
(`control.reading`), the ratio between full load and no load; output and reading are monotone in each, so the
worst case of a band lies at a corner that can be named and computed again by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from math import ceil
from typing import Literal

from tapplan.checks.coverage import chatter, dead_zone, out_of_window, unheld_readings
from tapplan.checks.finding import Finding
from tapplan.checks.hunting import last_calm
from tapplan.checks.review import Review
from tapplan.control.counts import converter, counted_table
from tapplan.control.drop import load_ohm
from tapplan.control.source import source_of
from tapplan.control.table import Meeting, Row, with_load
from tapplan.design.model import Design
from tapplan.exact import Span, uncovered

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


@dataclass(frozen=True, slots=True)
class Growth:
    """How far one quantity of the file may grow (or a range end move) before the first promise breaks.

    `most` None: nothing breaks, however far. `code` is the finding that comes then, at `where`. Where `most` is
    below `now`, the promise is broken already.
    """

    quantity: str
    now: Fraction
    most: Fraction | None
    code: str
    where: str

    @property
    def broken(self) -> bool:
        """Whether the promise is broken at the present value; a lower end is broken when it stands too low."""
        if self.most is None:
            return False
        return self.most > self.now if self.quantity.endswith("lower end") else self.most < self.now


Bound = tuple[Fraction, str, str]  # a limit, the code that comes beyond it, and where


def growths(review: Review) -> list[Growth]:
    """Every quantity of the file that eats a margin, with how far it may go; thresholds stay where they are.

    Judged are the promises of the table (coverage, window, chatter), those of the table in whole counts where there
    is a controller, and the cycling of mains and backup where there is a backup. Nothing without a band.
    """
    if not review.table.rows:
        return []
    counted = _counted(review)
    both = [review] if counted is None else [review, counted]
    sensing, load, mains = review.design.sensing, review.design.output.load_va, review.mains

    def bounds(of: Callable[[Review], list[Bound]]) -> list[Bound]:
        return [bound if one is review else _lost(bound) for one in both for bound in of(one)]

    errors = [(100 * most, code, where) for most, code, where in bounds(_error_bounds)]
    found = [
        _grown("sensing.error_pct", sensing.error_pct, errors),
        _grown("sensing.noise_v", sensing.noise_v, [*bounds(_noise_bounds), *_cycling_by_noise(review)]),
    ]
    if load is not None:
        carried = bounds(_load_bounds) if review.design.sensing.at == "input" else _load_by_trying(review, load)
        found.append(_grown("output.load_va", load, [*carried, *_cycling_by_load(review, load)]))
    lowest = max(bounds(partial(_range_bounds, low_side=True)), default=None, key=lambda bound: bound[0])
    found.append(_growth("mains.range_v, lower end", mains.low, lowest))
    found.append(_grown("mains.range_v, upper end", mains.high, bounds(partial(_range_bounds, low_side=False))))
    return found


def _counted(review: Review) -> Review | None:
    """The same with thresholds in whole counts, where the file has a controller."""
    controller = review.design.controller
    if controller is None:
        return None
    table = counted_table(review.table, converter(review.design, controller))
    return replace(review, design=table.design, table=table)


def _lost(bound: Bound) -> Bound:
    """A limit of the table in counts, under the code that `check` gives it."""
    most, _, where = bound
    return most, "lost-in-counts", where


def _cycling_by_noise(review: Review) -> list[Bound]:
    design = review.design

    def noisy(value: Fraction) -> Design:
        return replace(design, sensing=replace(design.sensing, noise_v=value))

    return _cycling(review, noisy, Span(Fraction(0), design.mains.span.low / 4))


def _cycling_by_load(review: Review, load: Fraction) -> list[Bound]:
    design = review.design

    def loaded(value: Fraction) -> Design:
        return replace(design, output=replace(design.output, load_va=value))

    return _cycling(review, loaded, Span(Fraction(0), 20 * load)) if design.mains.source_ohm else []


def _cycling(review: Review, changed: Callable[[Fraction], Design], among: Span) -> list[Bound]:
    most = None if review.design.backup is None else last_calm(review, changed, among)
    return [] if most is None else [(most, "backup-cycling", "backup")]


def _grown(quantity: str, now: Fraction, bounds: list[Bound]) -> Growth:
    return _growth(quantity, now, min(bounds, default=None, key=lambda bound: bound[0]))


def _growth(quantity: str, now: Fraction, first: Bound | None) -> Growth:
    return Growth(quantity, now, None, "", "") if first is None else Growth(quantity, now, *first)


def _where(row: Row) -> str:
    return f'band "{row.name}"'


def _error_bounds(review: Review) -> list[Bound]:
    """The error, as a fraction, at which each band's corner meets the window and each unheld reading the range."""
    mains, window, half = review.mains, review.window, review.table.blur.half_noise
    bounds: list[Bound] = []
    for row, read in _held(review):
        ratio, full, low, high = row.ratio or Fraction(0), row.full or Fraction(0), row.kept.low, row.kept.high
        enters = max((low - half) / (read.high * mains.high) - 1, 1 - (high + half) / (read.low * mains.low))
        if ratio * mains.high > window.high:
            most = 1 - ratio * (high + half) / (read.low * window.high)
            bounds.append((max(most, enters), "out-of-window", _where(row)))
        if full * mains.low < window.low:
            most = full * (low - half) / (read.high * window.low) - 1
            bounds.append((max(most, enters), "out-of-window", _where(row)))
    for gap in unheld_readings(review.table):
        low_end = (gap.low * gap.read_low - half) / gap.read_low if gap.below is not None else Fraction(0)
        high_end = (gap.high * gap.read_high + half) / gap.read_high
        reached = 1 - high_end / mains.low if gap.above is not None else Fraction(-1)
        bounds.append((max(low_end / mains.high - 1, reached), "dead-zone", "bands"))
    if (back := _returning(review)) is not None:
        read, given = back
        bounds.append((1 - (given.low + half) / (read.low * mains.low), "stranded", "backup.return_v"))
        bounds.append(((given.high - half) / (read.high * mains.high) - 1, "stranded", "backup.return_v"))
    return [bound for bound in bounds if bound[0] < 1]


def _held(review: Review) -> list[tuple[Row, Span]]:
    """Usable rows with a reading, each with the least and the most read of an input volt."""
    return [(row, row.read) for row in review.table.rows if row.read is not None and row.state.usable]


def _returning(review: Review) -> tuple[Span, Span] | None:
    """What is read of an input volt while away, and the return; None without a backup or a reading."""
    backup, read = review.design.backup, review.table.away.read
    return None if backup is None or read is None else (read, Span(*backup.return_v))


def _noise_bounds(review: Review) -> list[Bound]:
    """The noise, at the place sensed, at which neighbours chatter, or half of it does what an error can do."""
    bounds: list[Bound] = []
    for meeting in review.table.meetings():
        if meeting.overlap >= 0 and meeting.below.read and meeting.above.read:
            noise = 2 * meeting.overlap / (1 / meeting.below.read.high + 1 / meeting.above.read.low)
            bounds.append((noise, "chatter", f'bands "{meeting.below.name}" and "{meeting.above.name}"'))
    return [*bounds, *((2 * half, code, where) for half, code, where in _half_noise_bounds(review))]


def _half_noise_bounds(review: Review) -> Iterator[Bound]:
    """Half the noise at which a corner meets the window, an unheld reading the range, or the return is missed."""
    mains, window, error = review.mains, review.window, review.table.blur.error
    for row, read in _held(review):
        ratio, full, low, high = row.ratio or Fraction(0), row.full or Fraction(0), row.kept.low, row.kept.high
        enters = max(low - (1 + error) * read.high * mains.high, (1 - error) * read.low * mains.low - high)
        if ratio * mains.high > window.high:
            yield max((1 - error) * read.low * window.high / ratio - high, enters), "out-of-window", _where(row)
        if full > 0 and full * mains.low < window.low:
            yield max(low - (1 + error) * read.high * window.low / full, enters), "out-of-window", _where(row)
    for gap in unheld_readings(review.table):
        reached = []
        if gap.below is not None:
            reached.append((gap.low - (1 + error) * mains.high) * gap.read_low)
        if gap.above is not None:
            reached.append(((1 - error) * mains.low - gap.high) * gap.read_high)
        if reached:
            yield max(reached), "dead-zone", "bands"
    if (back := _returning(review)) is not None:
        read, given = back
        yield (1 - error) * read.low * mains.low - given.low, "stranded", "backup.return_v"
        yield given.high - (1 + error) * read.high * mains.high, "stranded", "backup.return_v"


def _load_bounds(review: Review) -> list[Bound]:
    """The load at which each band's lower corner meets the window.

    A resistive network behind its output is a voltage g V and a resistance R: full = g Z/(Z + R). So R follows
    from the full-load ratio at the load given, and the load at the limit from R (Thevenin).
    """
    load = load_ohm(review.design)
    bounds: list[Bound] = []
    for margin in margins(review):
        ratio, full = margin.row.ratio, margin.row.full
        if load is None or margin.end == "high" or not ratio or not full or full >= ratio:
            continue
        behind = load * (ratio / full - 1)
        least = margin.limit_v / margin.input_v
        if least < ratio:
            most = review.design.output.nominal_v**2 * (ratio - least) / (behind * least) if least else None
            if most is not None:
                bounds.append((most, "out-of-window", _where(margin.row)))
    return bounds


def _load_by_trying(review: Review, load: Fraction) -> list[Bound]:
    """As `_load_bounds`, where the load pulls the reading down too: the most whole volt-amperes, by halving."""
    low, high = Fraction(0), 20 * Fraction(ceil(load))

    def broken(value: Fraction) -> list[Finding]:
        changed = with_load(review.table, value)
        tried = replace(review, design=changed.design, table=changed)
        return [one for check in (dead_zone, out_of_window, chatter) for one in check(tried)]

    if not broken(high):
        return []
    while high - low > 1:
        middle = Fraction((low + high) // 2)
        low, high = (low, middle) if broken(middle) else (middle, high)
    first = broken(high)[0]
    return [(low, first.code, first.where)]


def _range_bounds(review: Review, *, low_side: bool) -> list[Bound]:
    """Where the mains range would end at the latest on one side, for each promise that would break beyond."""
    mains, window, blur = review.mains, review.window, review.table.blur
    bounds: list[Bound] = []
    for row, _ in _held(review):
        real = row.real_hold(blur)
        if real is None or not row.ratio or not row.full or row.full <= 0:
            continue
        if low_side and row.full * real.low < window.low:
            bounds.append((min(window.low / row.full, real.high), "out-of-window", _where(row)))
        if not low_side and row.ratio * real.high > window.high:
            bounds.append((max(window.high / row.ratio, real.low), "out-of-window", _where(row)))
    serving = [one.serves for one in review.serving if one.serves is not None]
    everywhere = Span(Fraction(0), 4 * mains.high)
    for gap in unheld_readings(review.table):
        unheld = gap.inputs(blur)
        if low_side and unheld.low < mains.high:
            bounds.append((unheld.high, "dead-zone", "bands"))
        if not low_side and unheld.high > mains.low:
            bounds.append((unheld.low, "dead-zone", "bands"))
    for opening in uncovered(serving, everywhere):
        if low_side and opening.low < mains.high:
            bounds.append((opening.high, "uncovered-range", "mains.range_v"))
        if not low_side and opening.high > mains.low:
            bounds.append((opening.low, "uncovered-range", "mains.range_v"))
    if (back := _returning(review)) is not None:
        read, given = back
        low = (given.low + blur.half_noise) / ((1 - blur.error) * read.low)
        high = (given.high - blur.half_noise) / ((1 + blur.error) * read.high)
        bounds.append((low if low_side else high, "stranded", "backup.return_v"))
    return bounds
