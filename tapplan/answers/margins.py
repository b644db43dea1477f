"""The proof under tolerance, the error budget, and random draws: what `margins` answers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import pairwise
from typing import TYPE_CHECKING, Annotated

from tapplan.answers import words
from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, more, names, number, said, volts, word
from tapplan.answers.findings import FindingRow, any_fault, finding_rows
from tapplan.answers.verdict import PromiseRow, promise_rows
from tapplan.checks import margins as proof
from tapplan.checks import rules
from tapplan.checks.budget import BudgetLine, budget
from tapplan.checks.finding import Severity
from tapplan.checks.growths import Growth, growths
from tapplan.checks.promises import promises
from tapplan.checks.review import Review
from tapplan.control.counts import converter, counted_holds, counts_between
from tapplan.design.model import Controller

if TYPE_CHECKING:
    from tapplan.checks.samples import Drawn


@dataclass(frozen=True, slots=True, kw_only=True)
class Eaten:
    """What eats a margin or an overlap, part by part, in volts."""

    load_v: Annotated[Fraction, volts()]
    error_v: Annotated[Fraction, volts()]
    noise_v: Annotated[Fraction, volts()]
    hysteresis_v: Annotated[Fraction | None, volts(optional=True)] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class CornerRow:
    """The worst corner at one end of a band within the mains range; low ends at full load, high ends without."""

    band: Annotated[str, word("band")]
    end: Annotated[str, word("end")]
    input_v: Annotated[Fraction, volts("line", digits=2)]
    reading_v: Annotated[Fraction, volts("read as", digits=2)]
    load: Annotated[str, word()]
    output_v: Annotated[Fraction, volts("output", digits=2)]
    limit_v: Annotated[Fraction, volts("window", digits=2)]
    margin_v: Annotated[Fraction, volts("left", digits=2)]
    eaten_by: Annotated[Eaten, more()]
    noise_v: Annotated[Fraction, volts("noise", digits=2, for_people=True)]
    error_v: Annotated[Fraction, volts("error", digits=2, for_people=True)]
    load_v: Annotated[Fraction, volts("load", digits=2, for_people=True)]


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverRow:
    """How the input volts that two neighbours could share are used.

    `beyond`: overlap beyond the noise; `overlap_at_source_v`: the whole overlap in volts of the open source.
    """

    below: Annotated[str, word("from")]
    above: Annotated[str, word("to")]
    whole_v: Annotated[Fraction, volts("whole", digits=2)]
    eaten_by: Annotated[Eaten, more()]
    load_v: Annotated[Fraction, volts("load", digits=2, for_people=True)]
    error_v: Annotated[Fraction, volts("error", digits=2, for_people=True)]
    noise_v: Annotated[Fraction, volts("noise", digits=2, for_people=True)]
    beyond_v: Annotated[Fraction, volts("beyond", digits=2, for_people=True)]
    spare_v: Annotated[Fraction, volts("spare", digits=2, for_people=True)]
    spare_above_v: Annotated[Fraction, volts()]
    spare_below_v: Annotated[Fraction, volts()]
    overlap_v: Annotated[Fraction, volts()]
    overlap_at_source_v: Annotated[Fraction, volts("at the source", digits=2)]


@dataclass(frozen=True, slots=True, kw_only=True)
class GrowthRow:
    """How far a quantity may go, the thresholds staying, before the first promise breaks; None: anything."""

    quantity: Annotated[str, word("quantity")]
    now: Annotated[Fraction, number("now")]
    most: Annotated[Fraction | None, number()]
    most_told: Annotated[str, said("may go to")]
    breaks: Annotated[str | None, word()]
    where: Annotated[str | None, word()]
    then: Annotated[str, said("then")]


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorRow:
    """One source of error of the reading: at worst, and as it goes into a root of squares, in percent."""

    name: Annotated[str, word("error of the reading")]
    worst_pct: Annotated[float, number("worst", "%")]
    likely_pct: Annotated[float, number("root of squares", "%")]
    formula: Annotated[str, word("how", empty="")]


@dataclass(frozen=True, slots=True, kw_only=True)
class ErrorBudget:
    """All sources of error, compounded, summed, and as a root of squares."""

    lines: Annotated[tuple[ErrorRow, ...], more()]
    worst_pct: Annotated[float, number()]
    sum_pct: Annotated[float, number()]
    likely_pct: Annotated[float, number()]

    @property
    def with_sum(self) -> tuple[ErrorRow, ...]:
        """The lines and what they come to together."""
        whole = ErrorRow(name="all, compounded", worst_pct=self.worst_pct, likely_pct=self.likely_pct, formula="")
        return (*self.lines, whole)


@dataclass(frozen=True, slots=True, kw_only=True)
class CountedRow:
    """A band's hold in whole counts of the converter, and the counts of hysteresis to the next."""

    name: Annotated[str, word("band")]
    hold_counts: Annotated[tuple[int, int], ends("hold", "counts", digits=0)]
    left_above: Annotated[Fraction | None, number("counts of hysteresis to the next", digits=2)]


