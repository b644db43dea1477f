"""What a stage costs by the prices stated: iron, copper, relays and leads. Work is not counted."""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.design.model import Design
from tapplan.rating.rated import Ratings


@dataclass(frozen=True, slots=True)
class StageCost:
    """Each part in the currency stated; iron or copper None where its mass is not known."""

    currency: str
    iron: float | None
    copper: float | None
    relays: float
    leads: float

    @property
    def total(self) -> float | None:
        """All of it; None where a part is not known."""
        if self.iron is None or self.copper is None:
            return None
        return self.iron + self.copper + self.relays + self.leads


def cost_of(found: Ratings) -> StageCost | None:
    """The cost of a design rated; None where it states no prices."""
    design = found.design
    prices = design.prices
    if prices is None:
        return None
    poles = sum(len(relay.all_poles) for relay in design.relays)
    iron = None if found.iron is None else found.iron.mass_kg
    copper = None if found.window is None else found.window.kg
    return StageCost(
        prices.currency,
        None if iron is None else iron * float(prices.iron),
        None if copper is None else copper * float(prices.copper),
        float(len(design.relays) * prices.relay + (poles - len(design.relays)) * prices.pole),
        float(len(_leads(design)) * prices.tap),
    )


def _leads(design: Design) -> set[str]:
    """The points of all windings, each once."""
    return {end for winding in design.windings for end in winding.ends}
