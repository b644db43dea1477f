"""Equations, gates and Verilog of a table, read back and asked for every decision of its program."""

from __future__ import annotations

import re
from collections.abc import Callable
from functools import cache

import pytest

from tapplan.control.equations import equations
from tapplan.control.program import Program
from tapplan.pages.gates import logic, written
from tapplan.pages.verilog import verilog
from tests.pages.firmware.stages import program_of, stage
from tests.pages.firmware.test_packed import DESIGNS

EACH = pytest.mark.parametrize("name", DESIGNS)
Bits = dict[str, int]


@cache
def program(name: str) -> Program:
    return program_of(DESIGNS[name])


@cache
def text(name: str) -> str:
    return logic(equations(program(name)), program(name))


def comparators(told: str) -> dict[str, int]:
    """Each comparator and the reading from which on it is 1."""
    return {name: int(reading) for name, reading in re.findall(r"^#   (cmp_\w+): (\d+) (?:mV|counts)$", told, re.M)}


def coils(told: str) -> list[str]:
    return re.findall(r"^#   (coil_\w+): ", told, re.M)


def decided(one: Program, told: str, follow: Callable[[Bits], Bits]) -> int:
    """Asks every band at every threshold; the states are the coils and being away. How many were asked."""
    names, marks, asked = coils(told), comparators(told), 0
    for band, standing in enumerate(one.standings):
        for reading in sorted({each for mark in one.thresholds for each in (mark - 1, mark)}):
            state = {name: one.coils[band] >> bit & 1 for bit, name in enumerate(names)}
            given = state | {"away": int(band == len(one.nodes) - 1)}
            given |= {name: int(reading >= mark) for name, mark in marks.items()}
            then = one.number(one.decided(standing, reading))
            wanted = {name: one.coils[then] >> bit & 1 for bit, name in enumerate(names)}
            assert follow(given) == wanted | {"away": int(then == len(one.nodes) - 1)}
            asked += 1
    return asked


@EACH
def test_the_equations_follow_every_decision(name: str) -> None:
    one, told = program(name), text(name)
    rules = dict(re.findall(r"^next_(\w+) = (.*)$", told, re.M))
    assert sorted(comparators(told).values()) == one.thresholds

    def follow(given: Bits) -> Bits:
        return {
            state: int(any(all(given[each.lstrip("!")] != each.startswith("!") for each in term.split(" & "))
                           if term not in ("0", "1") else term == "1" for term in rule.split(" | ")))
            for state, rule in rules.items()
        }  # fmt: skip

    assert decided(one, told, follow) >= 6


@EACH
def test_the_gates_follow_every_decision(name: str) -> None:
    one, told = program(name), text(name)
    lines = [line.split() for line in told.partition("# gates: name, kind, inputs\n")[2].splitlines()]

    def follow(given: Bits) -> Bits:
        known = dict(given)
        for gate, kind, *inputs in lines:
            values = [known[each.lstrip("!")] ^ each.startswith("!") for each in inputs if kind != "const"]
            known[gate] = int(inputs[0]) if kind == "const" else int(all(values) if kind == "and" else any(values))
        return {state.removeprefix("next_"): known[state] for state in known if state.startswith("next_")}

    assert {kind for _, kind, *_ in lines} <= {"and", "or", "const"}
    assert decided(one, told, follow) >= 6


def test_names_begin_with_words_of_their_own_and_relays_are_told() -> None:
    told = text("ordered")
    assert "#   coil_kl: KL" in told
    assert "#   coil_ko: KO" in told
    found = equations(program("ordered"))
    assert set(written(found).values()) == {*comparators(told), "coil_kl", "coil_ko", "away"}
    assert told.startswith("# Ridge dispensary, 230 V, 500 VA, feeder shared with a saw mill\n# design ")
    assert " mV\n" in told
    assert " counts\n" in text("counted")
    assert " mV\n" not in text("counted")


