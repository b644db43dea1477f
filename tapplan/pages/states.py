"""The states that a page can show, each listed once: what is closed, the way to the output, what is magnetised."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from tapplan.answers.forms import Json
from tapplan.checks.broken import Broken
from tapplan.network.blame import blame
from tapplan.network.circuit import Circuit
from tapplan.network.paths import way
from tapplan.network.turns import Gain, Kind, potentials


class ShownStates:
    """States of one stage, whole or with a fault in it, numbered in the order in which they are first asked for.

    Parts are told by their numbers in the whole circuit; a way passes points and, as -1 - n, contact n.
    """

    def __init__(self, circuit: Circuit) -> None:
        self._circuit = circuit
        self._numbers: dict[Broken, int] = {}
        self._places: dict[str, int] = {}
        self.told: list[Json] = []
        self._names: dict[str, int | str] = {point: number for number, point in enumerate(circuit.points)}
        self._names |= {one.label: -1 - number for number, one in enumerate(circuit.contacts)}
        self._sections = {one.name: number for number, one in enumerate(circuit.sections)}

    def number(self, found: Broken) -> int:
        """The number of a state; states that look alike have one."""
        known = self._numbers.get(found)
        if known is None:
            shown = self._shown(found)
            known = self._places.setdefault(repr(shown), len(self.told))
            if known == len(self.told):
                self.told.append(shown)
            self._numbers[found] = known
        return known

    def _shown(self, found: Broken) -> Json:
        told: Json = {"kind": found.outcome.kind.value, "closed": sorted(found.closed)}
        if not isinstance(found.outcome, Gain):
            return told | self._why(found)
        taken = way(found.circuit, found.closed)
        steps = taken.steps if taken is not None else ()
        return told | {
            "ratio": float(found.outcome.ratio),
            "way": [self._names.get(step, step) for step in steps],
            "crossed": self._crossed(found.circuit, steps),
            "fed": self._fed(found),
        }

    def _why(self, found: Broken) -> Json:
        """What is to blame that there is no ratio; of a short also the parts of its loop."""
        to_blame = blame(found.circuit, found.closed)
        if to_blame is None:
            return {}
        if found.outcome.kind is not Kind.SHORTED:
            return {"why": to_blame.told}
        return {
            "why": to_blame.told,
            "loop": [f"contact-{-1 - int(self._names[label])}" for label in to_blame.contacts]
            + [f"section-{self._sections[name]}" for name in to_blame.windings if name in self._sections],
        }

    def _crossed(self, circuit: Circuit, steps: Sequence[str]) -> list[int]:
        """The windings on the way: between two points that follow one another without a contact."""
        pairs = {frozenset(pair) for pair in pairwise(steps) if not {*pair} & {one.label for one in circuit.contacts}}
        ends = {
            one.name: frozenset({circuit.points[one.start], circuit.points[one.finish]}) for one in circuit.sections
        }
        return [number for name, number in self._sections.items() if ends.get(name) in pairs]

    def _fed(self, found: Broken) -> list[int]:
        """The windings of every core that stands between line and neutral."""
        circuit, joined = found.circuit, potentials(found.circuit, found.closed)
        if joined.part[circuit.line] != joined.part[circuit.neutral]:
            return []
        own = joined.part[circuit.neutral]
        cores = {one.core for one in circuit.sections if joined.part[one.start] == own}
        return [self._sections[one.name] for one in circuit.sections if one.core in cores]
