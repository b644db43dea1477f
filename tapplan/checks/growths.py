"""How far each quantity may grow before a promise breaks, each limit solved in closed form.

Readings are linear in error and noise, outputs in the input, and a loaded output follows from Thevenin; so the value
at which a corner meets the window, or an unheld reading the range, is rational.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from math import ceil

from tapplan.checks import where
from tapplan.checks.coverage import dead_zone, unheld_readings
from tapplan.checks.finding import Finding
from tapplan.checks.held import out_of_window
from tapplan.checks.hunting import last_calm
from tapplan.checks.margins import margins
from tapplan.checks.overlaps import chatter
from tapplan.checks.review import Review
from tapplan.control.counts import converter, counted_table
from tapplan.control.drop import load_ohm
from tapplan.control.table import Row, with_load
from tapplan.design.model import Design
from tapplan.exact import Span, uncovered

LOWER_END = "mains.range_v, lower end"


@dataclass(frozen=True, slots=True)
class Growth:
    """How far one quantity of the file may grow (or a range end move) before the first promise breaks.

    `most` None: nothing breaks, however far. `code` is the finding that comes then, at `where`. `hopeless`: whatever
    the quantity is, with the rest of the file as it stands the promise is broken.
    """

    quantity: str
    now: Fraction
    most: Fraction | None
    code: str
    where: str
    hopeless: bool

    @property
    def broken(self) -> bool:
        """Whether the promise is broken as things stand: a lower end stands below its limit, all else above it."""
        if self.most is None:
            return False
        return self.now < self.most if self.quantity == LOWER_END else self.now > self.most


@dataclass(frozen=True, slots=True)
class BreakingPoint:
    """The value of a quantity at which a promise breaks, the code that comes beyond it, and where."""

    value: Fraction
    code: str
    where: str


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

    def bounds(of: Callable[[Review], list[BreakingPoint]]) -> list[BreakingPoint]:
        return [bound if one is review else _lost(bound) for one in both for bound in of(one)]

    errors = [replace(one, value=100 * one.value) for one in bounds(_error_bounds)]
    found = [
        _grown("sensing.error_pct", sensing.error_pct, errors),
        _grown("sensing.noise_v", sensing.noise_v, [*bounds(_noise_bounds), *_cycling_by_noise(review)]),
    ]
    if load is not None:
        carried = bounds(_load_bounds) if review.design.sensing.at == "input" else _load_by_trying(review, load)
        found.append(_grown("output.load_va", load, [*carried, *_cycling_by_load(review, load)]))
    lowest = max(bounds(partial(_range_bounds, low_side=True)), default=None, key=lambda bound: bound.value)
    highest = min(bounds(partial(_range_bounds, low_side=False)), default=None, key=lambda bound: bound.value)
    lower_hopeless = lowest is not None and lowest.value >= mains.high
    upper_hopeless = highest is not None and highest.value <= mains.low
    found.append(_growth(LOWER_END, mains.low, lowest, hopeless=lower_hopeless))
    found.append(_growth("mains.range_v, upper end", mains.high, highest, hopeless=upper_hopeless))
    return found


def _counted(review: Review) -> Review | None:
    """The same with thresholds in whole counts, where the file has a controller."""
    controller = review.design.controller
    if controller is None:
        return None
    table = counted_table(review.table, converter(review.design, controller))
    return replace(review, design=table.design, table=table)


def _lost(bound: BreakingPoint) -> BreakingPoint:
    """A limit of the table in counts, under the code that `check` gives it."""
    return replace(bound, code="lost-in-counts")


def _cycling_by_noise(review: Review) -> list[BreakingPoint]:
    design = review.design

    def noisy(value: Fraction) -> Design:
        return replace(design, sensing=replace(design.sensing, noise_v=value))

    return _cycling(review, noisy, Span(Fraction(0), design.mains.span.low / 4))


def _cycling_by_load(review: Review, load: Fraction) -> list[BreakingPoint]:
    design = review.design

    def loaded(value: Fraction) -> Design:
        return replace(design, output=replace(design.output, load_va=value))

    return _cycling(review, loaded, Span(Fraction(0), 20 * load)) if design.mains.source_ohm else []


def _cycling(review: Review, changed: Callable[[Fraction], Design], among: Span) -> list[BreakingPoint]:
    most = None if review.design.backup is None else last_calm(review, changed, among)
    return [] if most is None else [BreakingPoint(most, "backup-cycling", "backup")]


def _grown(quantity: str, now: Fraction, bounds: list[BreakingPoint]) -> Growth:
    first = min(bounds, default=None, key=lambda bound: bound.value)
    return _growth(quantity, now, first, hopeless=first is not None and first.value < 0)


def _growth(quantity: str, now: Fraction, first: BreakingPoint | None, *, hopeless: bool) -> Growth:
    if first is None:
        return Growth(quantity, now, None, "", "", hopeless)
    return Growth(quantity, now, first.value, first.code, first.where, hopeless)


def _leaves(row: Row, value: Fraction) -> BreakingPoint:
    return BreakingPoint(value, "out-of-window", where.in_band(row.name))


def _unheld(value: Fraction) -> BreakingPoint:
    return BreakingPoint(value, "dead-zone", "bands")


def _uncovered(value: Fraction) -> BreakingPoint:
    return BreakingPoint(value, "uncovered-range", "mains.range_v")


def _strands(value: Fraction) -> BreakingPoint:
    return BreakingPoint(value, "stranded", "backup.return_v")


def _error_bounds(review: Review) -> list[BreakingPoint]:
    """The error, as a fraction, at which each band's corner meets the window and each unheld reading the range."""
    mains, window, half = review.mains, review.window, review.table.blur.half_noise
    bounds: list[BreakingPoint] = []
    for one in _held(review):
        row, ratio, full, read = one.row, one.ratio, one.full, one.read
        low, high = row.kept.low, row.kept.high
        enters = max((low - half) / (read.high * mains.high) - 1, 1 - (high + half) / (read.low * mains.low))
        if ratio * mains.high > window.high:
            most = 1 - ratio * (high + half) / (read.low * window.high)
            bounds.append(_leaves(row, max(most, enters)))
        if full * mains.low < window.low:
            most = full * (low - half) / (read.high * window.low) - 1
            bounds.append(_leaves(row, max(most, enters)))
    for gap in unheld_readings(review.table):
        low_end = (gap.low * gap.read_low - half) / gap.read_low if gap.below is not None else Fraction(0)
        high_end = (gap.high * gap.read_high + half) / gap.read_high
        reached = 1 - high_end / mains.low if gap.above is not None else Fraction(-1)
        bounds.append(_unheld(max(low_end / mains.high - 1, reached)))
    if (back := _returning(review)) is not None:
        read, given = back
        bounds.append(_strands(1 - (given.low + half) / (read.low * mains.low)))
        bounds.append(_strands((given.high - half) / (read.high * mains.high) - 1))
    return [bound for bound in bounds if bound.value < 1]


