"""The written list of rules, in the order in which they object to one place."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from tapplan.design.model import Design
from tapplan.design.objection import Objection
from tapplan.design.sense import build, control, service, wiring

RULES: tuple[Callable[[Design], Iterator[Objection]], ...] = (
    wiring.sizes,
    service.fit,
    wiring.unique_names,
    service.volts,
    wiring.terminals,
    wiring.windings,
    wiring.relays,
    wiring.sensing,
    control.driven_relays,
    control.band_names,
    control.confirmations,
    control.backup,
    control.sequence,
    control.controller,
    service.core,
    build.wires,
    build.sizes,
    build.former,
    build.volts_per_turn,
    wiring.named_windings,
    service.tolerance_curve,
)


def objections(design: Design) -> list[Objection]:
    """Everything in the design that makes no sense, rule by rule."""
    return [one for rule in RULES for one in rule(design)]
