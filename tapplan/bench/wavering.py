"""Defects that do not always show: worn contacts, cracked joints, relays that work sometimes, a weak coil rail.

Such a defect shows at each reading what one of a few other hypotheses shows, and may be seen to change.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from tapplan.bench.defects import Defect, Hypothesis
from tapplan.network.circuit import Circuit
from tapplan.network.faults import Fault

WORN: dict[str, str] = {"nc-worn": "nc-open", "no-worn": "no-open"}
WAVERING = frozenset({*WORN, "intermittent", "lead-cracked", "rail-weak"})


def wavering(hypothesis: Hypothesis) -> Defect | None:
    """The first of its defects that does not always show."""
    return next((defect for defect in hypothesis if defect.fault in WAVERING), None)


@cache
def stands_for(circuit: Circuit, defect: Defect) -> Defect:
    """The defect that a wavering one is at its worst."""
    if defect.fault in WORN:
        return replace(defect, fault=WORN[defect.fault])
    if defect.fault == "lead-cracked":
        return replace(defect, fault="lead-open")
    if defect.fault == "rail-weak":
        return replace(defect, fault="missing")
    number = circuit.relays.index(defect.relays[0])
    return Defect(defect.part, "stuck-rest", contact=Fault(defect.part, "stuck-rest", number))
