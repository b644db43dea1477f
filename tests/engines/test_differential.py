"""A seeded part of the differential run against engines; `python -m tests.benchmarks.differential` does thousands.

Each question counts what came out, so that none is asked of shorts alone.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

if os.environ.get("CI") != "true":  # CI must not go without them
    for engine in ("ortools", "z3"):
        pytest.importorskip(engine, reason=f"{engine} is not installed: pip install -e '.[engines]'")

from tests.benchmarks import differential
from tests.engines.control_asked import (
    compare_courses,
    compare_decisions,
    compare_orders,
    compare_steady,
    compare_tables,
)
from tests.engines.copper_asked import compare_copper
from tests.engines.moves_asked import compare_moves
from tests.engines.netlists import need_ngspice
from tests.engines.plans_asked import compare_bounds
from tests.engines.rated_asked import compare_ratings
from tests.engines.tallied import Tally
from tests.examples import ROOT
from tests.outside.copper import copper
from tests.outside.spice import Deck, NoAnswerError, Run, answered

NGSPICE, Z3, CP_SAT = "ngspice", "z3", "CP-SAT"


def agreed(tally: Tally, engine: str, least: dict[str, int]) -> None:
    """No disagreement, and of each of these questions at least so many compared."""
    assert tally.disagreements() == []
    for question, count in least.items():
        assert tally.rows[question, engine].count >= count, question


def test_copper_of_random_wirings(tmp_path: Path) -> None:
    need_ngspice()
    tally = Tally()
    compare_copper(range(60), tmp_path, tally)
    least = {
        "state: kind": 150,
        "state: ratio": 100,
        "mixture: kind": 40,
        "pair of points read": 50,
        "volts across an open contact, mains": 500,
        "meter on a faulty stage, two points fed": 150,
        "current of a winding, under load": 300,
        "current of a contact, under load": 300,
        "volts per turn, with and without load": 150,
        "currents of a bridged contact, 1 V": 100,
        "inlet behind a source impedance": 15,
        "a feed's volts at the output": 30,
        "no backfeed while a feed runs": 30,
        "volts across an open contact, feed and mains": 200,
        "flux density, by ampere-turns": 100,
    }
    least |= {f"output under load, {model}": 20 for model in ("impedance", "current", "power")}
    least |= {f"full-load ratio, {model}": 20 for model in ("impedance", "current", "power")}
    agreed(tally, NGSPICE, least)
    kinds = tally.rows["state: kind", NGSPICE].outcomes
    assert kinds["shorted"] < kinds.total() / 3
    assert {"boost", "buck", "direct", "bypass", "reversed", "floating", "undetermined"} <= kinds.keys()
    faults = {question.split(":")[0] for question, _ in tally.rows if question.startswith("fault ")}
    assert len(faults) == 11
    assert tally.rows["volts per turn, with and without load", NGSPICE].outcomes["idle core"] > 0


def test_ratings_of_random_designs(tmp_path: Path) -> None:
    need_ngspice()
    tally = Tally()
    compare_ratings(range(12), tmp_path, tally)
    least = {
        "worst current of a winding, nine inputs a band": 30,
        "worst current of a contact, nine inputs a band": 40,
        "copper loss of a band": 30,
        "volts of a winding, least and most of a band": 60,
        "output at the load permitted by the window": 10,
    }
    agreed(tally, NGSPICE, least)


def test_random_moves_in_time(tmp_path: Path) -> None:
    need_ngspice()
    tally = Tally()
    compare_moves(range(8), tmp_path, tally)
    agreed(tally, NGSPICE, {"a move in time, plateau by plateau": 15})


def test_promises_of_random_tables() -> None:
    tally = Tally()
    compare_tables(range(30), tally)
    compare_courses(range(12), tally)
    asked = {"dead-zone": 25, "out-of-window": 100, "chatter": 50, "stranded": 30, "courses into a band": 15}
    agreed(tally, Z3, asked)
    for code in ("dead-zone", "out-of-window", "chatter", "stranded", "backup-cycling"):
        answers = tally.rows[code, Z3].outcomes
        assert min(answers["yes"], answers["no"]) > 0, code


def test_no_reading_is_decided_otherwise() -> None:
    tally = Tally()
    compare_decisions(range(25), tally)
    agreed(tally, Z3, {"a reading decided otherwise": 80})


def test_rounds_behind_a_source_impedance() -> None:
    tally = Tally()
    compare_steady(range(40, 44), tally)
    agreed(tally, Z3, {"a round at a steady source, quiet": 5, "a round at a steady source, noisy": 5})


def test_safest_orders_of_random_moves() -> None:
    tally = Tally()
    compare_orders(range(40), tally)
    agreed(tally, CP_SAT, {"safest order of relays": 20})
    met = tally.rows["safest order of relays", CP_SAT].outcomes
    assert len({outcome.split(", ")[1] for outcome in met}) >= 3


def test_fewest_ratios_of_random_requests() -> None:
    tally = Tally()
    compare_bounds(range(60), tally)
    agreed(tally, Z3, {"fewest ratios of any plan": 100})


def test_a_stage_on_which_the_engine_gives_up_is_counted_and_the_others_are_asked(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def ask(seeds: range, _: Path, tally: Tally) -> None:
        if 5 in seeds:
            raise NoAnswerError("singular")
        for seed in seeds:
            tally.of("seeds", NGSPICE).same(seed, seed, "a seed")

    monkeypatch.setattr(differential, "PARTS", (differential.Part("stages", 1, ask, decks=True),))
    tally = differential.asked("stages", range(3, 8))
    assert tally.rows["seeds", NGSPICE].outcomes == {"3": 1, "4": 1, "6": 1, "7": 1}
    (told,) = tally.rows["stages: no answer", NGSPICE].outcomes
    assert told == "singular to the engine, seed 5"


def test_decks_without_all_their_answers_are_refused(tmp_path: Path) -> None:
    silent = tmp_path / "silent"
    silent.write_text("#!/bin/sh\nexit 0\n", encoding="utf-8")
    silent.chmod(0o755)
    stage = copper((ROOT / "designs" / "ridge-dispensary.toml").read_text(encoding="utf-8"))
    with pytest.raises(NoAnswerError, match="0 of 1 answers"):
        answered([Deck(stage, frozenset(), (Run(mains=1.0),))], tmp_path, str(silent))