@dataclass(frozen=True, slots=True)
class HeldRow:
    """A usable row with its ratios without and under load, and the least and the most read of an input volt."""

    row: Row
    ratio: Fraction
    full: Fraction
    read: Span


def _held(review: Review) -> list[HeldRow]:
    """Usable rows with a reading; every usable state has a ratio, and one under load unless the load collapses."""
    return [
        HeldRow(row, row.ratio, row.full if row.full is not None else Fraction(0), row.read)
        for row in review.table.rows
        if row.read is not None and row.ratio is not None and row.state.usable
    ]


def _returning(review: Review) -> tuple[Span, Span] | None:
    """What is read of an input volt while away, and the return; None without a backup or a reading."""
    backup, read = review.design.backup, review.table.away.read
    return None if backup is None or read is None else (read, Span(*backup.return_v))


def _noise_bounds(review: Review) -> list[BreakingPoint]:
    """The noise, at the place sensed, at which neighbours chatter, or half of it does what an error can do."""
    bounds: list[BreakingPoint] = []
    for meeting in review.table.meetings():
        if meeting.overlap >= 0 and meeting.below.read and meeting.above.read:
            noise = 2 * meeting.overlap / (1 / meeting.below.read.high + 1 / meeting.above.read.low)
            place = where.in_bands(meeting.below.name, meeting.above.name)
            bounds.append(BreakingPoint(noise, "chatter", place))
    return [*bounds, *(replace(half, value=2 * half.value) for half in _half_noise_bounds(review))]


