"""What a log cannot show: what the line did between two samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from tapplan.replay.clock import pace_of, wait_us
from tapplan.replay.machine import Machine
from tapplan.replay.tally import Tally


@dataclass(frozen=True, slots=True)
class Unseen:
    """Bounds of what happened between samples; times in microseconds.

    `shortest`: what stands for less than a step is not seen. `one_way`: the changes of the band if the line ran one
    way from each sample to the next and passed through every band between; a jump, as counted, is the least.
    `ceiling`: as many changes that move a relay as the controller could make in the time of the log if the line swung
    between samples as it liked; None where such a change takes no time.
    """

    shortest: int
    least: int
    one_way: int
    ceiling: int | None


def unseen(machine: Machine, tally: Tally, step: int) -> Unseen:
    """The bounds for a log of a usual step."""
    before, after = np.nonzero(tally.changes)
    counts = tally.changes[before, after]
    away = tally.standings - 1
    passed = np.where((before == away) | (after == away), 1, np.abs(before - after))
    ceiling = _ceiling(machine, int(tally.lasting.sum()))
    return Unseen(step, int(counts.sum()), int((counts * passed).sum()), ceiling)


def _ceiling(machine: Machine, observed: int) -> int | None:
    """One change after the other, each as soon as it can be: confirmed, moved, settled."""
    made, shortest = machine.made, pace_of(machine.made).shortest
    if shortest is None:
        return 0
    waits = [wait_us(machine.table, node, upward=upward) for node in made.nodes for upward in (False, True)]
    fastest = shortest + min(waits)
    return observed // fastest if fastest else None