def test_a_coil_that_never_changes_is_a_constant() -> None:
    """Both bands of a stage drive it, and the backup too; then a relay that none drives."""
    from dataclasses import replace

    made = stage(backup=True)
    assert made.backup is not None
    spare = replace(made.relays[0], name="S", poles=(replace(made.relays[0].all_poles[0], com="X"),))
    bands = tuple(replace(band, energised=(*band.energised, "S")) for band in made.bands)
    always = replace(made, relays=(*made.relays, spare), bands=bands,
                     backup=replace(made.backup, energised=("K", "S")))  # fmt: skip
    one = program_of(always)
    told = logic(equations(one), one)
    assert "next_coil_s = 1\n" in told
    assert "next_coil_s  const  1\n" in told
    never = replace(made, relays=(*made.relays, spare))
    two = program_of(never)
    told = logic(equations(two), two)
    assert "next_coil_s = 0\n" in told
    assert "next_coil_s  const  0\n" in told


# --- Verilog ---


@EACH
def test_the_module_has_a_port_for_each_comparator_and_coil(name: str) -> None:
    one = program(name)
    told = verilog(equations(one), one)
    inputs = dict(re.findall(r"^  input wire (cmp_\w+), // 1: reading at least (\d+) ", told, re.M))
    assert {each: int(reading) for each, reading in inputs.items()} == comparators(text(name))
    assert re.findall(r"^  output reg (coil_\w+), // (\S+)$", told, re.M) == list(
        zip(coils(text(name)), one.table.circuit.relays, strict=True)
    )
    unit = "counts" if name == "counted" else "mV"
    assert told.count(f" {unit}\n") == len(inputs)
    assert re.findall(r"^  wire next_(\w+) = (.*);$", told, re.M) == re.findall(
        r"^next_(\w+) = (.*)$", text(name), re.M
    )
    assert re.search(r"^module tapplan_\w+ \($", told, re.M)
    assert told.endswith("endmodule\n")


@EACH
def test_reset_leads_away_and_so_does_a_state_that_the_table_has_not(name: str) -> None:
    """At reset, and after a state that is none of the table, the coils of being away; else those of the equations."""
    one = program(name)
    told = verilog(equations(one), one)
    away = {each: one.coils[-1] >> bit & 1 for bit, each in enumerate(coils(text(name)))} | {"away": 1}
    reset, _, decide = told.partition("    if (reset) begin\n")[2].partition("    end else if (decide) begin\n")
    assert {each: int(bit) for each, bit in re.findall(r"(\w+) <= 1'b([01]);", reset)} == away
    rules = dict(re.findall(r"^      (\w+) <= (.*);$", decide, re.M))
    assert set(rules) == set(away)
    for each, rule in rules.items():
        for known, then in ((0, 0), (0, 1), (1, 0), (1, 1)):
            plain = {"~known": 1 - known, "known": known, f"next_{each}": then}
            one_or_both = [plain[word] for word in rule.replace("|", "&").split(" & ")]
            found = max(one_or_both) if "|" in rule else min(one_or_both)
            assert found == (then if known else away[each])


@EACH
def test_the_states_known_are_those_of_the_bands_and_of_being_away(name: str) -> None:
    one = program(name)
    told = verilog(equations(one), one)
    size = len(coils(text(name))) + 1
    ((high, order),) = re.findall(r"^  wire \[(\d+):0\] after = \{(.*)\};$", told, re.M)
    assert int(high) == size - 1
    assert order.split(", ") == [*(f"next_{each}" for each in coils(text(name))), "next_away"]
    found = re.findall(rf"after == {size}'b([01]+)", told)
    wanted = {
        "".join(str(mask >> bit & 1) for bit in range(size - 1)) + str(int(place == len(one.coils) - 1))
        for place, mask in enumerate(one.coils)
    }
    assert set(found) == wanted
    assert len(found) == len(wanted)
