"""Plans wound on their core: whatever is written passes check and rate at full load."""

from __future__ import annotations

import os
from dataclasses import replace
from fractions import Fraction
from functools import cache
from math import pi
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from tapplan.answers.rate import rated
from tapplan.answers.winding import winding_sheet
from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.design.coil import Coil
from tapplan.design.file import load_request, parse, read_text
from tapplan.design.materials import lamination
from tapplan.design.model import Design
from tapplan.errors import DesignError
from tapplan.rating.rated import ratings
from tapplan.study.cores import answered, core_sizes
from tapplan.study.fitting import How
from tapplan.study.loaded import LoadedFit
from tapplan.study.written import text_of
from tests.examples import ROOT

F = Fraction
CASES = int(os.environ.get("TAPPLAN_CASES", "8"))
REQUESTS = ROOT / "designs" / "requests"
JOBS = ("island-grid", "rural-feeder", "joinery")
MAGNETISING = 0.1  # volts at most by which the magnetising current, which the table leaves out, moves the output
QUIET = How(relaxing=False)


def request_text(**lines: str) -> str:
    """The island grid's request, with the values of some keys changed."""
    kept = read_text(REQUESTS / "island-grid.toml").splitlines()
    return "\n".join(
        next((f"{key} = {value}" for key, value in lines.items() if line.startswith(f"{key} ")), line)
        for line in kept
    )


def answers(tmp_path: Path, text: str) -> tuple[LoadedFit, list[Design]]:
    """The answer to a request, and its plans as they are read again from what would be written."""
    file = tmp_path / "asked.toml"
    file.write_text(text, encoding="utf-8")
    asked = load_request(file)
    found = answered(asked.design, asked.fit, (), QUIET)
    texts = [text_of(text, one.design, one.plan, "asked.toml") for one in found.built]
    return found, [parse(each) for each in texts]


def faults(made: Design) -> list[str]:
    return [one.code for one in findings(made) if one.severity is Severity.FAULT]


def drawn(random: Random) -> str:
    low, high = random.randint(80, 92), random.randint(124, 140)
    half = random.randint(9, 14)
    return request_text(
        range_v=f"[{low}, {high}]",
        window_v=f"[{110 - half}, {110 + half}]",
        load_va=f"{random.choice([200, 400, 600, 900])}",
        power_factor=f"{random.choice(['0.6', '0.8', '1'])}",
        stack_mm=f"{random.choice([40, 60, 80])}",
        total_turns=f"[150, {random.choice([300, 400])}]",
        hysteresis_v=f"{random.choice([1, 2])}",
        density_a_mm2=f"{random.choice(['2.5', '3', '4'])}",
        arrangements=random.choice(
            ['["line-chain"]', '["output-chain"]', '["both-sides"]', '["trees"]', '["add-in"]']
        ),
    )


def test_what_is_written_passes_check_and_rate_at_full_load(tmp_path: Path) -> None:
    """Of random requests; more of them with TAPPLAN_CASES."""
    random, plans = Random(14), 0
    for _ in range(CASES):
        _, made = answers(tmp_path, drawn(random))
        for design in made:
            assert faults(design) == []
            assert not rated(review(design)).wrong
            window = design.output.window
            for band in ratings(review(design).table).bands:
                every = [volts for volts in (*band.loaded_v, *band.open_v) if volts is not None]
                assert len(every) == 4
                assert min(every) >= float(window.low) - MAGNETISING
                assert max(every) <= float(window.high) + MAGNETISING
        plans += len(made)
    assert plans >= CASES // 4


def test_open_wires_count_as_the_wires_they_will_be(tmp_path: Path) -> None:
    """With the wires of a plan taken out, every band has the same ratio under load, and permits the same load."""
    _, (made, *_) = answers(tmp_path, request_text())
    bare = replace(made, windings=tuple(replace(one, wire_mm=None) for one in made.windings))
    stated, chosen = review(made).table, review(bare).table
    assert [row.full for row in stated.rows] == [row.full for row in chosen.rows]
    assert any(row.full != row.ratio for row in chosen.rows)
    assert [one.va for one in ratings(stated).permitted] == [one.va for one in ratings(chosen).permitted]
    assert all(one.va is not None and 600 <= one.va < 1200 for one in ratings(chosen).permitted)
    assert chosen.stated == bare
    assert [one.chosen for one in ratings(chosen).sections] == [True] * len(made.windings)


