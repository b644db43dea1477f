"""The module of Verilog, read and synthesised by yosys; its gates held against the literal judge, and by z3."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import z3

from tapplan.control.equations import equations
from tapplan.pages.cnames import comment
from tapplan.pages.verilog import verilog
from tests.engines.judging import standings
from tests.engines.test_exports import HOSTILE, SHORT, Case, case_of, ladder
from tests.outside.stage import AWAY

# Every warning is an error; what is left are inverters, two-input ANDs and flip-flops with their reset.
SYNTHESIS = (
    "read_verilog stage.v; hierarchy -check -auto-top; proc; check -assert; synth -flatten; dffunmap -ce-only; "
    "abc -g AND; opt_clean -purge; check -assert; write_json stage.json"
)
RESET_TO = {"$_DFF_PP0_": 0, "$_DFF_PP1_": 1}

Net = int | str  # a number, or a bit that never changes
Value = Any  # what bits are: whole numbers with a case in each place, or terms of z3


@dataclass(frozen=True)
class Cell:
    """A cell that synthesis made: what it is, and the nets at its pins."""

    kind: str
    nets: Mapping[str, Net]


@dataclass(frozen=True)
class Synthesised:
    """A module as gates."""

    name: str
    inputs: Mapping[str, Net]
    outputs: Mapping[str, Net]
    cells: tuple[Cell, ...]

    @property
    def reset_to(self) -> dict[str, int]:
        """The outputs while reset is 1."""
        return {
            name: int(net) if isinstance(net, str) else RESET_TO[self._register(net).kind]
            for name, net in self.outputs.items()
        }

    def _register(self, net: Net) -> Cell:
        (found,) = (one for one in self.cells if one.nets.get("Q") == net)
        assert (found.nets["C"], found.nets["R"]) == (self.inputs["clock"], self.inputs["reset"])
        return found

    def anything(self) -> dict[str, Value]:
        """Free bits for z3; outputs that synthesis found to be always alike are one bit, or none."""
        return {
            name: z3.BitVecVal(int(net), 1) if isinstance(net, str) else z3.BitVec(f"net {net}", 1)
            for name, net in (self.inputs | self.outputs).items()
        }

    def after(self, given: Mapping[str, Value], every: Value) -> dict[str, Value]:
        """What a rising clock makes of the outputs; `given` are inputs and present outputs, `every` all bits 1."""
        known: dict[Net, Value] = {"1": every, "0": every ^ every}
        known |= {net: given[name] for name, net in (self.inputs | self.outputs).items() if name in given}
        makers = {one.nets["Y"]: one for one in self.cells if "Y" in one.nets}

        def value(net: Net) -> Value:
            if net not in known:
                maker = makers[net]
                first = value(maker.nets["A"])
                known[net] = every ^ first if maker.kind == "$_NOT_" else first & value(maker.nets["B"])
            return known[net]

        return {
            name: value(net if isinstance(net, str) else self._register(net).nets["D"])
            for name, net in self.outputs.items()
        }


def synthesised(text: str, folder: Path) -> Synthesised:
    """What yosys makes of a text with one module."""
    if shutil.which("yosys") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("yosys is not installed, and CI must not go without it")
        pytest.skip("yosys is not installed: apt-get install yosys")
    (folder / "stage.v").write_text(text)
    done = subprocess.run(
        ["yosys", "-q", "-e", ".", "-p", SYNTHESIS], cwd=folder, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
    ((name, made),) = json.loads((folder / "stage.json").read_text())["modules"].items()
    ports = {one: (port["direction"], *port["bits"]) for one, port in made["ports"].items()}
    cells = [
        Cell(one["type"], {pin: net for pin, (net,) in one["connections"].items()}) for one in made["cells"].values()
    ]
    assert {one.kind for one in cells} <= {"$_NOT_", "$_AND_", *RESET_TO}
    return Synthesised(
        name,
        {one: net for one, (way, net) in ports.items() if way == "input"},
        {one: net for one, (way, net) in ports.items() if way == "output"},
        tuple(cells),
    )


@dataclass(frozen=True)
class Sample:
    """A design's module: its text, what it says of its ports, and its gates."""

    case: Case
    text: str
    gates: Synthesised

    @property
    def comparators(self) -> dict[str, int]:
        """The least reading that sets each, as the text says."""
        unit = "counts" if self.case.program.counted else "mV"
        found = re.findall(rf"^  input wire (\w+), // 1: reading at least (\d+) {unit}$", self.text, re.MULTILINE)
        return {name: int(least) for name, least in found}

    @property
    def coils(self) -> dict[str, str]:
        """The port of each relay, as the text says, in the order of the file."""
        found = re.findall(r"^  output reg (coil_\w+), // (.*)$", self.text, re.MULTILINE)
        relays = [relay.name for relay in self.case.design.relays]
        assert [told for _, told in found] == [comment(relay) for relay in relays]
        return {name: relay for (name, _), relay in zip(found, relays, strict=True)}

    def state(self, row: str) -> dict[str, int]:
        """The outputs in a row, or away."""
        driven = self.case.energised[row]
        return {coil: int(relay in driven) for coil, relay in self.coils.items()} | {AWAY: int(row == AWAY)}


def sample(case: Case, folder: Path) -> Sample:
    text = verilog(equations(case.program), case.program)
    return Sample(case, text, synthesised(text, folder))


MADE: dict[str, Sample] = {}


@pytest.fixture
def made(case: Case, tmp_path: Path) -> Sample:
    if case.name not in MADE:
        MADE[case.name] = sample(case, tmp_path)
    return MADE[case.name]


