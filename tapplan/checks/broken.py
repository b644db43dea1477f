"""The stage with one thing broken, standing by standing: what it then does, and what its controller then reads.

The page shows it at any voltage; the fault table tells the same over whole bands.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.faulted import AnyFault
from tapplan.checks.review import Review
from tapplan.control.misreading import MISREADINGS, Misreading, factor_of
from tapplan.control.moves import energised_in
from tapplan.control.standing import Standing
from tapplan.network.circuit import Circuit, Closed
from tapplan.network.faults import closed_under, edited, single_faults
from tapplan.network.turns import Gain, Outcome, outcome, sensed_ratio


@dataclass(frozen=True, slots=True)
class Broken:
    """One standing of a stage with a fault in it.

    `circuit` has the fault in it, `closed` are its contacts that are closed though other coils may ask for others.
    `sensed` is what is read of an input volt: 0 where nothing is read, None where nothing fixes it.
    """

    circuit: Circuit
    closed: Closed
    outcome: Outcome
    sensed: Fraction | None


def known_faults(review: Review) -> tuple[AnyFault, ...]:
    """Every single fault of the stage, then those of the reading, in the order of the file."""
    return (*single_faults(review.circuit), *MISREADINGS)


def whole(review: Review, standing: Standing) -> Broken:
    """The stage with nothing broken, in a standing."""
    return _broken(review, None, standing)


def broken(review: Review, fault: AnyFault) -> Iterator[Broken]:
    """The stage with a fault in it, in the order of the compiled controller's standings."""
    for node in review.decisions.nodes:
        yield _broken(review, fault, node.standing)


def _broken(review: Review, fault: AnyFault | None, standing: Standing) -> Broken:
    in_copper = [] if fault is None or isinstance(fault, Misreading) else [fault]
    circuit = review.circuit
    for one in in_copper:
        circuit = edited(circuit, one)
    closed = closed_under(review.circuit, in_copper, energised_in(review.table, standing))
    found = outcome(circuit, closed)
    read = _read(review, circuit, closed, found)
    factor = factor_of(fault) if isinstance(fault, Misreading) else Fraction(1)
    return Broken(circuit, closed, found, None if read is None else factor * read)


def _read(review: Review, circuit: Circuit, closed: Closed, found: Outcome) -> Fraction | None:
    """What is read of an input volt; a detector does not see which way round its winding is."""
    at = review.design.sensing.at
    if at == "input":
        return Fraction(1)
    if at == "output":
        return abs(found.ratio) if isinstance(found, Gain) else None
    ratio = sensed_ratio(circuit, closed, found)
    return None if ratio is None else abs(ratio)
