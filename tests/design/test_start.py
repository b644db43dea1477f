"""What reading a good design loads, and what it does not."""

import json
import subprocess
import sys

import pytest

from tests.examples import ROOT

HEAVY = [
    "pydantic",
    "pydantic_core",
    "importlib.metadata",
    "numpy",
    "sympy",
    "networkx",
    "rich",
    "tomlkit",
    "difflib",
]


def loaded_by(code: str) -> list[str]:
    """The modules that a fresh process has after some code."""
    program = f"import sys, json\n{code}\nprint(json.dumps(sorted(sys.modules)))"
    made = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=True)
    return list(json.loads(made.stdout))


@pytest.mark.parametrize(
    "code",
    [
        "from tapplan.design.file import load; load('designs/ridge-dispensary.toml')",
        "from tapplan.design.file import load_request; load_request('designs/requests/plain-workshop.toml')",
        "from tapplan.version import __version__",
    ],
    ids=["design", "request", "version"],
)
def test_a_good_file_is_read_without_what_only_bad_ones_need(code: str) -> None:
    modules = loaded_by(code)
    assert not [name for name in HEAVY if name in modules]
    assert "tapplan.design.explained" not in modules
    assert "tapplan.design.places" not in modules
    assert "tapplan.design.materials" not in modules


def test_a_bad_file_loads_what_explains_it() -> None:
    code = "from tapplan.design.file import parse\ntry: parse('format = 2')\nexcept Exception: pass"
    assert "pydantic" in loaded_by(code)
