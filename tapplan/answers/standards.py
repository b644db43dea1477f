"""The published supplies and tolerance curves with their sources: what `standards` answers."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.answers.answer import Answer
from tapplan.answers.columns import ends, more, number, said, volts, word
from tapplan.design.standards import CURVES, SUPPLIES, Curve, PublishedSupply
from tapplan.exact import Span


@dataclass(frozen=True, slots=True, kw_only=True)
class SupplyRow:
    """A supply range as a standard publishes it; `seen`: whether its text was at hand."""

    key: Annotated[str, word("key", whole=True)]
    nominal_v: Annotated[Fraction, volts("nominal")]
    range_v: Annotated[Span, ends("range")]
    frequency_hz: Annotated[Fraction, number("Hz")]
    title: Annotated[str, word("what")]
    source: Annotated[str, word("source", on_screen=False)]
    seen: Annotated[str, word("how sure")]


@dataclass(frozen=True, slots=True, kw_only=True)
class Corner:
    """From so long on, the output may stand at most, or at least, at so many percent of nominal."""

    seconds: Annotated[float, number("from", "s")]
    percent: Annotated[Fraction, number("level", "%")]


@dataclass(frozen=True, slots=True, kw_only=True)
class CurveRow:
    """A tolerance curve."""

    key: Annotated[str, word("key", whole=True)]
    title: Annotated[str, word()]
    upper: Annotated[tuple[Corner, ...], more()]
    lower: Annotated[tuple[Corner, ...], more()]
    rise: Annotated[str, said("may rise to")]
    fall: Annotated[str, said("may fall to")]
    source: Annotated[str, word("source", on_screen=False)]
    seen: Annotated[str, word("how sure")]
    note: Annotated[str, word()]


@dataclass(frozen=True, slots=True, kw_only=True)
class Standards(Answer):
    """All that tapplan knows of."""

    heading = "Supply ranges and tolerance curves"

    title: str = ""
    supplies: Annotated[tuple[SupplyRow, ...], more()]
    curves: Annotated[tuple[CurveRow, ...], more()]


def standards() -> Standards:
    """The published supplies and curves."""
    return Standards(supplies=tuple(_supply(one) for one in SUPPLIES), curves=tuple(_curve(one) for one in CURVES))


def _supply(one: PublishedSupply) -> SupplyRow:
    return SupplyRow(
        key=one.key,
        nominal_v=one.nominal_v,
        range_v=Span(*one.range_v),
        frequency_hz=one.frequency_hz,
        title=one.title,
        source=one.source,
        seen=one.seen,
    )


def _curve(one: Curve) -> CurveRow:
    upper, lower = (
        tuple(Corner(seconds=float(time), percent=level) for time, level in points)
        for points in (one.upper, one.lower)
    )
    return CurveRow(
        key=one.key,
        title=one.title,
        upper=upper,
        lower=lower,
        rise=_corners(upper),
        fall=_corners(lower),
        source=one.source,
        seen=one.seen,
        note=one.note,
    )


def _corners(points: tuple[Corner, ...]) -> str:
    return "\n".join(f"{float(one.percent):g} % from {one.seconds:.3g} s" for one in points) or "-"
