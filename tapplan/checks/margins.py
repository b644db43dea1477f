"""The proof under tolerance: the worst corner of every promise, what eats its margin, how much each may grow.

Everything here is exact interval arithmetic on rationals. A reading m of a true input V lies in
[(1-e)V, (1+e)V], the ratio between full load and no load; output and reading are monotone in each, so the
worst case of a band lies at a corner that can be named and computed again by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from itertools import pairwise
from typing import Literal

from tapplan.checks.hunting import last_calm
from tapplan.checks.review import Review
from tapplan.control.counts import converter, counted_table
from tapplan.control.drop import load_ohm
from tapplan.control.source import source_of
from tapplan.control.table import Row
from tapplan.design.model import Design
from tapplan.exact import Opening, Span, uncovered

End = Literal["low", "high"]


@dataclass(frozen=True, slots=True)
class Margin:
    """One end of one band: the worst corner within the mains range, and what is left to the window.

    `plain_v` is the margin without error and load; `error_v` and `load_v` are what they eat of it, all in output
    volts, so that `margin_v = plain_v - error_v - load_v`. Negative: the window is left.
    """

    row: Row
    end: End
    input_v: Fraction
    reading_v: Fraction
    output_v: Fraction
    limit_v: Fraction
    plain_v: Fraction
    error_v: Fraction
    load_v: Fraction

    @property
    def margin_v(self) -> Fraction:
        """Output volts left between the worst corner and the window."""
        return self.plain_v - self.error_v - self.load_v


def margins(review: Review) -> list[Margin]:
    """Both ends of every band that really holds something of the mains range, by rising input."""
    return [margin for row in review.table.rows for margin in _of_row(review, row)]


def _of_row(review: Review, row: Row) -> Iterator[Margin]:
    hold, real, mains = row.input_hold, row.real_hold(review.table.error), review.mains
    inside = real.meet(mains) if real is not None else None
    if hold is None or inside is None or row.ratio is None or row.full is None or not row.state.usable:
        return
    window = review.window
    plain = min(max(hold.low, mains.low), mains.high)
    yield Margin(
        row,
        "low",
        inside.low,
        _reading(hold, inside.low),
        row.full * inside.low,
        window.low,
        row.ratio * plain - window.low,
        row.ratio * (plain - inside.low),
        (row.ratio - row.full) * inside.low,
    )
    plain = max(min(hold.high, mains.high), mains.low)
    yield Margin(
        row,
        "high",
        inside.high,
        _reading(hold, inside.high),
        row.ratio * inside.high,
        window.high,
        window.high - row.ratio * plain,
        row.ratio * (inside.high - plain),
        Fraction(0),
    )


def _reading(hold: Span, volt: Fraction) -> Fraction:
    return min(max(volt, hold.low), hold.high)


@dataclass(frozen=True, slots=True)
class Sharing:
    """How the input volts that two neighbours could share are used up, from the turns down to what is spare.

    `whole_v` is hi/g_below - lo/g_above. The other parts add up to it exactly; a spare part is negative where a
    threshold lies beyond the highest or lowest reading that is safe.
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
        return self.noise_v + self.hysteresis_v


def sharings(review: Review) -> list[Sharing]:
    """One for each pair of neighbours that both have a ratio and a reading."""
    return [found for below, above in pairwise(review.table.rows) if (found := _shared(review, below, above))]


def _shared(review: Review, below: Row, above: Row) -> Sharing | None:
    kept, entered = below.input_hold, above.input_hold
    if kept is None or entered is None or not below.sensed or not above.sensed:
        return None
    if not below.ratio or not above.ratio or not above.full or min(below.ratio, above.ratio, above.full) <= 0:
        return None
    window, error = review.window, review.table.error
    highest, lowest, lowest_loaded = window.high / below.ratio, window.low / above.ratio, window.low / above.full
    noise = review.design.sensing.noise_v / 2 * (1 / below.sensed + 1 / above.sensed)
    source = source_of(review.design)
    return Sharing(
        below,
        above,
        highest - lowest,
        lowest_loaded - lowest,
        error * (highest + lowest_loaded),
        noise,
        kept.high - entered.low - noise,
        (1 - error) * highest - kept.high,
        entered.low - (1 + error) * lowest_loaded,
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
        found.append(_grown("output.load_va", load, [*bounds(_load_bounds), *_cycling_by_load(review, load)]))
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
    mains, window = review.mains, review.window
    bounds: list[Bound] = []
    for row, hold in _held(review):
        ratio, full = row.ratio or Fraction(0), row.full or Fraction(0)
        enters = max(hold.low / mains.high - 1, 1 - hold.high / mains.low)
        if ratio * mains.high > window.high:
            bounds.append((max(1 - ratio * hold.high / window.high, enters), "out-of-window", _where(row)))
        if full * mains.low < window.low:
            bounds.append((max(full * hold.low / window.low - 1, enters), "out-of-window", _where(row)))
    for opening in _unheld(review):
        most = max(opening.low / mains.high - 1, 1 - opening.high / mains.low)
        bounds.append((most, "dead-zone", "bands"))
    return [bound for bound in bounds if bound[0] < 1]


def _held(review: Review) -> list[tuple[Row, Span]]:
    return [(row, hold) for row in review.table.rows if (hold := row.input_hold) and row.state.usable]


def _unheld(review: Review) -> list[Opening]:
    """The readings, referred to the input, that no band holds."""
    holds = [row.input_hold for row in review.table.rows if row.input_hold is not None]
    top = max([hold.high for hold in holds], default=Fraction(0))
    return uncovered(holds, Span(Fraction(0), 2 * max(top, review.mains.high)))


def _noise_bounds(review: Review) -> list[Bound]:
    """The noise, at the place sensed, at which each pair of neighbours begins to chatter."""
    bounds: list[Bound] = []
    for shared in sharings(review):
        if shared.overlap_v >= 0 and shared.below.sensed and shared.above.sensed:
            noise = 2 * shared.overlap_v / (1 / shared.below.sensed + 1 / shared.above.sensed)
            bounds.append((noise, "chatter", f'bands "{shared.below.name}" and "{shared.above.name}"'))
    return bounds


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


def _range_bounds(review: Review, *, low_side: bool) -> list[Bound]:
    """Where the mains range would end at the latest on one side, for each promise that would break beyond."""
    mains, window, error = review.mains, review.window, review.table.error
    bounds: list[Bound] = []
    for row, _ in _held(review):
        real = row.real_hold(error)
        if real is None or not row.ratio or not row.full or row.full <= 0:
            continue
        if low_side and row.full * real.low < window.low:
            bounds.append((min(window.low / row.full, real.high), "out-of-window", _where(row)))
        if not low_side and row.ratio * real.high > window.high:
            bounds.append((max(window.high / row.ratio, real.low), "out-of-window", _where(row)))
    serving = [one.serves for one in review.serving if one.serves is not None]
    everywhere = Span(Fraction(0), 4 * mains.high)
    for opening in _unheld(review):
        if low_side and opening.low / (1 + error) < mains.high:
            bounds.append((opening.high / (1 - error), "dead-zone", "bands"))
        if not low_side and opening.high / (1 - error) > mains.low:
            bounds.append((opening.low / (1 + error), "dead-zone", "bands"))
    for opening in uncovered(serving, everywhere):
        if low_side and opening.low < mains.high:
            bounds.append((opening.high, "uncovered-range", "mains.range_v"))
        if not low_side and opening.high > mains.low:
            bounds.append((opening.low, "uncovered-range", "mains.range_v"))
    return bounds