def _half_noise_bounds(review: Review) -> Iterator[BreakingPoint]:
    """Half the noise at which a corner meets the window, an unheld reading the range, or the return is missed."""
    mains, window, error = review.mains, review.window, review.table.blur.error
    for one in _held(review):
        row, ratio, full, read = one.row, one.ratio, one.full, one.read
        low, high = row.kept.low, row.kept.high
        enters = max(low - (1 + error) * read.high * mains.high, (1 - error) * read.low * mains.low - high)
        if ratio * mains.high > window.high:
            yield _leaves(row, max((1 - error) * read.low * window.high / ratio - high, enters))
        if full > 0 and full * mains.low < window.low:
            yield _leaves(row, max(low - (1 + error) * read.high * window.low / full, enters))
    for gap in unheld_readings(review.table):
        reached = []
        if gap.below is not None:
            reached.append((gap.low - (1 + error) * mains.high) * gap.read_low)
        if gap.above is not None:
            reached.append(((1 - error) * mains.low - gap.high) * gap.read_high)
        if reached:
            yield _unheld(max(reached))
    if (back := _returning(review)) is not None:
        read, given = back
        yield _strands((1 - error) * read.low * mains.low - given.low)
        yield _strands(given.high - (1 + error) * read.high * mains.high)


def _load_bounds(review: Review) -> list[BreakingPoint]:
    """The load at which each band's lower corner meets the window.

    A resistive network behind its output is a voltage g V and a resistance R: full = g Z/(Z + R). So R follows
    from the full-load ratio at the load given, and the load at the limit from R (Thevenin).
    """
    load = load_ohm(review.design)
    bounds: list[BreakingPoint] = []
    for margin in margins(review):
        ratio, full = margin.row.ratio, margin.row.full
        if load is None or margin.end == "high" or not ratio or not full or full >= ratio:
            continue
        behind = load * (ratio / full - 1)
        least = margin.limit_v / margin.input_v
        if least < ratio:
            most = review.design.output.nominal_v**2 * (ratio - least) / (behind * least) if least else None
            if most is not None:
                bounds.append(_leaves(margin.row, most))
    return bounds


def _load_by_trying(review: Review, load: Fraction) -> list[BreakingPoint]:
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
    return [BreakingPoint(low, first.code, first.where)]


def _range_bounds(review: Review, *, low_side: bool) -> list[BreakingPoint]:
    """Where the mains range would end at the latest on one side, for each promise that would break beyond."""
    mains, window, blur = review.mains, review.window, review.table.blur
    bounds: list[BreakingPoint] = []
    for one in _held(review):
        row, real = one.row, one.row.real_hold(blur)
        if real is None or not one.ratio or one.full <= 0:
            continue
        if low_side and one.full * real.low < window.low:
            bounds.append(_leaves(row, min(window.low / one.full, real.high)))
        if not low_side and one.ratio * real.high > window.high:
            bounds.append(_leaves(row, max(window.high / one.ratio, real.low)))
    serving = [state.serves for state in review.serving if state.serves is not None]
    everywhere = Span(Fraction(0), 4 * mains.high)
    for gap in unheld_readings(review.table):
        unheld = gap.inputs(blur)
        if low_side and unheld.low < mains.high:
            bounds.append(_unheld(unheld.high))
        if not low_side and unheld.high > mains.low:
            bounds.append(_unheld(unheld.low))
    for opening in uncovered(serving, everywhere):
        if low_side and opening.low < mains.high:
            bounds.append(_uncovered(opening.high))
        if not low_side and opening.high > mains.low:
            bounds.append(_uncovered(opening.low))
    if (back := _returning(review)) is not None:
        read, given = back
        low = (given.low + blur.half_noise) / ((1 - blur.error) * read.low)
        high = (given.high - blur.half_noise) / ((1 + blur.error) * read.high)
        bounds.append(_strands(low if low_side else high))
    return bounds
