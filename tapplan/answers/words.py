"""How numbers and relay states are written for people, and the words of caution."""

from __future__ import annotations

from fractions import Fraction
from math import isnan

from tapplan.exact import Span

CAUTION = (
    "Caution: mains and battery currents can kill or start fires. The output may stay live from a battery when "
    "the plug is out; capacitors hold charge; an autotransformer does not isolate, so neutral is not safe to "
    "touch; a few volts fed into a section of few turns can be mains voltage at another tap. Work on such "
    "circuits only if qualified: isolate, lock out, discharge, prove dead. Figures here are calculated, not "
    "measured; local codes and the maker's instructions come first."
)

CAUTION_LINE = (
    "Caution: mains and batteries can kill; only qualified hands, isolated, locked out, proven dead. All of it: "
    "tapplan guide repairer"
)


def number(value: Fraction | float, decimals: int = 3) -> str:
    """A decimal number without trailing zeros."""
    text = f"{float(value):.{decimals}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def figure(value: float | None, decimals: int = 2) -> str:
    """A measured number, or a dash where there is none."""
    return "-" if value is None or isnan(value) else number(value, decimals)


def percent(share: float | None) -> str:
    """A share in percent, or a dash."""
    return "-" if share is None else f"{100 * share:.1f} %"


def span(value: Span | None, decimals: int = 1) -> str:
    """Two ends, or a dash where there is no span."""
    return "-" if value is None else f"{number(value.low, decimals)} - {number(value.high, decimals)}"


def ratio(value: Fraction | None) -> str:
    """A ratio exactly and as a decimal."""
    if value is None:
        return "-"
    return f"{value} = {float(value):.4f}" if value.denominator != 1 else f"{value}"


def made_up(how: str) -> str:
    """That a log was never measured, with the first words of how it was made."""
    return f"The log is made up ({how.partition(':')[0]}): nothing here was measured."


def relays(energised: tuple[str, ...]) -> str:
    """The relays driven, in words."""
    return ", ".join(energised) if energised else "none (all at rest)"


def position(relay: str, energised: tuple[str, ...]) -> str:
    """What one relay does, in a word."""
    return "energised" if relay in energised else "rest"


def throw(relay: str, energised: tuple[str, ...]) -> str:
    """What one relay does, as the throw its common is joined to."""
    return "NO" if relay in energised else "NC"
