"""Each export with an outside consumer: a C compiler, ngspice, sympy as second minimiser, a CSV reader."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest
from sympy import symbols
from sympy.logic import SOPform

from tapplan.cli.main import main
from tapplan.control.equations import equations, minimal
from tapplan.control.lookup import AWAY, decision
from tapplan.control.program import Program, program
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.errors import UsageError
from tapplan.network.states import each_state
from tapplan.pages.firmware import c_header, comment, identifiers, logic, vectors
from tapplan.pages.netlists import spice
from tests.engines.netlists import need_ngspice
from tests.examples import ROOT, SHIPPED

READ_INPUT = [path for path in SHIPPED if load(path).sensing.at == "input"]


def made(path: Path) -> Program:
    return program(control_table(load(path)))


def walk(one: Program, random: Random, count: int) -> list[int]:
    """Readings: small steps, jumps, and the thresholds themselves."""
    marks, top = one.thresholds, one.thresholds[-1] + 100
    found, here = [], marks[0]
    for _ in range(count):
        here = random.choice([random.choice(marks) + random.choice([-1, 0, 1]), random.randint(0, top), here + 7])
        found.append(max(here, 0))
    return found


@pytest.mark.parametrize("path", READ_INPUT, ids=lambda path: path.stem)
def test_the_program_decides_as_the_automaton(path: Path) -> None:
    """On a table whose thresholds are at the program's own counts."""
    from tapplan.control.counts import counted_table
    from tapplan.control.program import _reading

    one, table = made(path), control_table(load(path))
    counted = counted_table(table, _reading(table))
    ours = theirs = AWAY
    for reading in walk(one, Random(path.stem), 3000):
        ours, theirs = one.decided(ours, reading), decision(counted, theirs, (reading / one.per_volt, 0))
        assert ours == theirs, reading


MAIN = """
#include <stdio.h>
#include "table.h"
int main(void) {
  long reading; int band = TAPPLAN_AWAY;
  while (scanf("%ld", &reading) == 1) {
    int then = tapplan_next(band, (int32_t)reading);
    printf("%d %lu %lu\\n", then, (unsigned long)tapplan_coils[then],
           (unsigned long)tapplan_path[band][then][TAPPLAN_STEPS - 1]);
    band = then;
  }
  return 0;
}
"""


def compiled(folder: Path, header: str) -> Path:
    if shutil.which("gcc") is None:
        if os.environ.get("CI") == "true":
            pytest.fail("gcc is not installed, and CI must not go without it")
        pytest.skip("gcc is not installed: apt-get install gcc")
    (folder / "table.h").write_text(header)
    (folder / "main.c").write_text(MAIN)
    subprocess.run(
        ["gcc", "-std=c99", "-pedantic", "-Wall", "-Wextra", "-Werror", "-o", "walk", "main.c"],
        cwd=folder,
        check=True,
    )
    return folder / "walk"


@pytest.mark.parametrize("path", READ_INPUT, ids=lambda path: path.stem)
def test_the_c_table_walks_as_the_program(path: Path, tmp_path: Path) -> None:
    one = made(path)
    readings = walk(one, Random(path.stem), 3000)
    told = "\n".join(map(str, readings))
    done = subprocess.run([compiled(tmp_path, c_header(one))], input=told, capture_output=True, text=True, check=True)
    standing = AWAY
    for reading, line in zip(readings, done.stdout.splitlines(), strict=True):
        standing = one.decided(standing, reading)
        band, coils, last = map(int, line.split())
        assert band == (len(one.holds) if standing == AWAY else standing)
        assert coils == one.coils[standing]
        assert last == coils  # a path ends where it leads


@pytest.mark.parametrize("path", READ_INPUT, ids=lambda path: path.stem)
def test_paths_move_one_relay_at_a_time(path: Path) -> None:
    one = made(path)
    for here, row in zip(one.coils, one.paths, strict=True):
        for there, masks in zip(one.coils, row, strict=True):
            assert (masks[-1] if masks else here) == there
            if len(masks) > 1:
                steps = zip([here, *masks], masks, strict=False)
                assert all((a ^ b).bit_count() == 1 for a, b in steps)


@pytest.mark.parametrize("path", READ_INPUT, ids=lambda path: path.stem)
def test_the_equations_are_the_table(path: Path) -> None:
    """Every case that occurs, and the printed equations read as Python."""
    one = made(path)
    found = equations(one)
    for bits, after in found.rows:
        assert tuple(each.value(bits) for each in found.each) == after
    text = logic(found, one)
    lines = [line for line in text.splitlines() if line.startswith("next_") and " = " in line]
    names = [name.lower() for name in identifiers(found.variables)]
    for line, place in zip(lines, range(len(found.each)), strict=True):
        source = re.sub(r"!(\w+)", r"(1-\1)", line.partition(" = ")[2])
        code = compile(source, "equation", "eval")
        for bits, after in found.rows:
            assert eval(code, dict(zip(names, bits, strict=True))) == after[place]  # noqa: S307


