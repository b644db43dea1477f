"""The JSON answers of the verb `isolate`."""

from __future__ import annotations

from collections.abc import Sequence

from tapplan.bench.defects import MENDS, Hypothesis
from tapplan.bench.isolation import Diagnosis, Next, Reading
from tapplan.bench.measures import Measure
from tapplan.bench.tree import Fork, Leaf, Tree, forks
from tapplan.bench.values import Prediction
from tapplan.bench.words import asked, condition_told, measure_told, readings_told
from tapplan.pages.answers import Json, number


def verdict(found: Diagnosis, readings: Sequence[Reading]) -> Json:
    """What the readings leave, their conflict or doubts, and the next measurement."""
    return {
        "readings": [
            {**measure(one.measure), "value": number(one.value), "unit": one.measure.unit, "told": one.told}
            for one in readings
        ],
        "groups": [
            {
                "share": group.share,
                "candidates": [hypothesis(one) for one in group.members],
                "mend": mends(group.members),
            }
            for group in found.groups
        ],
        "conflict": [place + 1 for place in found.conflict],
        "doubts": [
            {"reading": doubt.place + 1, "candidates": [hypothesis(one) for one in doubt.hypotheses]}
            for doubt in found.doubts
        ],
        "next": None if found.next is None else _next(found.next),
        "barred": found.barred,
    }


def hypothesis(one: Hypothesis) -> list[Json]:
    """Its defects; none for a healthy stage."""
    return [{"part": defect.part, "fault": defect.fault, "told": defect.told()} for defect in one]


def mends(members: Sequence[Hypothesis]) -> list[str]:
    """What to do about the defects of a group, each once."""
    return list(dict.fromkeys(MENDS[defect.fault] for one in members for defect in one))


def measure(one: Measure) -> Json:
    """A measurement in the words of a reading, and as a sentence."""
    return {"condition": condition_told(one.condition), "measure": measure_told(one), "asked": asked(one)}


def _spans(measured: Measure, spans: Prediction) -> Json:
    return {"readings": readings_told(measured, spans), "spans": [[float(one.low), float(one.high)] for one in spans]}


def _next(one: Next) -> Json:
    asked_for = one.entry.measure
    return {
        **measure(asked_for),
        "unit": asked_for.unit,
        "bits": one.bits,
        "effort": asked_for.effort,
        "most_v": number(one.volts),
        "outcomes": [
            {**_spans(asked_for, left.readings), "fits": [hypothesis(each) for each in left.hypotheses]}
            for left in one.leaves
        ],
    }


def tree(found: Tree) -> Json:
    """The steps by number; each outcome leads to another step or to what is left."""
    return {
        "mean": found.mean,
        "worst": found.worst,
        "begins": _place(found.root),
        "steps": [
            {
                "step": node.number,
                **measure(node.measure),
                "outcomes": [{**_spans(node.measure, one.readings), **_place(one.below)} for one in node.branches],
            }
            for node in sorted(forks(found.root), key=lambda one: one.number)
        ],
    }


def _place(below: Fork | Leaf) -> Json:
    if isinstance(below, Fork):
        return {"step": below.number}
    return {"left": [hypothesis(one) for one in below.hypotheses]}
