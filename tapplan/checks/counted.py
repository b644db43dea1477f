"""The table proven again in the controller's own counts, and the reading's error held against what is stated."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from itertools import pairwise

from tapplan.checks import coverage, held, hunting, overlaps, where
from tapplan.checks.budget import FINE, budget
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review_of
from tapplan.checks.witnesses.counted import BrokenInCounts, CountsLeft, FullConverter, ReadingBudget
from tapplan.control.counts import Converter, converter, counted_holds, counted_table, counts_between
from tapplan.design.model import Controller


def counts(review: Review) -> Iterator[Finding]:
    """Everything the controller's counts bring to light; nothing where the file has no [controller]."""
    controller = review.design.controller
    if controller is None:
        return
    reading = converter(review.design, controller)
    yield from error_budget(review, controller)
    yield from converter_range(review, reading)
    yield from lost_in_counts(review, reading)
    yield from few_counts(review, reading)


def error_budget(review: Review, controller: Controller) -> Iterator[Finding]:
    """A reading that errs by more than `error_pct`, on which every proof rests."""
    found, stated = budget(review.table, controller), review.design.sensing.error
    if found.worst <= stated:
        return
    largest = max(found.lines, key=lambda line: line.worst)
    likely = Fraction(round(found.likely * FINE), FINE)
    shown = ReadingBudget(
        worst_pct=100 * found.worst,
        likely_pct=100 * likely,
        limit_pct=100 * stated,
        largest=largest.name,
        largest_pct=100 * largest.worst,
    )
    yield Finding("error-budget", Severity.FAULT if likely > stated else Severity.WARNING, "controller", shown)


def converter_range(review: Review, reading: Converter) -> Iterator[Finding]:
    """A highest threshold, or a highest reading of a promised input, that the converter cannot show."""
    last = [row.read for row in review.table.rows[-1:] if row.read is not None]
    needed = [review.table.blur.readings(review.mains, read).high for read in last]
    highest = max([*(row.kept.high for row in review.table.rows), *needed], default=review.mains.high)
    if highest > reading.highest_v:
        shown = FullConverter(reading_v=highest, limit_v=reading.highest_v)
        yield Finding("converter-range", Severity.FAULT, "controller", shown)


def lost_in_counts(review: Review, reading: Converter) -> Iterator[Finding]:
    """Promises that hold with the thresholds in volts and break with the thresholds in whole counts."""
    rounded = review_of(counted_table(review.table, reading))
    checks = (
        coverage.dead_zone,
        held.out_of_window,
        coverage.stranded,
        overlaps.chatter,
        hunting.own_action,
    )
    for check in checks:
        known = {(one.code, one.where) for one in check(review)}
        for one in check(rounded):
            if (one.code, one.where) not in known:
                shown = BrokenInCounts(step_v=reading.step_v, broken=one.code, case=one.witness)
                yield Finding("lost-in-counts", Severity.FAULT, one.where, shown)


def few_counts(review: Review, reading: Converter) -> Iterator[Finding]:
    """Neighbours with fewer than two counts of hysteresis left."""
    holds = counted_holds(review.table, reading)
    for below, above in pairwise(holds):
        left, names = counts_between(below, above), (below.row.name, above.row.name)
        if left < 2:
            shown = CountsLeft(
                bands=names,
                left_counts=left,
                step_v=reading.step_v,
                overlap_v=left * reading.step_v,
                count=int(left),
            )
            yield Finding("few-counts", Severity.WARNING, where.in_bands(*names), shown)