EACH = pytest.mark.parametrize("case", SHORT, ids=lambda case: case.name)


def together(cases: Sequence[Mapping[str, int]]) -> dict[str, int]:
    """Cases side by side: the n-th in bit n."""
    return {name: sum(one[name] << place for place, one in enumerate(cases)) for name in cases[0]}


def follows_the_judge(made: Sample) -> None:
    """Every row and being away, with every reading at and beside a threshold of the text or a mark of the judge."""
    case, least = made.case, made.comparators
    readings = sorted({*case.readings, *(max(one + step, 0) for one in least.values() for step in (-1, 0, 1))})
    asked = [(row, reading) for row in standings(case.judge) for reading in readings]
    given = [made.state(row) | {name: int(reading >= one) for name, one in least.items()} for row, reading in asked]
    every = (1 << len(asked)) - 1
    after = made.gates.after(together(given) | {"decide": every}, every)
    wanted = together([made.state(case.decided(row, reading)) for row, reading in asked])
    wrong = {name: bits ^ wanted[name] for name, bits in after.items() if bits != wanted[name]}
    first = next((asked[(bits & -bits).bit_length() - 1] for bits in wrong.values()), None)
    assert not wrong, f"{sorted(wrong)} after {first}"


@EACH
def test_each_decision_is_that_of_the_rule(made: Sample) -> None:
    assert set(made.gates.inputs) == {"clock", "reset", "decide", *made.comparators}
    assert set(made.gates.outputs) == {*made.coils, AWAY}
    follows_the_judge(made)


@EACH
def test_reset_leads_away_and_nothing_moves_undecided(made: Sample) -> None:
    assert made.gates.reset_to == made.state(AWAY)
    bits = made.gates.anything()
    kept = made.gates.after(bits | {"decide": z3.BitVecVal(0, 1)}, z3.BitVecVal(1, 1))
    assert proven(z3.And(*(kept[name] == bits[name] for name in made.gates.outputs)))


@EACH
def test_whatever_comes_in_no_other_coils_are_driven(made: Sample) -> None:
    """From every state of the bits and with every comparator right or wrong, a decision ends in a row or away."""
    assert proven(in_the_table(made))


def in_the_table(made: Sample) -> z3.BoolRef:
    """That a decision ends in a row or away."""
    after = made.gates.after(made.gates.anything() | {"decide": z3.BitVecVal(1, 1)}, z3.BitVecVal(1, 1))
    states = [made.state(row) for row in standings(made.case.judge)]
    return z3.Or(*(z3.And(*(after[name] == bit for name, bit in state.items())) for state in states))


def proven(claim: z3.BoolRef) -> bool:
    solver = z3.Solver()
    solver.add(z3.Not(claim))
    return solver.check() == z3.unsat


@pytest.mark.parametrize("name", ["spring-pump", "shepherds-hut", "river-kiosk"])
def test_the_equations_alone_would_drive_others(name: str, tmp_path: Path) -> None:
    """What the guard is for: with it taken out, a wrong comparator or an upset leads out of the table."""
    case = case_of(name)
    text = verilog(equations(case.program), case.program).replace("known =", "known = 1'b1; wire table_has =")
    assert not proven(in_the_table(Sample(case, text, synthesised(text, tmp_path))))


@pytest.mark.parametrize(
    ("named", "at"),
    [
        (("K 1", "K_1", "k-1", "K 1_2"), "input"),
        (("next", "and", "away", "cmp_1"), "input"),
        (("module", "always", "reset", "clock", "decide", "known", "after", "next_away", "coil_a"), "output"),
        (("é", "继电器", "реле", "1", "-"), "output"),
        (("*/ wire x; /*", "\\", "`include", '"', "// translate_off"), "output"),
    ],
)
def test_relays_whose_names_could_collide(named: tuple[str, ...], at: str, tmp_path: Path) -> None:
    made = sample(ladder(named, at=at), tmp_path)
    names = [*made.gates.inputs, *made.gates.outputs]
    assert len({name.lower() for name in names}) == len(names) == len(named) + len(made.comparators) + 4
    follows_the_judge(made)


@pytest.mark.parametrize("title", [HOSTILE, "synopsys translate_off", "endmodule", "é", "`define wire"])
def test_titles_stay_text(title: str, tmp_path: Path) -> None:
    case = case_of("spring-pump")
    design = replace(case.design, title=title)
    made = sample(Case(title, replace(case.table, design=design)), tmp_path)
    assert re.fullmatch(r"tapplan_[a-z0-9_]+", made.gates.name)
    follows_the_judge(made)


@cache
def _spring_pump() -> str:
    case = case_of("spring-pump")
    return verilog(equations(case.program), case.program)


@pytest.mark.parametrize(
    ("change", "to"),
    [
        (r"cmp_1 & !cmp_4 & away", "cmp_1 & away"),  # a literal less
        (r" \| cmp_6 & !coil_k", ""),  # a product less
        (r"mV\b", "counts"),  # another unit
        (r"coil_k <= known", "coil_k <= ~known"),  # the guard upside down
    ],
)
def test_a_module_that_is_off_is_seen(change: str, to: str, tmp_path: Path) -> None:
    text = re.sub(change, to, _spring_pump())
    assert text != _spring_pump()
    made = Sample(case_of("spring-pump"), text, synthesised(text, tmp_path))
    with pytest.raises((AssertionError, KeyError)):
        follows_the_judge(made)
