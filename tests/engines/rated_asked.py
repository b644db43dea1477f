"""Ratings of whole designs against ngspice: what a table's bands carry, at more inputs than the two that are solved.

The worst of each stands at one of the two ends of a band, says the package; here nine inputs of every band are asked.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from random import Random

import numpy as np

from tapplan.control.table import control_table
from tapplan.errors import TableError
from tapplan.rating.bandwise import Built, Permitted, band_ratings, permitted
from tapplan.rating.carried import Carried, carried
from tapplan.rating.contacts import contact_ratings
from tapplan.rating.feeds import winding_volts
from tapplan.rating.service import Service
from tapplan.rating.windings import SectionRating, section_ratings
from tests.engines.copper_asked import (
    CURRENT,
    LOADED,
    NGSPICE,
    PLAIN,
    Asked,
    Behind,
    Stage,
    labels,
    load_current,
    stage_of,
)
from tests.engines.tallied import Tally
from tests.outside.designs import random_design
from tests.outside.spice import Deck, Phasors, Run, answered

MODELS = ("impedance", "current", "power")
INPUTS = 9


def drawn_rated(chance: Random) -> str:
    """A sound design with a load of any model and power factor, leakage in some windings, ohms in all."""
    while True:
        text = random_design(chance, 0.0).text
        if "load_va" in text and "resistance_ohm" in text:
            break
    lines = []
    for line in text.splitlines():
        if line.startswith("load_model"):
            line = f'load_model = "{chance.choice(MODELS)}"'
        elif line.startswith("power_factor"):
            line = f"power_factor = {chance.choice(('1', '0.9', '0.7', '0.4'))}"
        lines.append(line)
        if line.startswith("turns") and chance.random() < 0.4:
            lines.append(f"leakage_ohm = {chance.randint(1, 300) / 1000}")
        if line.startswith("name") and "reading" in line:
            lines.append("resistance_ohm = 0.5")
    return "\n".join(lines) + "\n"


@dataclass(slots=True)
class Worst:
    """The most over every input of every band, as the engine has it; nan where some load cannot be carried."""

    windings: dict[str, float] = field(default_factory=dict)
    contacts: dict[str, float] = field(default_factory=dict)
    copper_w: dict[str, float] = field(default_factory=dict)
    per_turn: dict[str, float] = field(default_factory=dict)


def ask_ratings(stage: Stage) -> Iterator[Asked]:
    """Every question about a design's ratings; the last band's judge tells of all."""
    try:
        table = control_table(stage.design)
    except TableError:
        return
    found = carried(table)
    service = Service(found, [])
    if service.idle:
        return
    sections = section_ratings(stage.design, service)
    worst = Worst()
    for place, row in enumerate(found.rows):
        closed = labels(stage.circuit, stage.circuit.state(row.energised))
        deck = Deck(stage.copper, closed, (PLAIN, Run(load_a=1)), resistive=True)

        def judge(runs: list[Phasors], place: int = place) -> None:
            _gather(stage, found, place, runs, worst)
            _judge_band(stage, found, place, runs, sections)
            if place == len(found.rows) - 1:
                _judge_worst(stage, service, sections, worst)

        yield Asked(deck, judge)


def _gather(stage: Stage, found: Carried, place: int, runs: list[Phasors], worst: Worst) -> None:
    of, (plain, drawing), name = stage.copper, runs, found.rows[place].name
    for volts in np.linspace(*found.line_v[place], INPUTS):
        behind = Behind(volts * plain.points[of.output], -drawing.points[of.output])
        drawn = load_current(behind, of, of.power_factor)
        loss = 0.0
        for one in of.windings:
            size = abs(volts * plain.windings[one.name] + drawn * drawing.windings[one.name])
            worst.windings[one.name] = _most(worst.windings.get(one.name, 0.0), size)
            loss += size**2 * one.ohm
        for throw in of.throws:
            size = abs(volts * plain.throws[throw.label] + drawn * drawing.throws[throw.label])
            worst.contacts[throw.label] = _most(worst.contacts.get(throw.label, 0.0), size)
            loss += size**2 * throw.ohm
        worst.copper_w[name] = _most(worst.copper_w.get(name, 0.0), loss)
        for core in of.cores:
            loaded = abs(volts * plain.per_turn[core] + drawn * drawing.per_turn[core])
            both = [abs(volts * plain.per_turn[core]), *([] if loaded != loaded else [loaded])]
            worst.per_turn[name] = max(worst.per_turn.get(name, 0.0), *both)


def _most(one: float, other: float) -> float:
    return one + other if one != one or other != other else max(one, other)


def _judge_worst(stage: Stage, service: Service, sections: list[SectionRating], worst: Worst) -> None:
    tally, of = stage.tally, stage.copper
    row = tally.of("worst current of a winding, nine inputs a band", NGSPICE, CURRENT)
    for one in sections:
        _near(row, one.amperes, worst.windings[one.name], f"{stage.name} {one.name}")
    row = tally.of("worst current of a contact, nine inputs a band", NGSPICE, CURRENT)
    for contact in contact_ratings(stage.design, service):
        _near(row, contact.amperes, worst.contacts[contact.label], f"{stage.name} {contact.label}")
    for band in band_ratings(stage.design, service.carried, Built(None, sections)):
        case = f"{stage.name} {band.row.name} {of.model}"
        losses = tally.of("copper loss of a band", NGSPICE, CURRENT)
        _near(losses, band.heat.copper_w, worst.copper_w[band.row.name], case)
        per_turn = worst.per_turn[band.row.name]
        tally.of("volts per turn of a band", NGSPICE, LOADED).near(band.heat.per_turn_v, per_turn, case)


def _near(row, ours: float | None, theirs: float, case: str) -> None:  # type: ignore[no-untyped-def]
    if ours is None or theirs != theirs:
        row.same(ours is None, theirs != theirs, case, "cannot be carried")
    else:
        row.near(ours, theirs, case, scale=0.1)


def _judge_band(stage: Stage, found: Carried, place: int, runs: list[Phasors], sections: list[SectionRating]) -> None:
    of, (plain, drawing) = stage.copper, runs
    winding = stage.chance.choice(of.windings)
    volts = winding_volts(stage.design, found, winding.name)[place]
    row = stage.tally.of("volts of a winding, least and most of a band", NGSPICE, LOADED)
    for end, (ours, choose) in enumerate(zip(volts, (min, max), strict=True)):
        line = float(found.line_v[place, end])
        behind = Behind(line * plain.points[of.output], -drawing.points[of.output])
        drawn = load_current(behind, of, of.power_factor)
        levels = [abs(line * plain.per_turn[winding.core])]
        if drawn == drawn:
            levels.append(abs(line * plain.per_turn[winding.core] + drawn * drawing.per_turn[winding.core]))
        row.near(ours, choose(levels) * winding.turns, f"{stage.name} {winding.name} band {place}", scale=0.1)
    for one in permitted(stage.design, found, sections)[2 * place : 2 * place + 2]:
        _judge_permitted(stage, one, runs)


def _judge_permitted(stage: Stage, told: Permitted, runs: list[Phasors]) -> None:
    """The load that is said to pull the output down to the window's end, put on."""
    if told.limited_by != "the window's lower end" or not told.va:
        return
    (plain, drawing), low = runs, float(stage.design.output.window.low)
    of = replace(stage.copper, va=told.va)
    behind = Behind(told.input_v * plain.points[of.output], -drawing.points[of.output])
    drawn = load_current(behind, of, of.power_factor)
    row = stage.tally.of("output at the load permitted by the window", NGSPICE, LOADED)
    row.near(
        low,
        abs(behind.opened - behind.ohm * drawn),
        f"{stage.name} {told.row.name} at {told.input_v}",
        outcome=of.model,
    )


def compare_ratings(seeds: range, folder: Path, tally: Tally) -> None:
    """Every question about the ratings of the designs of these seeds."""
    asked: list[Asked] = []
    for seed in seeds:
        stage = stage_of(drawn_rated(Random(f"rated {seed}")), f"rated {seed}", tally)
        if stage is not None:
            asked += ask_ratings(stage)
    for one, runs in zip(asked, answered([one.deck for one in asked], folder), strict=True):
        one.judge(runs)
