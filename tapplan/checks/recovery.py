"""Sudden steps held against a published tolerance curve: which leave it, by how much, and what would keep them."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.review import Review
from tapplan.control.lookup import AWAY
from tapplan.control.response import REST, Phase, Response, responses
from tapplan.control.timing import reading_ms
from tapplan.design import standards
from tapplan.design.standards import Curve

Side = Literal["over", "under"]
COMMON_CURVE = "iti-2000"  # where the file names none; it has both an upper and a lower part


@dataclass(frozen=True, slots=True)
class Verdict:
    """One response against one side of a curve: the phase that comes nearest to leaving it, or leaves it most.

    `percent` is the output in percent of nominal, `lasts_ms` how long the output has stood beyond the curve's steady
    level by the end of that phase, `allowed_ms` how long the curve lets it stand at that percentage (None: for
    ever), `allowed_percent` what it lets stand so long.
    """

    response: Response
    curve: Curve
    side: Side
    phase: Phase
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


def verdicts(review: Review, curve: Curve) -> list[Verdict]:
    """Every response of the controller against both sides of a curve, in the order of the rows."""
    nominal = review.design.output.nominal_v
    found = [
        _verdict(response, curve, side, nominal)
        for response in responses(review.table, review.mixtures)
        for side in (("over", "under") if curve.upper else ("under",))
    ]
    return [verdict for verdict in found if verdict is not None]


def _verdict(response: Response, curve: Curve, side: Side, nominal: Fraction) -> Verdict | None:
    """The worst phase of a response on one side; None when no phase leaves the steady level of the curve."""
    steady = (curve.upper if side == "over" else curve.lower)[-1][1]
    worst: Verdict | None = None
    since: Fraction | None = None
    for phase in response.phases:
        output = phase.output.high if side == "over" else phase.output.low
        percent = 100 * output / nominal
        beyond = percent > steady if side == "over" else percent < steady
        since = None if not beyond else phase.from_ms if since is None else since
        if since is None:
            continue
        found = _held_against(response, curve, side, (phase, output, percent, phase.until_ms - since))
        if worst is None or (found.kept, -found.excess) < (worst.kept, -worst.excess):
            worst = found
    return worst


def _held_against(
    response: Response, curve: Curve, side: Side, stood: tuple[Phase, Fraction, Fraction, Fraction]
) -> Verdict:
    phase, output, percent, lasts = stood
    allowed_s = curve.may_rise_s(percent) if side == "over" else curve.may_fall_s(percent)
    allowed = curve.may_rise_to(lasts / 1000) if side == "over" else curve.may_fall_to(lasts / 1000)
    return Verdict(
        response,
        curve,
        side,
        phase,
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
    left = [verdict for verdict in verdicts(review, curve) if not verdict.kept]
    for side in ("over", "under"):
        here = [verdict for verdict in left if verdict.side == side]
        if here:
            worst = max(here, key=lambda verdict: verdict.excess)
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
        f"{_allowed(worst)}. The worst of {count} such {'step' if count == 1 else 'steps'}; {cure(review, worst)}",
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


def longest_confirm_ms(review: Review, worst: Verdict) -> Fraction | None:
    """The longest `confirm_ms` with which this step would keep to the curve; negative: none, None: no bound."""
    if worst.allowed_ms is None:
        return None
    return review.design.sensing.confirm_ms - (worst.lasts_ms - worst.allowed_ms)


def cure(review: Review, worst: Verdict) -> str:
    """Which confirmation or averaging would keep a step inside the curve, in words."""
    confirm = longest_confirm_ms(review, worst)
    if confirm is None:
        return "nothing to mend"
    if confirm >= 0:
        return f"a confirm_ms of at most {float(confirm):g} would keep it"
    window = reading_ms(review.design) + confirm
    if window > 0:
        cycles = window * review.design.mains.frequency_hz[0] / 1000
        return f"without confirmation, window_cycles of at most {float(cycles):.2f} would keep it"
    return "no confirmation or averaging is short enough: a quicker relay, a milder ratio or a cut-off is needed"


def highest_jump_v(review: Review, worst: Verdict) -> Fraction | None:
    """The highest line to which the row may be taken at once: allowed percent of nominal over its ratio."""
    number = worst.response.start
    ratio = review.table.rows[number].ratio if number >= 0 else review.rest.ratio
    if not ratio or worst.side != "over":
        return None
    return worst.allowed_percent / 100 * review.design.output.nominal_v / ratio
