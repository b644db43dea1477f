"""Sudden steps held against a published tolerance curve: which leave it, by how much, and what would keep them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.review import Review
from tapplan.control.lookup import AWAY
from tapplan.control.response import REST, Phase, Response, at_line, responses
from tapplan.control.timing import reading_ms
from tapplan.design import standards
from tapplan.design.standards import Curve
from tapplan.exact import Span

Side = Literal["over", "under"]
COMMON_CURVE = "iti-2000"  # where the file names none; it has both an upper and a lower part


@dataclass(frozen=True, slots=True)
class Verdict:
    """One response against one side of a curve: the phase that comes nearest to leaving it, or leaves it most.

    `percent` is the output in percent of nominal, `lasts_ms` how long it stands there or farther out without a break
    (over the phases `during`), `allowed_ms` how long the curve lets it (None: for ever), `allowed_percent` what the
    curve lets stand so long.
    """

    response: Response
    curve: Curve
    side: Side
    during: tuple[Phase, ...]
    output_v: Fraction
    percent: Fraction
    lasts_ms: Fraction
    allowed_ms: Fraction | None
    allowed_percent: Fraction

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


def verdicts(review: Review, curve: Curve, *, detours: bool = False) -> list[Verdict]:
    """Every response of the controller against both sides of a curve, in the order of the rows.

    `detours` as in `responses`.
    """
    nominal = review.design.output.nominal_v
    return [
        verdict
        for response in responses(review.table, review.mixtures, detours=detours)
        for side in (("over", "under") if curve.upper else ("under",))
        for verdict in levels(response, curve, side, nominal)
    ]


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
    steady = (curve.upper if side == "over" else curve.lower)[-1][1]
    sign = 1 if side == "over" else -1
    percents = [100 * (one.output.high if side == "over" else one.output.low) / nominal for one in response.phases]
    found = []
    for place, percent in enumerate(percents):
        if (percent - steady) * sign > 0:
            during = _stretch(response.phases, [(one - percent) * sign >= 0 for one in percents], place)
            found.append(_held_against((response, during), curve, side, (percent * nominal / 100, percent)))
    return found


def _stretch(phases: tuple[Phase, ...], as_bad: list[bool], place: int) -> tuple[Phase, ...]:
    """The phases around one that are as bad, without a break."""
    first, last = place, place
    while first > 0 and as_bad[first - 1]:
        first -= 1
    while last + 1 < len(phases) and as_bad[last + 1]:
        last += 1
    return phases[first : last + 1]


def _held_against(
    stretch: tuple[Response, tuple[Phase, ...]], curve: Curve, side: Side, level: tuple[Fraction, Fraction]
) -> Verdict:
    response, during = stretch
    output, percent = level
    lasts = during[-1].until_ms - during[0].from_ms
    allowed_s = curve.may_rise_s(percent) if side == "over" else curve.may_fall_s(percent)
    allowed = curve.may_rise_to(lasts / 1000) if side == "over" else curve.may_fall_to(lasts / 1000)
    return Verdict(
        response,
        curve,
        side,
        during,
        output,
        percent,
        lasts,
        None if allowed_s is None else 1000 * allowed_s,
        allowed if allowed is not None else percent,
    )


def row_name(review: Review, number: int) -> str:
    """A row by its name; being away and being at rest have names of their own."""
    if number == REST:
        return "all at rest"
    return "backup" if number == AWAY else review.table.rows[number].name


def curve_of(review: Review) -> Curve:
    """The curve the file names, or the common one."""
    named = standards.curve(review.design.output.tolerance_curve or COMMON_CURVE)
    return named or standards.CURVES[0]


def slow_recovery(review: Review) -> Iterator[Finding]:
    """The worst step over, and the worst step under, the tolerance curve; a fault when the file names the curve."""
    curve = curve_of(review)
    stated = review.design.output.tolerance_curve is not None
    left = [verdict for verdict in worst_each(verdicts(review, curve)) if not verdict.kept]
    for side in ("over", "under"):
        here = [verdict for verdict in left if verdict.side == side]
        if here:
            worst = max(here, key=lambda verdict: verdict.harm)
            yield _finding(review, worst, (len(here), Severity.FAULT if stated else Severity.WARNING))


def _finding(review: Review, worst: Verdict, counted: tuple[int, Severity]) -> Finding:
    response, count = worst.response, counted[0]
    line = worst.line_v
    names = tuple(row_name(review, number) for number in (response.start, *response.entered))
    return Finding(
        "slow-recovery",
        counted[1],
        f'from "{names[0]}" to "{names[-1]}"',
        f"a sudden change of the line to {volts(line)} puts {volts(worst.output_v)}, {float(worst.percent):.0f} % of "
        f"nominal, on the load for up to {float(worst.lasts_ms):.0f} ms; {worst.curve.key} allows "
        f"{_allowed(worst)}. The worst of {count} such {'step' if count == 1 else 'steps'}; "
        f"{cure(review, worst.curve, worst.side)}",
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
    """What would keep every step on one side inside a curve; None where that alone cannot.

    `confirm_ms` is the longest confirmation with the window as it is, `window_ms` the longest window without any.
    """

    confirm_ms: Fraction | None
    window_ms: Fraction | None


@dataclass(frozen=True, slots=True)
class Term:
    """One level of one response: the time it may last less all that is not waiting, and what it waits for."""

    detour: bool
    spare_ms: Fraction
    windows: int
    confirms: int


def cure_of(review: Review, curve: Curve, side: Side) -> Cure:
    """The longest confirmation, and the longest window, with which every step on one side keeps to the curve.

    A level lasts base + w window + c confirmation; detours exist only for confirmations shorter than the window.
    """
    window, confirm = reading_ms(review.design), review.design.sensing.confirm_ms
    terms = [
        _term(review, one, (window, confirm))
        for one in verdicts(review, curve, detours=True)
        if one.side == side and one.allowed_ms is not None
    ]
    longest = _longest([term for term in terms if not term.detour], window)
    if longest is not None and longest < window:
        longest = _longest(terms, window)
    bounds = [term.spare_ms / term.windows for term in terms if term.windows]
    possible = all(term.spare_ms >= 0 for term in terms if not term.windows) and min(bounds, default=0) > 0
    return Cure(longest, min(bounds) if possible else None)


def _term(review: Review, verdict: Verdict, waiting: tuple[Fraction, Fraction]) -> Term:
    response = verdict.response
    detour = review.design.sensing.at == "input" and len(response.entered) == 2 and response.start >= 0
    windows = sum(one.windows for one in verdict.during)
    confirms = sum(one.confirms for one in verdict.during)
    base = verdict.lasts_ms - windows * waiting[0] - confirms * waiting[1]
    return Term(detour, (verdict.allowed_ms or Fraction(0)) - base, windows, confirms)


def _longest(terms: list[Term], window: Fraction) -> Fraction | None:
    """The longest confirmation that every term allows; None when one allows none at all."""
    left = [(term.spare_ms - term.windows * window, term.confirms) for term in terms]
    if any(spare < 0 for spare, _ in left):
        return None
    return min((spare / confirms for spare, confirms in left if confirms), default=None)


def cure(review: Review, curve: Curve, side: Side) -> str:
    """Which confirmation or averaging would keep all steps on one side inside the curve, in words."""
    found = cure_of(review, curve, side)
    if found.confirm_ms is not None:
        return f"a confirm_ms of at most {float(found.confirm_ms):.4g} would keep all of them"
    if found.window_ms is not None:
        cycles = found.window_ms * review.design.mains.frequency_hz[0] / 1000
        return f"without confirmation, window_cycles of at most {float(cycles):.2f} would keep all of them"
    return "no confirmation or averaging is short enough: a quicker relay, a milder ratio or a cut-off is needed"


def highest_jump_v(review: Review, worst: Verdict) -> Fraction | None:
    """The highest line to which the row may be taken at once: allowed percent of nominal over its ratio."""
    number = worst.response.start
    ratio = review.table.rows[number].ratio if number >= 0 else review.rest.ratio
    if not ratio or worst.side != "over":
        return None
    return worst.allowed_percent / 100 * review.design.output.nominal_v / ratio


def worst_of(found: Sequence[Verdict]) -> Verdict:
    """The one to draw: the worst that leaves the curve, else the one that comes nearest."""
    return max(found, key=lambda verdict: (not verdict.kept, verdict.side == "over", verdict.harm))


def drawn_at_worst(review: Review, one: Verdict) -> tuple[Response, Span | None]:
    """A verdict's response at its worst line voltage, and the output once it has settled; None: nothing."""
    drawn, last = at_line(review.table, review.mixtures, one.response, one.line_v), one.response.entered[-1]
    return drawn, review.table.rows[last].output_over(drawn.line) if last >= 0 else None