@dataclass(frozen=True, slots=True, kw_only=True)
class Counts:
    """The thresholds as the controller holds them."""

    step_v: Annotated[Fraction, volts()]
    highest_v: Annotated[Fraction, volts()]
    return_counts: Annotated[tuple[int, int] | None, names()]
    bands: Annotated[tuple[CountedRow, ...], more()]

    @property
    def told(self) -> str:
        """What one count is."""
        step, highest = words.number(self.step_v, 4), words.number(self.highest_v, 1)
        return f"One count is {step} V; the converter is full at {highest} V."

    @property
    def with_return(self) -> tuple[CountedRow, ...]:
        """The bands, and the return from the backup."""
        if self.return_counts is None:
            return self.bands
        return (*self.bands, CountedRow(name="return from backup", hold_counts=self.return_counts, left_above=None))


@dataclass(frozen=True, slots=True, kw_only=True)
class DrawnRow:
    """What the random draws put out in one band; None where the band has no output."""

    name: Annotated[str, word("band")]
    count: Annotated[int, number("samples")]
    output_v: Annotated[tuple[float, float] | None, ends("lowest - highest output", empty="no output")]
    percentiles_v: Annotated[dict[str, float] | None, more()]
    p1_v: Annotated[float | None, volts("1 %", digits=1, for_people=True)]
    p50_v: Annotated[float | None, volts("half", digits=1, for_people=True)]
    p99_v: Annotated[float | None, volts("99 %", digits=1, for_people=True)]
    outside_window: Annotated[int, number()]
    outside_told: Annotated[str, said("outside the window")]
    outside_worst: Annotated[int, number()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Draws:
    """Line, error and load drawn at random, band by band; `unheld` readings no band holds."""

    count: Annotated[int, number()]
    seed: Annotated[int, number()]
    unheld: Annotated[int, number()]
    bands: Annotated[tuple[DrawnRow, ...], more()]

    @property
    def beyond_worst(self) -> int:
        """How many lie outside the exact worst case; none may."""
        return sum(one.outside_worst for one in self.bands)

    @property
    def met(self) -> tuple[DrawnRow, ...]:
        """The bands that some draw fell to."""
        return tuple(one for one in self.bands if one.count)

    @property
    def drawn_told(self) -> str:
        """How they were drawn."""
        return f"Drawn at random, seed {self.seed}: line, error and load, each evenly:"

    @property
    def told(self) -> str:
        """How many lie where none may, and how many in no band."""
        return (
            f"{self.beyond_worst} of {self.count} samples lie outside the exact worst case; {self.unheld} readings "
            "no band holds."
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Margins(Answer):
    """The worst corners, the use of each overlap, how far each tolerance may grow, and the promises broken."""

    heading = "Margins"

    title: str
    margins: Annotated[tuple[CornerRow, ...], more()]
    promises: Annotated[tuple[PromiseRow, ...], more()]
    handovers: Annotated[tuple[HandoverRow, ...], more()]
    growth: Annotated[tuple[GrowthRow, ...], more()]
    smallest_margin_v: Annotated[Fraction | None, volts()]
    findings: Annotated[tuple[FindingRow, ...], more()]
    budget: Annotated[ErrorBudget | None, more(optional=True)] = None
    counts: Annotated[Counts | None, more(optional=True)] = None
    samples: Annotated[Draws | None, more(optional=True)] = None

    @property
    def wrong(self) -> bool:
        """Whether a promise is broken."""
        return any_fault(self.findings)


def margins(review: Review) -> Margins:
    """The proof of a design, with the error budget of a [controller] where it has one."""
    corners = proof.margins(review)
    broken = [one for one in rules.findings_in(review, rules.PROMISES) if one.severity is Severity.FAULT]
    controller, faults = review.design.controller, {one.code for one in broken}
    return Margins(
        title=review.design.title,
        margins=tuple(_corner(one) for one in corners),
        promises=tuple(one for one in promise_rows(promises(review, faults)) if one.margin is not None),
        handovers=tuple(_handover(one) for one in proof.sharings(review)),
        growth=tuple(_growth(one) for one in growths(review)),
        smallest_margin_v=min((one.margin_v for one in corners), default=None),
        findings=finding_rows(broken),
        budget=None if controller is None else _budget(review, controller),
        counts=None if controller is None else _counts(review, controller),
    )


def with_samples(found: Margins, review: Review, count: int, seed: int) -> Margins:
    """The same with random draws beside the worst case."""
    from tapplan.checks.samples import samples  # numpy, only where it is asked for

    drawn = samples(review, count, seed)
    rows = tuple(_drawn(one) for one in drawn.bands)
    return replace(found, samples=Draws(count=drawn.count, seed=drawn.seed, unheld=drawn.unheld, bands=rows))


def _corner(one: proof.Margin) -> CornerRow:
    return CornerRow(
        band=one.row.name,
        end=one.end,
        input_v=one.input_v,
        reading_v=one.reading_v,
        load="full" if one.end == "low" else "none",
        output_v=one.output_v,
        limit_v=one.limit_v,
        margin_v=one.margin_v,
        eaten_by=Eaten(noise_v=one.noise_v, error_v=one.error_v, load_v=one.load_v),
        noise_v=one.noise_v,
        error_v=one.error_v,
        load_v=one.load_v,
    )


def _handover(one: proof.Sharing) -> HandoverRow:
    return HandoverRow(
        below=one.below.name,
        above=one.above.name,
        whole_v=one.whole_v,
        eaten_by=Eaten(load_v=one.load_v, error_v=one.error_v, noise_v=one.noise_v, hysteresis_v=one.hysteresis_v),
        load_v=one.load_v,
        error_v=one.error_v,
        noise_v=one.noise_v,
        beyond_v=one.hysteresis_v,
        spare_v=one.spare_above_v + one.spare_below_v,
        spare_above_v=one.spare_above_v,
        spare_below_v=one.spare_below_v,
        overlap_v=one.overlap_v,
        overlap_at_source_v=one.open_overlap_v,
    )


def _growth(one: Growth) -> GrowthRow:
    most = "anything" if one.most is None else "nothing helps" if one.hopeless else words.number(one.most, 3)
    then = "-" if one.most is None else f"{one.code}, {one.where}"
    return GrowthRow(
        quantity=one.quantity,
        now=one.now,
        most=one.most,
        most_told=most,
        breaks=one.code or None,
        where=one.where or None,
        then=then + (" (broken already)" if one.broken else ""),
    )


def _budget(review: Review, controller: Controller) -> ErrorBudget:
    found = budget(review.table, controller)
    return ErrorBudget(
        lines=tuple(_error(one) for one in found.lines),
        worst_pct=float(100 * found.worst),
        sum_pct=float(100 * found.total),
        likely_pct=100 * found.likely,
    )


def _error(one: BudgetLine) -> ErrorRow:
    return ErrorRow(name=one.name, worst_pct=float(100 * one.worst), likely_pct=100 * one.likely, formula=one.formula)


def _counts(review: Review, controller: Controller) -> Counts:
    reading = converter(review.design, controller)
    holds = counted_holds(review.table, reading)
    left = [*(counts_between(below, above) for below, above in pairwise(holds)), None]
    backup = review.design.backup
    return Counts(
        step_v=reading.step_v,
        highest_v=reading.highest_v,
        return_counts=None
        if backup is None
        else (reading.lower(backup.return_v[0]), reading.upper(backup.return_v[1])),
        bands=tuple(
            CountedRow(name=one.row.name, hold_counts=(one.low, one.high), left_above=above)
            for one, above in zip(holds, left[: len(holds)], strict=True)
        ),
    )


def _drawn(one: Drawn) -> DrawnRow:
    levels = one.volts
    share = f" ({one.outside_window / one.count:.2%})" if one.count else ""
    return DrawnRow(
        name=one.row.name,
        count=one.count,
        output_v=None if levels is None else (levels[0], levels[4]),
        percentiles_v=None if levels is None else {"1": levels[1], "50": levels[2], "99": levels[3]},
        p1_v=None if levels is None else levels[1],
        p50_v=None if levels is None else levels[2],
        p99_v=None if levels is None else levels[3],
        outside_window=one.outside_window,
        outside_told=f"{one.outside_window}{share}",
        outside_worst=one.outside_worst,
    )