def test_the_drop_is_reserved_where_the_range_begins(tmp_path: Path) -> None:
    """Turns chosen for the ratios alone stand on the edge of the window; those for a load begin higher."""
    without = "\n".join(line for line in request_text().splitlines() if not line.startswith("load_va"))
    file = tmp_path / "asked.toml"
    file.write_text(without, encoding="utf-8")
    asked = load_request(file)
    plan = answered(asked.design, asked.fit, (), QUIET).fitted.plans[0]
    loaded, _ = answers(tmp_path, request_text())
    assert plan.room is not None
    assert loaded.built[0].plan.room is not None
    assert plan.room > loaded.built[0].plan.room
    assert plan.ratios[0] < loaded.built[0].plan.ratios[0]


@cache
def job(name: str) -> tuple[LoadedFit, list[Design]]:
    """A shipped request's answer, worked out once."""
    with TemporaryDirectory() as folder:
        return answers(Path(folder), read_text(REQUESTS / f"{name}.toml"))


@pytest.mark.parametrize("name", JOBS)
def test_the_shipped_jobs_are_clean(name: str) -> None:
    found, made = job(name)
    assert made
    for one, design in zip(found.built, made, strict=True):
        assert faults(design) == []
        assert not {"window-full", "thin-hysteresis"} & {each.code for each in findings(design)}
        assert one.crowding <= 1
        assert one.copper_kg is not None
        assert one.efficiency is not None
        assert 0.9 < one.efficiency < 1
        assert one.loss_w is not None
        assert one.loss_w > 0
        assert winding_sheet(review(design).table).elsewhere == ()


# Of the shipped jobs: leg and window in mm (legs at the sides and yokes are half as wide as the leg); overall
# diameters of grade 2 over the wires used.
PLATES = {"EI 120": (40, 20, 60), "EI 96": (32, 16, 48), "EI 150": (40, 35, 80)}
OVERALL = {0.315: 0.367, 0.8: 0.884, 1.0: 1.094, 1.12: 1.217, 1.6: 1.706, 2.5: 2.618}


def over_enamel(mm: float) -> float:
    """Of a gauge, the enamel of the next preferred size: AWG 12 (2.053 mm) under that of 2.24, AWG 20 of 0.9 mm."""
    return OVERALL.get(mm) or {2.052525: 2.052525 + 0.115, 0.811821: 0.811821 + 0.089}[mm]


