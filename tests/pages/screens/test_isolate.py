"""Fault isolation on a screen: readings, what is left, what is next, from answers made by hand."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from tapplan.answers.isolate import Isolated
from tapplan.bench.isolation import AlikeFaults, Reading
from tapplan.pages.screens import isolate
from tests.answers.test_isolate import LOW, NOTHING, OPEN, WORN, next_one, told
from tests.answers.test_plan import FIRST, planned
from tests.answers.test_tree import ROOT
from tests.answers.test_tree import told as grown
from tests.pages.screens.test_verdict import lines

GROUPS = (AlikeFaults(((OPEN,),), 0.75), AlikeFaults(((WORN,),), 0.25))


def shown(one: Isolated) -> list[str]:
    return lines(isolate.screen(one, 0))


def test_before_the_first_reading_there_is_none_to_show() -> None:
    text = shown(told(replace(NOTHING, groups=GROUPS)))
    assert text[:3] == ["Fault isolation: x", "", "Still possible"]
    assert text[-1] == "No measurement on the list tells these apart."
    assert not any("verdict" in line.lower() for line in text)


def test_readings_the_verdict_and_what_is_left_stand_in_this_order() -> None:
    readings = (Reading(LOW, None),)
    one = told(replace(NOTHING, groups=GROUPS, conflict=(0,)), readings=readings)
    text = shown(replace(one, cells_empty=2))
    at = [next(place for place, line in enumerate(text) if line.startswith(begins)) for begins in (
        "1  Mains off", "Of the sheet 2 lines", "No verdict yet.", "No fault on the list explains reading 1",
        "Still possible")]  # fmt: skip
    assert at == sorted(at)
    assert not any(line.startswith("Of the sheet") for line in shown(replace(one, cells_empty=0)))
    assert not any(line.startswith("No fault on the list") for line in shown(replace(one, conflict=())))


def test_the_next_measurement_is_told_with_its_outcomes() -> None:
    one = told(replace(NOTHING, groups=GROUPS, next=next_one()))
    text = shown(one)
    at = next(place for place, line in enumerate(text) if line.startswith("Next: Mains off"))
    assert text[at + 1].startswith("It tells 1.23 bits")
    assert text[at + 2].split() == ["if", "it", "reads", "that", "fits"]
    assert text[at + 3].startswith("1 to 2 V")
    assert "No measurement on the list tells these apart." not in text


def test_a_dialogue_says_what_is_likely_and_where_the_probes_go() -> None:
    one = told(replace(NOTHING, groups=GROUPS, next=next_one()))
    text = lines(isolate.asking(one, ["red on OUT", "black on N"]))
    assert text[1] == "2 possible; most likely: K coil-open (75%), S nc-worn (25%)"
    at = text.index("red on OUT")
    assert text[at - 1].startswith("Next: ")
    assert text[at + 1] == "black on N"
    bare: Any = lines(isolate.asking(replace(one, next=None)))
    assert len(bare) == 2


def test_a_tree_and_a_plan_stand_step_by_step(monkeypatch: Any) -> None:
    tree = lines(isolate.tree(grown(monkeypatch, ROOT), 0))
    assert [line for line in tree if line[:3] in ("1. ", "2. ")] == [
        "1. Power off, no coil driven: is K heard to click as its coil is driven?",
        "2. Power off, no coil driven: ohms of the coil of K.",
    ]
    assert sum("go to 2" in line for line in tree) == 1
    plan = lines(isolate.plan(planned(monkeypatch, FIRST), 0))
    assert "1. Power off, no coil driven: ohms of the coil of K. Passes: 1 to 2 ohm." in plan
    assert sum(line.startswith("1 to 2 ohm") for line in plan) == 2
