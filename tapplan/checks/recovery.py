"""Sudden steps held against a published tolerance curve: which leave it, by how much, and what would keep them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from tapplan.checks.aftermath import named
from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.review import Review
from tapplan.control.response import Level, Response, Side
from tapplan.control.standing import InRow
from tapplan.control.timing import reading_ms
from tapplan.design import standards
from tapplan.design.model import Sensing
from tapplan.design.standards import Curve
from tapplan.exact import Span, rounded_down

SIDES: tuple[Side, Side] = ("over", "under")
COMMON_CURVE = "iti-2000"  # where the file names none; it has both an upper and a lower part


@dataclass(frozen=True, slots=True)
class Verdict:
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


def verdicts(review: Review, curve: Curve) -> list[Verdict]:
    """Every response of the controller against both sides of a curve, in the order of the rows."""
    nominal = review.design.output.nominal_v
    sides: tuple[Side, ...] = ("over", "under") if curve.upper else ("under",)
    return [
        verdict
        for response in review.responses
        for side in sides
        for verdict in levels(response, curve, side, nominal)
    ]


def left_by(review: Review, curve: Curve) -> list[Verdict]:
    """Just the levels that leave a curve; what all the time there is cannot make leave it is not worked out."""
    return review.once(("left by", curve.key), lambda: _left_by(review, curve))


def _left_by(review: Review, curve: Curve) -> list[Verdict]:
    nominal = review.design.output.nominal_v
    return [
        verdict
        for response in review.responses
        for side in SIDES
        for verdict in _at_risk(response, curve, side, nominal)
        if not verdict.kept
    ]


def _at_risk(response: Response, curve: Curve, side: Side, nominal: Fraction) -> Iterator[Verdict]:
    """The levels that would leave the curve if they lasted all the time there is, held against it."""
    for output in _beyond(response, curve, side, nominal):
        if not _tolerated(curve, side, 100 * output / nominal, response.most_ms):
            yield _held_against(response, curve, side, (output, nominal))


def _tolerated(curve: Curve, side: Side, percent: Fraction, lasts_ms: Fraction) -> bool:
    allowed = curve.may_rise_s(percent) if side == "over" else curve.may_fall_s(percent)
    return allowed is None or lasts_ms <= 1000 * allowed


def worst_each(found: Sequence[Verdict]) -> list[Verdict]:
    """For every response and side the level that leaves the curve most, or comes nearest to it."""
    worst: dict[tuple[int, str], Verdict] = {}
    for one in found:
        key = (id(one.response), one.side)
        if key not in worst or one.harm > worst[key].harm:
            worst[key] = one
    return list(worst.values())


def levels(response: Response, curve: Curve, side: Side, nominal: Fraction) -> list[Verdict]:
    """Every level of a response beyond the steady one of a curve, held against it.

    A level is held against the curve for as long as it, or a worse one, lasts without a break: 0 V of an open flight
    at the end of a long sag counts for the flight alone, the sag for both.
    """
    return [
        _held_against(response, curve, side, (volts, nominal)) for volts in _beyond(response, curve, side, nominal)
    ]


def _beyond(response: Response, curve: Curve, side: Side, nominal: Fraction) -> list[Fraction]:
    """The outputs of a response that lie beyond a curve's steady level, in volts; none where it has no such side."""
    corners = curve.upper if side == "over" else curve.lower
    if not corners:
        return []
    steady = corners[-1][1]
    sign = 1 if side == "over" else -1
    return [volts for volts in response.levels(side) if (100 * volts / nominal - steady) * sign > 0]


def _held_against(response: Response, curve: Curve, side: Side, level: tuple[Fraction, Fraction]) -> Verdict:
    output, nominal = level
    percent, lasting = 100 * output / nominal, response.lasting(output, side)
    seconds = lasting.lasts_ms / 1000
    allowed_s = curve.may_rise_s(percent) if side == "over" else curve.may_fall_s(percent)
    allowed = curve.may_rise_to(seconds) if side == "over" else curve.may_fall_to(seconds)
    return Verdict(
        response,
        curve,
        side,
        output,
        percent,
        lasting,
        None if allowed_s is None else 1000 * allowed_s,
        allowed if allowed is not None else percent,
    )


def curve_of(review: Review) -> Curve:
    """The curve the file names, or the common one."""
    named = standards.curve(review.design.output.tolerance_curve or COMMON_CURVE)
    return named or standards.CURVES[0]


