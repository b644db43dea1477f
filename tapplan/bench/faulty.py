"""The stage with a hypothesis in it; what many hypotheses share is worked out once."""

from __future__ import annotations

from dataclasses import dataclass

from tapplan.bench.defects import Defect, Hypothesis, faulty_circuit, pulled
from tapplan.network.circuit import Circuit, Closed
from tapplan.network.faults import closed_under
from tapplan.network.turns import Potentials, potentials


@dataclass(frozen=True, slots=True)
class FaultyStage:
    """A circuit with what is wrong in it, and the contacts that are closed."""

    circuit: Circuit
    closed: Closed


class FaultyStages:
    """The faulty stages of one circuit."""

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self._circuits: dict[tuple[Defect, ...], Circuit] = {}
        self._stages: dict[tuple[Hypothesis, frozenset[str]], FaultyStage] = {}
        self._joined: dict[tuple[tuple[Defect, ...], Closed], Potentials] = {}

    def of(self, hypothesis: Hypothesis, coils: frozenset[str]) -> FaultyStage:
        """The faulty circuit and the contacts closed in it when these coils get their voltage."""
        whole = (hypothesis, coils)
        if whole not in self._stages:
            self._stages[whole] = self._made(hypothesis, coils)
        return self._stages[whole]

    def _made(self, hypothesis: Hypothesis, coils: frozenset[str]) -> FaultyStage:
        key = edits(hypothesis)
        if key not in self._circuits:
            self._circuits[key] = faulty_circuit(self._circuit, hypothesis)
        circuit = self._circuits[key]
        hits = [defect.contact for defect in hypothesis if defect.contact is not None]
        return FaultyStage(circuit, closed_under(circuit, hits, pulled(hypothesis, coils)))

    def potentials(self, hypothesis: Hypothesis, stage: FaultyStage) -> Potentials:
        """The turn potentials of one of them."""
        key = (edits(hypothesis), stage.closed)
        if key not in self._joined:
            self._joined[key] = potentials(stage.circuit, stage.closed)
        return self._joined[key]


def edits(hypothesis: Hypothesis) -> tuple[Defect, ...]:
    """Its defects of windings, leads and suppressor, which change the circuit."""
    return tuple(one for one in hypothesis if _edits(one))


def _edits(defect: Defect) -> bool:
    if defect.fault == "suppressor-shorted":
        return True
    return defect.contact is not None and defect.contact.relay is None