def test_no_more_terms_than_a_second_minimiser() -> None:
    """sympy's sum of products on random functions of six variables, half of the cases free."""
    random, variables = Random("minimal"), symbols("a:f")
    for _ in range(40):
        cases = [tuple(number >> n & 1 for n in range(6)) for number in range(64)]
        kinds = [random.choice([0, 1, 2, 2]) for _ in cases]
        ones, zeros, free = ([c for c, k in zip(cases, kinds, strict=True) if k == kind] for kind in (1, 0, 2))
        ours = minimal(ones, zeros)
        assert all(any(all(case[n] == v for n, v in term) for term in ours) for case in ones)
        assert not any(any(all(case[n] == v for n, v in term) for term in ours) for case in zeros)
        theirs = SOPform(variables, [list(one) for one in ones], [list(one) for one in free])
        count = len(theirs.args) if theirs.func.__name__ == "Or" else 1
        assert len(ours) <= count


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_netlist_in_ngspice(path: Path, tmp_path: Path) -> None:
    """Every state with a ratio: the output over the line is the ratio of the turns."""
    need_ngspice()
    table = control_table(load(path))
    design = replace(table.design, windings=tuple(replace(w, resistance_ohm=None) for w in table.design.windings))
    circuit = replace(
        table.circuit,
        sections=tuple(replace(one, resistance_ohm=None) for one in table.circuit.sections),
        contacts=tuple(replace(one, ohm=0) for one in table.circuit.contacts),
    )
    tried = 0
    for state in each_state(circuit):
        if not state.usable or tried >= 6:
            continue
        tried += 1
        (tmp_path / "deck.cir").write_text(spice(design, circuit, state.energised))
        run = subprocess.run(["ngspice", "-b", "deck.cir"], cwd=tmp_path, capture_output=True, text=True, check=False)
        volts = next(float(line.split()[2]) for line in run.stdout.splitlines() if line.startswith("0\t"))
        assert volts == pytest.approx(float(state.ratio * design.mains.nominal_v), rel=1e-4), state.energised
    assert tried


@pytest.mark.parametrize("path", READ_INPUT, ids=lambda path: path.stem)
def test_vectors_are_the_program(path: Path) -> None:
    one = made(path)
    rows = list(csv.DictReader(io.StringIO(vectors(one))))
    assert len(rows) >= len(one.thresholds) * (len(one.holds) + 1)
    for row in rows:
        standing = one.names.index(row["from"]) if row["from"] != "away" else AWAY
        then = one.decided(standing, int(row["reading"]))
        assert row["to"] == one.names[then]


HOSTILE = '*/ int x; /* <script> ??/ \\ "=1+1" \u202e'


def test_hostile_names_stay_text_in_c(tmp_path: Path) -> None:
    table = control_table(load(READ_INPUT[0]))
    rows = tuple(replace(row, name=f"{HOSTILE} {'x' * 9000} {n}") for n, row in enumerate(table.rows))
    evil = replace(table, design=replace(table.design, title=HOSTILE * 50), rows=rows)
    compiled(tmp_path, c_header(program(evil)))
    assert "*/" not in comment(HOSTILE)
    assert identifiers(("a b", "a-b", "é", "")) == ["A_B", "A_B_2", "X", "X_2"]


@pytest.mark.parametrize("kind", ["c", "logic", "vectors", "spice", "csv", "markdown"])
def test_every_kind_by_name_and_by_ending(kind: str, capsys: Any, tmp_path: Path) -> None:
    design = str(ROOT / "designs" / "ridge-dispensary.toml")
    assert main(["export", design, "--to", kind]) == 0
    plain = capsys.readouterr().out
    assert main(["export", design, "--to", kind, "--json"]) == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["text"] == plain
    assert "kill" in answer["caution"]
    target = tmp_path / "out.txt"
    assert main(["export", design, "--to", kind, "-o", str(target)]) == 0
    assert target.read_text() == plain


@pytest.mark.parametrize(
    "words",
    [[], ["--to", "c", "--energised", "KL"], ["--to", "spice", "--energised", "KX"], ["-o", "x.unknown"]],
)
def test_bad_calls(words: list[str], capsys: Any) -> None:
    assert main(["export", str(ROOT / "designs" / "ridge-dispensary.toml"), *words]) == 2
    assert "accepted" in capsys.readouterr().err


def test_what_cannot_be_exported_says_why() -> None:
    with pytest.raises(UsageError, match="elsewhere than at the input"):
        made(ROOT / "designs" / "spring-pump.toml")
