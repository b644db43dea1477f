"""Sudden steps held against a published tolerance curve: which leave it, by how much, and what would keep them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cached_property

from tapplan.checks import where
from tapplan.checks.aftermath import named
from tapplan.checks.curveside import CurveSide
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.mends import Cure
from tapplan.checks.review import Review
from tapplan.checks.witnesses.moving import SuddenStep
from tapplan.control.response import Level, Response, Side, WorstLine
from tapplan.control.standing import InRow, Standing
from tapplan.control.timing import reading_ms
from tapplan.design import standards
from tapplan.design.standards import Curve
from tapplan.exact import Span, rounded_down

SIDES: tuple[Side, Side] = ("over", "under")
TENTH = Fraction(1, 10)  # volts
COMMON_CURVE = "iti-2000"  # where the file names none; it has both an upper and a lower part


@dataclass(frozen=True, slots=True)
class StepVerdict:
    """One response against one side of a curve: the level that comes nearest to leaving it, or leaves it most.

    `percent` is the output in percent of nominal, `lasting` how long it stands there or farther out without a break,
    `allowed_ms` how long the curve lets it (None: for ever), `allowed_percent` what the curve lets stand so long.
    """

    response: Response
    curve: Curve
    side: Side
    output_v: Fraction
    percent: Fraction
    lasting: Level
    allowed_ms: Fraction | None
    allowed_percent: Fraction

    @property
    def lasts_ms(self) -> Fraction:
        """How long the level lasts, in ms."""
        return self.lasting.lasts_ms

    @property
    def line_v(self) -> Fraction:
        """The line voltage of the worst case."""
        return self.response.line.high if self.side == "over" else self.response.line.low

    @property
    def kept(self) -> bool:
        """Whether the curve tolerates it."""
        return self.allowed_ms is None or self.lasts_ms <= self.allowed_ms

    @property
    def excess(self) -> Fraction:
        """Percent of nominal beyond what the curve tolerates for so long; negative when inside."""
        return (self.percent - self.allowed_percent) * (1 if self.side == "over" else -1)

    @property
    def harm(self) -> tuple[bool, Fraction, Fraction]:
        """For sorting: first whether it leaves the curve, then by how many percent, then by how long."""
        late = self.lasts_ms - self.allowed_ms if self.allowed_ms is not None else Fraction(0)
        return not self.kept, self.excess, late


@dataclass(frozen=True, slots=True)
class _OuterLevel:
    """An output beyond the steady level of a curve: its percent of nominal, and how long so much may stand."""

    output_v: Fraction
    percent: Fraction
    allowed_ms: Fraction | None


@dataclass(frozen=True)
class HeldResponse:
    """One response held against one side of a curve, each level worked out once, when it is asked for.

    A level is held against the curve for as long as it, or a worse one, lasts without a break: 0 V of an open flight
    at the end of a long sag counts for the flight alone, the sag for both.
    """

    against: CurveSide
    response: Response
    _known: dict[Fraction, StepVerdict] = field(default_factory=dict, init=False, repr=False, compare=False)

    @cached_property
    def verdicts(self) -> list[StepVerdict]:
        """Every level beyond the steady one of the curve."""
        return [self._verdict(one) for one in self._outer]

    @cached_property
    def at_risk(self) -> list[StepVerdict]:
        """Just the levels that would leave the curve if they lasted all the time there is."""
        most = self.response.most_ms if self._outer else Fraction(0)
        return [self._verdict(one) for one in self._outer if one.allowed_ms is not None and most > one.allowed_ms]

    @cached_property
    def left(self) -> list[StepVerdict]:
        """Just the levels that leave the curve; what all the time there is cannot make leave it is not worked out."""
        return [one for one in self.at_risk if not one.kept]

    @cached_property
    def _outer(self) -> list[_OuterLevel]:
        """The outputs of the response beyond the steady level; none where there is no such side."""
        against = self.against
        if against.steady_v is None:
            return []
        outer = [volts for volts in self._worst_line.levels if against.beyond(volts, against.steady_v)]
        percents = [against.percent(volts) for volts in outer]
        return [_OuterLevel(volts, one, against.allowed_ms(one)) for volts, one in zip(outer, percents, strict=True)]

    @cached_property
    def _worst_line(self) -> WorstLine:
        return WorstLine.of(self.response, self.against.side)

    def _verdict(self, level: _OuterLevel) -> StepVerdict:
        if level.output_v not in self._known:
            self._known[level.output_v] = self._worked_out(level)
        return self._known[level.output_v]

    def _worked_out(self, level: _OuterLevel) -> StepVerdict:
        lasting, against = self._worst_line.lasting(level.output_v), self.against
        allowed = against.allowed_percent(lasting.lasts_ms)
        return StepVerdict(
            self.response,
            against.curve,
            against.side,
            level.output_v,
            level.percent,
            lasting,
            level.allowed_ms,
            allowed if allowed is not None else level.percent,
        )


def held_responses(review: Review, curve: Curve) -> list[HeldResponse]:
    """Every response of the controller against both sides of a curve, in the order of the rows."""
    return review.once(
        ("held", curve.key), lambda: [held for one in review.responses for held in _both_sides(review, curve, one)]
    )


def _both_sides(review: Review, curve: Curve, response: Response) -> list[HeldResponse]:
    return [HeldResponse(CurveSide(curve, side, review.design.output.nominal_v), response) for side in SIDES]


def verdicts(review: Review, curve: Curve) -> list[StepVerdict]:
    """Every level of every response beyond the steady ones of a curve, held against it."""
    return [verdict for one in held_responses(review, curve) for verdict in one.verdicts]


def left_by(review: Review, curve: Curve) -> list[StepVerdict]:
    """Just the levels that leave a curve."""
    return [verdict for one in held_responses(review, curve) for verdict in one.left]


def worst_each(found: Sequence[StepVerdict]) -> list[StepVerdict]:
    """For every response and side the level that leaves the curve most, or comes nearest to it."""
    worst: dict[tuple[int, str], StepVerdict] = {}
    for one in found:
        key = (id(one.response), one.side)
        if key not in worst or one.harm > worst[key].harm:
            worst[key] = one
    return list(worst.values())


def curve_of(review: Review) -> Curve:
    """The curve the file names, or the common one."""
    named = standards.curve(review.design.output.tolerance_curve or COMMON_CURVE)
    return named or standards.CURVES[0]


def slow_recovery(review: Review) -> Iterator[Finding]:
    """The worst step over, and the worst step under, the tolerance curve; a fault when the file names the curve."""
    curve = curve_of(review)
    stated = review.design.output.tolerance_curve is not None
    severity = Severity.FAULT if stated else Severity.WARNING
    left = worst_each(left_by(review, curve))
    for side in SIDES:
        here = [verdict for verdict in left if verdict.side == side]
        worst = max(here, key=lambda verdict: verdict.harm, default=None)
        if worst is not None and worst.allowed_ms is not None:  # what leaves the curve is allowed some time, or none
            shown = _sudden(review, worst, worst.allowed_ms, len(here))
            place = f"from {where.between(shown.bands[0], shown.bands[-1])}, {side} the curve"
            yield Finding("slow-recovery", severity, place, shown)


def _sudden(review: Review, worst: StepVerdict, allowed_ms: Fraction, count: int) -> SuddenStep:
    response = worst.response
    return SuddenStep(
        bands=tuple(named(review, one) for one in (response.start, *response.entered)),
        side=worst.side,
        curve=worst.curve.key,
        input_v=worst.line_v,
        output_v=worst.output_v,
        factor=worst.percent / 100,
        lasts_ms=worst.lasts_ms,
        limit_ms=allowed_ms,
        allowed_pct=worst.allowed_percent,
        count=count,
    )


@dataclass(frozen=True, slots=True)
class Term:
    """One level of one response: the time it may last less all that is not waiting, and what it waits for."""

    detour: bool
    spare_ms: Fraction
    windows: int
    confirms: int


def cures(review: Review, curve: Curve, side: Side) -> list[Cure]:
    """The longest confirmation, and the longest window, with which every step on one side keeps to the curve.

    A level lasts base + w window + c confirmation; detours exist only for confirmations shorter than the window. One
    that all the time there is now cannot make leave the curve binds no shorter wait. What no waiting can mend has no
    cure, and what keeps to the curve needs none.
    """
    leaving = [one for one in left_by(review, curve) if one.side == side]
    if not leaving or any(not one.lasting.windows + one.lasting.confirms for one in leaving):
        return []
    window, cycle = reading_ms(review.design), 1000 / review.design.mains.frequency_hz[0]
    terms = [
        _term(review, one, one.allowed_ms)
        for response in _held_detoured(review, curve, side)
        for one in response.at_risk
        if one.allowed_ms is not None
    ]
    longest = _longest([term for term in terms if not term.detour], window)
    if longest is not None and longest < window:
        longest = _longest(terms, window)
    found = [] if longest is None else [Cure(rounded_down(longest, Fraction(1, 100)))]
    bounds = [term.spare_ms / term.windows for term in terms if term.windows]
    if all(term.spare_ms >= 0 for term in terms if not term.windows) and min(bounds, default=0) > 0:
        halves = rounded_down(min(bounds) / cycle, Fraction(1, 2))
        if 0 < halves < review.design.sensing.window_cycles:
            found.append(Cure(Fraction(0), halves))
    return found


def _held_detoured(review: Review, curve: Curve, side: Side) -> list[HeldResponse]:
    """Every response, with those that only a shorter confirmation would allow, against one side of a curve."""
    if review.detoured is review.responses:
        every = held_responses(review, curve)
    else:
        every = [held for one in review.detoured for held in _both_sides(review, curve, one)]
    return [one for one in every if one.against.side == side]


def _term(review: Review, verdict: StepVerdict, allowed_ms: Fraction) -> Term:
    lasting = verdict.lasting
    waits = lasting.windows * reading_ms(review.design) + lasting.confirmed_ms
    spare = allowed_ms - (lasting.lasts_ms - waits)
    return Term(verdict.response.detour, spare, lasting.windows, lasting.confirms)


def _longest(terms: list[Term], window: Fraction) -> Fraction | None:
    """The longest confirmation that every term allows; None when one allows none at all."""
    left = [(term.spare_ms - term.windows * window, term.confirms) for term in terms]
    if any(spare < 0 for spare, _ in left):
        return None
    return min((spare / confirms for spare, confirms in left if confirms), default=None)


def highest_jump_v(review: Review, worst: StepVerdict) -> Fraction | None:
    """The highest line, in tenths of a volt, to which the stage may be taken at once from where a worst step starts.

    Up to it every step from there, whichever rows it then enters and whatever it meets in flight, stays under the
    curve; None on the side below. A level's volts over its line are a ratio, and how long it lasts does not depend on
    the line, so that the allowed percent of nominal over that ratio is the line at which it just stays.
    """
    if worst.side != "over":
        return None
    highest = review.once(("highest jumps", worst.curve.key), lambda: _highest_jumps(review, worst.curve))
    return highest.get(worst.response.start)


def _highest_jumps(review: Review, curve: Curve) -> dict[Standing, Fraction]:
    """For each standing from which some step leaves the curve on its upper side, the highest jump from there."""
    bounds: dict[Standing, Fraction] = {}
    for one in held_responses(review, curve):
        bound = _highest_line(one) if one.against.side == "over" else None
        if bound is not None:
            start = one.response.start
            bounds[start] = min(bound, bounds.get(start, bound))
    return {start: rounded_down(bound, TENTH) for start, bound in bounds.items()}


def _highest_line(found: HeldResponse) -> Fraction | None:
    """The highest line at which a response stays under the curve; None where it does at all of its lines."""
    if not found.left:
        return None
    line = found.response.line
    highest = min(one.allowed_percent / one.percent for one in found.left) * line.high
    return highest if highest in line else line.low - TENTH


def worst_of(found: Sequence[StepVerdict]) -> StepVerdict:
    """The one to draw: the worst that leaves the curve, else the one that comes nearest."""
    return max(found, key=lambda verdict: (not verdict.kept, verdict.side == "over", verdict.harm))


def settled_output(review: Review, drawn: Response) -> Span | None:
    """The output once a response has settled; None: nothing."""
    last = drawn.entered[-1]
    return review.table.rows[last.number].output_over(drawn.line) if isinstance(last, InRow) else None
