"""Sudden steps held against a published tolerance curve: which leave it, by how much, and what would keep them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks import where
from tapplan.checks.aftermath import named
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.mends import Cure
from tapplan.checks.review import Review
from tapplan.checks.witnesses.moving import SuddenStep
from tapplan.control.response import Level, Response, Side
from tapplan.control.standing import InRow
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
class CurveSide:
    """One side of a curve, which responses in volts are held against, and what its percents are percents of."""

    curve: Curve
    side: Side
    nominal_v: Fraction

    def verdicts(self, response: Response) -> list[StepVerdict]:
        """Every level of a response beyond the steady one of the curve, held against it.

        A level is held against the curve for as long as it, or a worse one, lasts without a break: 0 V of an open
        flight at the end of a long sag counts for the flight alone, the sag for both.
        """
        return [self._verdict(response, output_v) for output_v in self._beyond(response)]

    def at_risk(self, response: Response) -> list[StepVerdict]:
        """Just the levels that would leave the curve if they lasted all the time there is."""
        return [
            self._verdict(response, output_v)
            for output_v in self._beyond(response)
            if not self._tolerates(output_v, response.most_ms)
        ]

    def _beyond(self, response: Response) -> list[Fraction]:
        """The outputs of a response that lie beyond the steady level, in volts; none where there is no such side."""
        corners = self.curve.upper if self.side == "over" else self.curve.lower
        if not corners:
            return []
        steady = corners[-1][1]
        sign = 1 if self.side == "over" else -1
        return [volts for volts in response.levels(self.side) if (self._percent(volts) - steady) * sign > 0]

    def _percent(self, output_v: Fraction) -> Fraction:
        return 100 * output_v / self.nominal_v

    def _allowed_ms(self, output_v: Fraction) -> Fraction | None:
        percent = self._percent(output_v)
        seconds = self.curve.may_rise_s(percent) if self.side == "over" else self.curve.may_fall_s(percent)
        return None if seconds is None else 1000 * seconds

    def _tolerates(self, output_v: Fraction, lasts_ms: Fraction) -> bool:
        allowed = self._allowed_ms(output_v)
        return allowed is None or lasts_ms <= allowed

    def _verdict(self, response: Response, output_v: Fraction) -> StepVerdict:
        percent, lasting = self._percent(output_v), response.lasting(output_v, self.side)
        seconds = lasting.lasts_ms / 1000
        allowed = self.curve.may_rise_to(seconds) if self.side == "over" else self.curve.may_fall_to(seconds)
        return StepVerdict(
            response,
            self.curve,
            self.side,
            output_v,
            percent,
            lasting,
            self._allowed_ms(output_v),
            allowed if allowed is not None else percent,
        )


def _sides(review: Review, curve: Curve) -> list[CurveSide]:
    return [CurveSide(curve, side, review.design.output.nominal_v) for side in SIDES]


def verdicts(review: Review, curve: Curve) -> list[StepVerdict]:
    """Every response of the controller against both sides of a curve, in the order of the rows."""
    return [
        verdict
        for response in review.responses
        for one in _sides(review, curve)
        for verdict in one.verdicts(response)
    ]


def left_by(review: Review, curve: Curve) -> list[StepVerdict]:
    """Just the levels that leave a curve; what all the time there is cannot make leave it is not worked out."""
    return review.once(("left by", curve.key), lambda: _left_by(review, curve))


def _left_by(review: Review, curve: Curve) -> list[StepVerdict]:
    return [
        verdict
        for response in review.responses
        for one in _sides(review, curve)
        for verdict in one.at_risk(response)
        if not verdict.kept
    ]


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
    against = CurveSide(curve, side, review.design.output.nominal_v)
    held = (one for response in review.detoured for one in against.at_risk(response))
    terms = [_term(review, one, one.allowed_ms) for one in held if one.allowed_ms is not None]
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


def _term(review: Review, verdict: StepVerdict, allowed_ms: Fraction) -> Term:
    lasting, sensing = verdict.lasting, review.design.sensing
    waits = lasting.windows * reading_ms(review.design) + lasting.confirms * sensing.longest_confirmation_ms
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
    side = CurveSide(worst.curve, worst.side, review.design.output.nominal_v)
    starting = (one for one in review.responses if one.start == worst.response.start)
    bounds = [_highest_line(side, one) for one in starting]
    known = [bound for bound in bounds if bound is not None]
    return rounded_down(min(known), TENTH) if known else None


def _highest_line(side: CurveSide, response: Response) -> Fraction | None:
    """The highest line at which a response stays under the curve; None where it does at all of its lines."""
    leaving = [one for one in side.verdicts(response) if not one.kept]
    if not leaving:
        return None
    highest = min(one.allowed_percent / one.percent for one in leaving) * response.line.high
    return highest if highest in response.line else response.line.low - TENTH


def worst_of(found: Sequence[StepVerdict]) -> StepVerdict:
    """The one to draw: the worst that leaves the curve, else the one that comes nearest."""
    return max(found, key=lambda verdict: (not verdict.kept, verdict.side == "over", verdict.harm))


def settled_output(review: Review, drawn: Response) -> Span | None:
    """The output once a response has settled; None: nothing."""
    last = drawn.entered[-1]
    return review.table.rows[last.number].output_over(drawn.line) if isinstance(last, InRow) else None
