"""The data of the live part of a page, by hand from one relay on two bands: decisions, faults, parts, states."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest

from tapplan.checks.broken import known_faults
from tapplan.checks.review import Review, review
from tapplan.design.file import load
from tapplan.pages.live import live
from tests.examples import ROOT, SHIPPED
from tests.pages.firmware.stages import stage

F = Fraction


@cache
def reviewed(name: str) -> Review:
    made = {
        "plain": stage(),
        "backup": stage(backup=True),
        "output": stage(at="output"),
        "points": stage(at=("LINE", "N")),
    }
    return review(made.get(name) or load(ROOT / "designs" / f"{name}.toml"))


@cache
def told(name: str = "plain") -> Any:
    return live(reviewed(name))


def test_standings_have_their_names_their_coils_and_their_states() -> None:
    plain, backup = told(), told("backup")
    assert plain["names"] == ["boost", "straight", "outside all bands"]
    assert backup["names"] == ["boost", "straight", "away: on the backup"]
    assert (plain["on_backup"], backup["on_backup"]) == (False, True)
    assert (plain["coils"], backup["coils"]) == ([[0], [], []], [[0], [], [0]])
    assert plain["per_volt"] == 10
    assert plain["stands"] == [0, 1, 1]
    assert backup["stands"] == [0, 1, 0]


def test_decisions_are_in_tenths_of_a_volt_of_the_inlet() -> None:
    """Just above 230 V the first tenth is 2301; boost is kept from 180 to 230 V, straight from 220 to 270 V."""
    assert told()["decides"] == [
        {"read": 1.0, "firsts": [1800, 2301, 2701], "answers": [2, 0, 1, 2]},
        {"read": 1.0, "firsts": [1800, 2200, 2701], "answers": [2, 0, 1, 2]},
        {"read": 1.0, "firsts": [1800, 2200, 2701], "answers": [2, 0, 1, 2]},
    ]
    boost, straight, _ = told("output")["decides"]
    assert (boost["read"], straight["read"]) == (1.1, 1.0)
    # Boost, kept from 180 to 230 V at the output, is kept to 230/1.1 = 209.09 V of the line, and from 163.64 V on.
    assert boost["firsts"][:2] == [1637, 2091]


def test_parts_are_those_of_the_circuit() -> None:
    data = told()
    assert (data["relays"], data["sections"]) == (["K"], ["base", "more"])
    assert set(data["points"]) == {"LINE", "N", "OUT", "A"}
    assert data["contacts"] == [
        {"label": "K.nc", "relay": 0, "throw": "nc", "pole": 0, "makes_first": False},
        {"label": "K.no", "relay": 0, "throw": "no", "pole": 0, "makes_first": False},
    ]
    assert data["window"] == [207.0, 253.0]
    assert data["at"] == 2300
    assert 0 <= data["from"] < 1800
    assert data["to"] > 2700


@pytest.mark.parametrize(
    ("name", "told_as"), [("plain", "at the input"), ("output", "at the output"), ("points", "between LINE and N")]
)
def test_where_is_read_is_said(name: str, told_as: str) -> None:
    assert told(name)["senses"] == told_as


def fault(name: str, of: str = "plain") -> Any:
    (found,) = (one for one in told(of)["faults"] if one["name"] == name)
    return found


@pytest.mark.parametrize(
    ("name", "lost"),
    [
        ("K: nc-open", ["contact-0"]),
        ("K: no-open", ["contact-1"]),
        ("K: com-open", ["contact-0", "contact-1"]),
        ("K: stuck-rest", ["coil-0"]),
        ("K: stuck-driven", ["coil-0"]),
        ("K: bridged", ["pole-0"]),
        ("base: open", ["section-0"]),
        ("more: open", ["section-1"]),
        ("reading: lost", []),
        ("reading: frozen", []),
    ],
)
def test_a_fault_takes_away_the_parts_it_is_about(name: str, lost: list[str]) -> None:
    assert fault(name)["lost"] == lost
    assert fault(name)["freezes"] is name.endswith("frozen")


def test_a_lead_takes_its_net_away() -> None:
    points = told()["points"]
    leads = [one for one in told()["faults"] if one["name"].endswith(": lead-open")]
    assert leads
    assert all(one["lost"] == [f"net-{points.index(one['name'].split(':')[0])}"] for one in leads)


def test_a_fault_decides_otherwise_only_where_it_changes_what_is_read() -> None:
    """A reading that is lost is nought whatever the line does; an input read is not changed by a stuck relay."""
    assert "decides" not in fault("K: stuck-rest")
    assert fault("reading: lost")["decides"] == [{"read": 0, "firsts": [], "answers": [2]}] * 3
    stuck = fault("K: stuck-rest", "output")["decides"]
    assert [one["read"] for one in stuck] == [1.0, 1.0, 1.0]
    open_common = fault("K: com-open", "output")["decides"]
    assert [(one["read"], one["firsts"], one["answers"]) for one in open_common] == [
        (None, [], [number]) for number in range(3)
    ]


def test_every_fault_is_there_in_the_order_in_which_they_are_known() -> None:
    for name in ("plain", "spring-pump"):
        names = [f"{one.part}: {one.fault}" for one in known_faults(reviewed(name))]
        assert [one["name"] for one in told(name)["faults"]] == names
        assert all(len(one["stands"]) == len(told(name)["names"]) for one in told(name)["faults"])


def test_of_several_poles_all_are_lost_with_their_relay_and_one_alone_with_its_own_fault() -> None:
    made = stage()
    pole = made.relays[0].all_poles[0]
    double = replace(made.relays[0], com=None, nc=None, no=None, poles=(pole, replace(pole, com="X")))
    data: Any = live(review(replace(made, relays=(double,))))
    lost = {one["name"]: one["lost"] for one in data["faults"]}
    assert lost["K: stuck-rest"] == ["coil-0"]
    single = {name: parts for name, parts in lost.items() if "nc-open" in name}
    assert sorted(parts for found in single.values() for parts in found) == ["contact-0", "contact-2"]
    assert all(len(parts) == 1 for parts in single.values())
    assert [one["pole"] for one in data["contacts"]] == [0, 0, 1, 1]


# --- states ---


def test_states_tell_ratio_way_and_windings_by_their_numbers() -> None:
    """Driven: from the line over A and the NO contact to the output, through the second winding; straight through."""
    boost, straight = told()["states"][:2]
    points = told()["points"]
    line, a, out = (points.index(one) for one in ("LINE", "A", "OUT"))
    assert boost == {"kind": "boost", "closed": [1], "ratio": 1.1, "way": [line, a, -2, out], "crossed": [1],
                     "fed": [0, 1]}  # fmt: skip
    assert straight["kind"] == "direct"
    assert (straight["closed"], straight["ratio"]) == ([0], 1.0)
    assert (straight["way"], straight["crossed"], straight["fed"]) == ([line, -1, out], [], [0, 1])


def test_states_that_look_alike_have_one_number_and_each_number_is_told() -> None:
    for name in ("plain", "backup", "spring-pump"):
        data = told(name)
        used = {*data["stands"], *(one for each in data["faults"] for one in each["stands"])}
        assert used == set(range(len(data["states"])))
        assert len({repr(one) for one in data["states"]}) == len(data["states"])


def test_a_state_without_a_ratio_says_why_and_a_short_shows_its_loop() -> None:
    bridged = told()["states"][fault("K: bridged")["stands"][0]]
    assert bridged["kind"] == "shorted"
    assert bridged["closed"] == [0, 1]
    assert set(bridged["loop"]) == {"contact-0", "contact-1", "section-1"}
    assert bridged["why"]
    floating = told()["states"][fault("K: com-open")["stands"][0]]
    assert floating["kind"] == "floating"
    assert "loop" not in floating
    assert floating["why"]
    assert not {"ratio", "way", "crossed", "fed"} & set(floating)


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_ways_of_shipped_designs_begin_at_the_line_and_end_at_the_output(file: Any) -> None:
    data = told(file.stem)
    circuit = reviewed(file.stem).circuit
    healthy = [data["states"][number] for number in data["stands"]]
    ways = [one["way"] for one in healthy if one.get("way")]
    assert len(ways) >= 2
    for way in ways:
        assert (way[0], way[-1]) == (circuit.line, circuit.output)
        assert all(isinstance(one, int) for one in way)


def test_the_slider_begins_at_nothing_where_a_band_is_held_from_there_and_no_lower() -> None:
    made = stage()
    low = replace(made.bands[0], hold_v=(F(0), F(230)))
    data: Any = live(review(replace(made, bands=(low, *made.bands[1:]))))
    assert data["from"] == 0
    # Around 0 to 270 V a twentieth of that is left: 13.5 V.
    assert data["to"] == 2835


@pytest.mark.parametrize(("from_v", "answers"), [(F(0), [0]), (F(1, 2), [2])])
def test_a_reading_that_is_lost_is_nought_and_not_merely_low(from_v: Fraction, answers: list[int]) -> None:
    """A band held from nothing is taken on it; one held from half a volt is left."""
    made = stage()
    low = replace(made.bands[0], hold_v=(from_v, F(230)))
    data: Any = live(review(replace(made, bands=(low, *made.bands[1:]))))
    (lost,) = (one for one in data["faults"] if one["name"] == "reading: lost")
    assert lost["decides"] == [{"read": 0, "firsts": [], "answers": answers}] * 3
