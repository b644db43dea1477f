"""What the coils draw from the winding that feeds them, over what flows there by the load."""

from __future__ import annotations

from math import sqrt

from tapplan.design.model import CoilSupply, Design, Relay
from tapplan.rating.carried import Carried
from tapplan.rating.feeds import winding_volts
from tapplan.rating.service import At, Worst

# Of the RMS current of a winding behind a bridge and a capacitor, what comes out as direct current (makers' guides,
# from memory).
DIRECT_SHARE = 0.62


def coils_draw(design: Design, carried: Carried, supply: CoilSupply) -> Worst:
    """The most current that the driven coils draw from their winding, at the highest input of a band.

    Nothing where no coil says what it takes.
    """
    worst = Worst(0.0, None)
    volts = winding_volts(design, carried, supply.winding)
    for row, (_, high), (_, inlet) in zip(carried.rows, volts, carried.line_v, strict=True):
        direct = sqrt(2) * high - float(supply.drop_v) if supply.rectified else high
        amperes = sum(_coil_a(relay, direct) for relay in design.relays if relay.name in row.energised)
        drawn = amperes / DIRECT_SHARE if supply.rectified else amperes
        if worst.amperes is None or drawn > worst.amperes:
            worst = Worst(drawn, At(row.name, float(inlet)))
    return worst


def _coil_a(relay: Relay, volts: float) -> float:
    """What a coil draws at these volts, by its rated ones; nothing where they are not stated."""
    if relay.coil_v is None or relay.coil_w is None or volts <= 0:
        return 0.0
    return float(relay.coil_w) * volts / float(relay.coil_v) ** 2