@pytest.mark.parametrize("name", JOBS)
def test_the_shipped_jobs_wound_on_paper(name: str) -> None:
    """Layer sums, build-up, and masses of plan 1, turn lengths from the layers; 1.5, 3, 0.1 and 0.6 mm of former."""
    found, (made, *_) = job(name)
    core, plan = made.core, found.built[0]
    assert core is not None
    leg, wide, high = PLATES[core.lamination or ""]
    stack = float(core.stack_mm or 0)
    sheet = (2 * leg + 2 * wide) * (leg + high) - 2 * wide * high  # mm2, E and I together
    iron = sheet * stack * float(core.stack_factor) * 7.7e-6
    assert plan.iron_kg == pytest.approx(iron, rel=2e-3)
    out, copper, layers, apart = 0.0, 0.0, 0, {"battery", "coils"}
    lies, on, per, tall = "", 0, 0, 0.0
    for winding in made.windings:
        mm, strands = float(winding.wire_mm or 0), int(winding.strands or 1)
        kind = f"{mm} x {strands}" + (winding.name if winding.name in apart else "")
        left = int(winding.turns)
        while left:
            if kind != lies or on == per:
                out += tall + (0.1 if layers else 0.0) + (0.6 if winding.name in apart and kind != lies else 0.0)
                tall, per, on, lies = over_enamel(mm), int((high - 9) // (strands * over_enamel(mm))), 0, kind
                layers += 1
            turns = min(left, per - on)
            length = 2 * (leg + 3 + stack + 3) + 2 * pi * (out + tall / 2)
            copper += turns * length * strands * pi / 4 * mm**2 * 8.89e-6
            on, left = on + turns, left - turns
    coil = ratings(review(made).table).coil
    assert isinstance(coil, Coil)
    assert len(coil.layers) == layers
    flat = 1.5 + out + tall + 0.1
    assert float(coil.flat_mm) == pytest.approx(flat)
    assert float(coil.build_mm) == pytest.approx(1.5 + (flat - 1.5) * 1.15)
    assert float(coil.build_mm) <= wide
    assert plan.copper_kg == pytest.approx(copper, rel=1e-6)


@pytest.mark.parametrize("name", JOBS)
def test_the_ampere_turns_of_the_shipped_jobs_cancel(name: str) -> None:
    """What is left over all sections of a loaded band magnetises the core and warms it, by the data of the grade."""
    _, (made, *_) = job(name)
    turns = np.array([float(one.turns) for one in made.windings])
    found = ratings(review(made).table)
    iron, cases = found.iron, found.carried.cases
    assert iron is not None
    for currents, per_turn in zip(cases.sections, cases.per_turn[:, 0], strict=True):
        tesla = iron.flux_t(float(per_turn), float(made.mains.frequency_hz[0]))
        assert tesla is not None
        magnetising = iron.magnetising_at(tesla)
        assert magnetising is not None
        lost = iron.loss_w(tesla, float(made.mains.frequency_hz[0]))
        assert lost is not None
        left = (magnetising**2 + (lost / float(per_turn)) ** 2) ** 0.5
        assert abs((turns * currents).sum()) == pytest.approx(left, rel=0.03)


def test_the_inverter_s_winding_and_the_coils_by_hand() -> None:
    """The output stands between what the feed's ends make of it; the coils pull in at the lowest volts per turn."""
    _, (made, *_) = job("rural-feeder")
    by_name = {one.name: one for one in made.windings}
    assert made.relays[0].name == "KM"
    assert made.relays[0].nc is None
    assert all("KM" in band.energised for band in made.bands)
    (feed,) = ratings(review(made).table).feeds
    assert feed.used is not None
    assert not feed.used.inlet_live
    low, high = feed.feed.volts_v
    assert feed.used.output is not None
    heights = feed.used.output.low / low * by_name["battery"].turns
    assert 207 < low * heights / by_name["battery"].turns < high * heights / by_name["battery"].turns < 253
    assert all(one.volts >= 0.8 * 12 for one in ratings(review(made).table).coils)


def test_cores_are_tried_by_their_iron() -> None:
    asked = load_request(REQUESTS / "joinery.toml")
    sizes = core_sizes(asked.design, asked.fit)
    volumes = []
    for core in sizes:
        plate = lamination(core.lamination or "")
        assert plate is not None
        assert core.stack_mm is not None
        assert F(8, 10) <= core.stack_mm / plate.leg_mm <= F(16, 10)
        wide, high = plate.window_mm
        sheet = (2 * plate.leg_mm + 2 * wide) * (plate.leg_mm + high) - 2 * wide * high
        volumes.append(sheet * core.stack_mm)
    assert volumes == sorted(volumes)
    assert {core.lamination for core in sizes} <= {"EI 96", "EI 120", "EI 150N"}


def test_a_core_too_small_says_why(tmp_path: Path) -> None:
    text = request_text(lamination='"EI 48"', stack_mm="16", total_turns="[600, 3000]")
    found, made = answers(tmp_path, text)
    assert made == []
    assert found.refused[0].core == "EI 48 stacked 16 mm"
    assert "window-full" in found.refused[0].why or "room" in found.refused[0].why


@pytest.mark.parametrize(
    ("key", "value", "said"),
    [
        ("total_turns", "[400, 150]", "fit.total_turns"),
        ("stack_factor", "1.2", "core.stack_factor"),
        ("lamination", '"EI 121"', 'found "EI 121"'),
    ],
)
def test_what_is_wrong_in_a_request_with_a_core(key: str, value: str, said: str, tmp_path: Path) -> None:
    file = tmp_path / "asked.toml"
    file.write_text(request_text(**{key: value}), encoding="utf-8")
    with pytest.raises(DesignError, match=r".") as caught:
        load_request(file)
    assert said in str(caught.value)


def test_unknown_cores_are_told(tmp_path: Path) -> None:
    file = tmp_path / "asked.toml"
    text = read_text(REQUESTS / "joinery.toml").replace('"EI 96"', '"EI 97"')
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match="EI 97"):
        load_request(file)


def test_cores_that_are_all_hopeless_are_told_and_no_defect(tmp_path: Path) -> None:
    text = read_text(REQUESTS / "joinery.toml").replace('["EI 96", "EI 120", "EI 150N"]', '["EI 30", "EI 42"]')
    found, made = answers(tmp_path, text)
    assert made == []
    assert found.refused[0].core == "EI 30, EI 42"
    assert "far too small" in found.refused[0].why


@pytest.mark.parametrize("line", ["load_va = 1000", "flux_limit_t = 1.3"])
def test_cores_without_what_they_are_chosen_by_are_refused(line: str, tmp_path: Path) -> None:
    file = tmp_path / "asked.toml"
    text = read_text(REQUESTS / "joinery.toml").replace(line, "").replace("[fit]", "[fit]\ntotal_turns = [300, 500]")
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match="cores without a load or a flux limit"):
        load_request(file)