def slow_recovery(review: Review) -> Iterator[Finding]:
    """The worst step over, and the worst step under, the tolerance curve; a fault when the file names the curve."""
    curve = curve_of(review)
    stated = review.design.output.tolerance_curve is not None
    left = worst_each(left_by(review, curve))
    for side in ("over", "under"):
        here = [verdict for verdict in left if verdict.side == side]
        if here:
            worst = max(here, key=lambda verdict: verdict.harm)
            yield _finding(review, worst, (len(here), Severity.FAULT if stated else Severity.WARNING))


def _finding(review: Review, worst: Verdict, counted: tuple[int, Severity]) -> Finding:
    response, count = worst.response, counted[0]
    line = worst.line_v
    names = tuple(named(review, one) for one in (response.start, *response.entered))
    return Finding(
        "slow-recovery",
        counted[1],
        f'from "{names[0]}" to "{names[-1]}", {worst.side} the curve',
        f"a sudden change of the line to {volts(line)} puts {volts(worst.output_v)}, {float(worst.percent):.0f} % of "
        f"nominal, on the load for up to {float(worst.lasts_ms):.0f} ms; {worst.curve.key} allows "
        f"{_allowed(worst)}. The worst of {count} such {'step' if count == 1 else 'steps'}",
        Witness(
            bands=names,
            input_v=line,
            output_v=worst.output_v,
            factor=worst.percent / 100,
            lasts_ms=worst.lasts_ms,
            limit_ms=worst.allowed_ms,
        ),
    )


def _allowed(worst: Verdict) -> str:
    time = "no time at all" if not worst.allowed_ms else f"{float(worst.allowed_ms):.3g} ms"
    return f"{time} at that level, and {float(worst.allowed_percent):.0f} % for so long"


@dataclass(frozen=True, slots=True)
class Cure:
    """What would keep every step on one side inside a curve: a confirmation, or none and a shorter window.

    `window_cycles` None: the window as it is. It is never other than a whole number of half cycles, for anything else
    lets a steady reading wander.
    """

    confirm_ms: Fraction
    window_cycles: Fraction | None = None

    @property
    def told(self) -> str:
        """In words, as a change of the file."""
        if self.window_cycles is None:
            return f"a confirm_ms of at most {float(self.confirm_ms):.4g}"
        return f"without confirmation, window_cycles of at most {float(self.window_cycles):g}"

    def applied(self, sensing: Sensing) -> Sensing:
        """The sensing with it."""
        window = sensing.window_cycles if self.window_cycles is None else self.window_cycles
        return replace(
            sensing, confirm_ms=self.confirm_ms, confirm_up_ms=None, confirm_down_ms=None, window_cycles=window
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
    nominal = review.design.output.nominal_v
    held = (one for response in review.detoured for one in _at_risk(response, curve, side, nominal))
    terms = [_term(review, one) for one in held if one.allowed_ms is not None]
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


def _term(review: Review, verdict: Verdict) -> Term:
    lasting, sensing = verdict.lasting, review.design.sensing
    waits = lasting.windows * reading_ms(review.design) + lasting.confirms * sensing.longest_confirmation_ms
    base = lasting.lasts_ms - waits
    return Term(
        verdict.response.detour, (verdict.allowed_ms or Fraction(0)) - base, lasting.windows, lasting.confirms
    )


def _longest(terms: list[Term], window: Fraction) -> Fraction | None:
    """The longest confirmation that every term allows; None when one allows none at all."""
    left = [(term.spare_ms - term.windows * window, term.confirms) for term in terms]
    if any(spare < 0 for spare, _ in left):
        return None
    return min((spare / confirms for spare, confirms in left if confirms), default=None)


NO_CURE = "no confirmation or averaging is short enough: a quicker relay, a milder ratio or a cut-off is needed"


def highest_jump_v(review: Review, worst: Verdict) -> Fraction | None:
    """The highest line to which the row may be taken at once: allowed percent of nominal over its ratio."""
    start = worst.response.start
    ratio = review.table.rows[start.number].ratio if isinstance(start, InRow) else review.rest.ratio
    if not ratio or worst.side != "over":
        return None
    return worst.allowed_percent / 100 * review.design.output.nominal_v / ratio


def worst_of(found: Sequence[Verdict]) -> Verdict:
    """The one to draw: the worst that leaves the curve, else the one that comes nearest."""
    return max(found, key=lambda verdict: (not verdict.kept, verdict.side == "over", verdict.harm))


def drawn_at_worst(review: Review, one: Verdict) -> tuple[Response, Span | None]:
    """A verdict's response at its worst line voltage, and the output once it has settled; None: nothing."""
    drawn, last = one.response.at_line(one.line_v), one.response.entered[-1]
    return drawn, review.table.rows[last.number].output_over(drawn.line) if isinstance(last, InRow) else None
