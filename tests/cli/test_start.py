"""What a quick verb loads: nothing that it does not need."""

from __future__ import annotations

import subprocess
import sys

import pytest

from tests.examples import ROOT

RIDGE = "designs/ridge-dispensary.toml"
HEAVY = {"pydantic", "pydantic_core", "numpy", "sympy", "networkx", "tomlkit", "importlib.metadata", "drawsvg"}
ROOMS_NOT_OF_AT = {"checks", "rating", "study", "bench", "pictures", "guide"}


def loaded(*call: str) -> set[str]:
    """The modules that a call loads."""
    code = (
        "import sys; from tapplan.cli.main import main; sys.stdout = sys.stderr; "
        f"code = main({list(call)!r}); sys.stdout = sys.__stdout__; print('\\n'.join(sys.modules)); sys.exit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    return set(done.stdout.split())


@pytest.mark.parametrize("call", [("at", RIDGE, "190"), ("table", RIDGE)])
def test_a_quick_verb_loads_no_library_that_it_does_not_need(call: tuple[str, ...]) -> None:
    assert loaded(*call) & HEAVY == set()


def test_for_scripts_nothing_for_screens_is_loaded() -> None:
    assert {name for name in loaded("at", RIDGE, "190", "--json") if name.split(".")[0] == "rich"} == set()


def test_at_loads_only_the_rooms_below_its_answer() -> None:
    rooms = {name.split(".")[1] for name in loaded("at", RIDGE, "190") if name.startswith("tapplan.")}
    assert rooms & ROOMS_NOT_OF_AT == set()
    assert {"answers", "control", "network", "design"} <= rooms


def test_the_table_loads_no_kind_of_witness_that_it_cannot_have() -> None:
    found = loaded("table", RIDGE)
    assert {name for name in found if name.startswith("tapplan.checks.witnesses.")} == {
        "tapplan.checks.witnesses.table"
    }
    assert {name for name in found if name.startswith("tapplan.checks.sentences")} == set()
    assert "tapplan.control.automaton" not in found
    verbs = {name for name in found if name.startswith("tapplan.cli.verbs.")}
    assert verbs == {"tapplan.cli.verbs.table"}
