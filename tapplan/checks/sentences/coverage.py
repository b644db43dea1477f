"""Sentences about inputs that are served by no state, held by no band, or give no way back."""

from __future__ import annotations

from tapplan.checks.sentences.words import apart, relays, stretch, volts
from tapplan.checks.witnesses.coverage import DeadZone, NoReturn, Stretched, Unserved


def unserved(one: Unserved) -> str:
    """Inputs no state serves, and by how much each neighbour would have to stretch to close them alone."""
    width = volts(one.to_v - one.from_v)
    parts = []
    if one.below is not None:
        parts.append(f"{relays(one.below.energised)} would have to reach {width} higher {_ratios(one.below)}")
    if one.above is not None:
        parts.append(f"{relays(one.above.energised)} would have to begin {width} lower {_ratios(one.above)}")
    remedy = "; " + ", or ".join(parts) if parts else ""
    return f"{stretch(one.from_v, one.to_v)}: no usable relay state keeps the output inside the window{remedy}"


def _ratios(one: Stretched) -> str:
    return f"(ratio {float(one.wanted_ratio):.4f} instead of {float(one.ratio):.4f})"


def dead_zone(one: DeadZone) -> str:
    """Inputs a reading of which no band holds."""
    return f"{stretch(one.from_v, one.to_v)}: a reading of {volts(one.reading_v)} is held by no band"


def no_return(one: NoReturn) -> str:
    """A reading, while away, that the return leaves out."""
    found, limit = apart(one.reading_v, one.limit_v)
    return (
        f"away at a steady {volts(one.input_v)} in, a promised input, the reading can stay at {found}, where "
        f"return_v {'begins' if one.side == 'low' else 'ends'} at {limit}: the load need never come back"
    )
