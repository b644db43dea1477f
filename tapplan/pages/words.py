"""How numbers and relay states are written for people."""

from __future__ import annotations

from fractions import Fraction

from tapplan.exact import Span

CAUTION = (
    "Caution: mains and battery currents can kill or start fires. The output may stay live from a battery when "
    "the plug is out; capacitors hold charge; an autotransformer does not isolate, so neutral is not safe to "
    "touch; a few volts fed into a section of few turns can be mains voltage at another tap. Work on such "
    "circuits only if qualified: isolate, lock out, discharge, prove dead. Figures here are calculated, not "
    "measured; local codes and the maker's instructions come first."
)


def number(value: Fraction, decimals: int = 3) -> str:
    """A decimal number without trailing zeros."""
    text = f"{float(value):.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def span(value: Span | None, decimals: int = 1) -> str:
    """Two ends, or a dash where there is no span."""
    return "-" if value is None else f"{number(value.low, decimals)} - {number(value.high, decimals)}"


def ratio(value: Fraction | None) -> str:
    """A ratio exactly and as a decimal."""
    if value is None:
        return "-"
    return f"{value} = {float(value):.4f}" if value.denominator != 1 else f"{value}"


def relays(energised: tuple[str, ...]) -> str:
    """The relays driven, in words."""
    return ", ".join(energised) if energised else "none (all at rest)"


def position(relay: str, energised: tuple[str, ...]) -> str:
    """What one relay does, in a word."""
    return "energised" if relay in energised else "rest"


THROWS = "NO: coil energised, COM joined to NO; NC: coil at rest, COM joined to NC"


def throw(relay: str, energised: tuple[str, ...]) -> str:
    """What one relay does, as the throw its common is joined to."""
    return "NO" if relay in energised else "NC"
