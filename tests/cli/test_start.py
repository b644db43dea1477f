"""What a verb loads: nothing that it does not need."""

from __future__ import annotations

import subprocess
import sys
from functools import cache

import pytest

from tapplan.cli.verbs import VERBS
from tests.examples import ROOT

RIDGE = "designs/ridge-dispensary.toml"
# Libraries that take long to load, ours and Python's own, by what they are for.
SCREENS = {"rich"}
SCRIPTS = {"json"}
CHECKED = {"pydantic", "pydantic_core", "importlib.metadata"}  # the last is pydantic's
ARRAYS = {"numpy"}
PICTURES = {"drawsvg", "networkx", "html", "importlib.metadata", "urllib.request", "ssl"}  # drawsvg's are the last
DOCUMENTS = {"csv", "html"}
OPTIMISER = {"highspy", "concurrent.futures"}
MANY_LOGS = {"multiprocessing", "concurrent.futures", "csv"}
HEAVY = {
    *(SCREENS | SCRIPTS | CHECKED | ARRAYS | PICTURES | DOCUMENTS | OPTIMISER | MANY_LOGS),
    *("sympy", "tomlkit", "numba", "pyarrow", "fsspec", "distributed", "dask", "tornado", "watchfiles", "shtab"),
    *("resvg_py", "pandas", "polars", "asyncio", "hypothesis"),
}
# A call of each verb, and what of all that it may load.
NEEDED: dict[str, tuple[tuple[str, ...], set[str]]] = {
    "new": (("new",), set()),
    "states": (("states", RIDGE), set()),
    "bands": (("bands", RIDGE), ARRAYS),
    "table": (("table", RIDGE), set()),
    "check": (("check", RIDGE), ARRAYS | SCRIPTS),
    "at": (("at", RIDGE, "190"), set()),
    "faults": (("faults", RIDGE), set()),
    "isolate": (("isolate", RIDGE, "--reading", "line 200 V rising: output = 226"), ARRAYS | DOCUMENTS),
    "bench": (("bench", RIDGE), ARRAYS | DOCUMENTS),
    "fit": (("fit", "designs/requests/coast-road.toml"), ARRAYS | OPTIMISER | SCRIPTS | DOCUMENTS),
    "rate": (("rate", RIDGE), ARRAYS),
    "margins": (("margins", RIDGE), ARRAYS),
    "steps": (("steps", RIDGE), ARRAYS),
    "moves": (("moves", RIDGE), ARRAYS),
    "trace": (("trace", "quiet", "--days", "0.01", "--step", "60"), ARRAYS),
    "replay": (("replay", RIDGE, "designs/logs/household-2007-01.csv.gz"), ARRAYS | MANY_LOGS | SCRIPTS),
    "compare": (("compare", RIDGE, RIDGE), ARRAYS),
    "report": (("report", RIDGE), ARRAYS | PICTURES | DOCUMENTS | SCRIPTS),
    "export": (("export", RIDGE, "--to", "c"), ARRAYS | DOCUMENTS | SCRIPTS),
    "standards": (("standards",), set()),
    "schema": (("schema",), CHECKED | SCRIPTS | {"csv"}),
    "guide": (("guide", "repairer"), {"html"}),
    "completion": (("completion", "bash"), HEAVY - {"sympy", "tomlkit", "numba", "pyarrow", "tornado"}),
}
ROOMS_NOT_OF_AT = {"checks", "rating", "study", "bench", "pictures", "guide"}


# What Python tells of itself when somebody asks a name server, or reaches out, or lets others in.
CUT_OFF = """
import sys

def cut(event, what):
    if event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.connect", "socket.bind", "socket.sendto"):
        raise RuntimeError(f"{event}: there is no network")

sys.addaudithook(cut)
"""


@cache
def loaded(*call: str) -> frozenset[str]:
    """The modules that a call loads, made where there is no network."""
    code = CUT_OFF + (
        "from tapplan.cli.main import main; sys.stdout = sys.stderr; "
        f"code = main({list(call)!r}); sys.stdout = sys.__stdout__; print('\\n'.join(sys.modules)); sys.exit(code)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT)
    assert done.returncode == 0, done.stderr
    return frozenset(done.stdout.split())


def test_what_reaches_for_a_network_is_stopped() -> None:
    code = CUT_OFF + "import urllib.request; urllib.request.urlopen('http://localhost/')"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert "there is no network" in done.stderr


def test_every_verb_says_what_it_needs() -> None:
    assert list(NEEDED) == list(VERBS)


@pytest.mark.parametrize("verb", VERBS)
def test_a_verb_loads_no_library_that_it_does_not_need(verb: str) -> None:
    call, needed = NEEDED[verb]
    assert loaded(*call) & HEAVY <= SCREENS | needed


@pytest.mark.parametrize("verb", [verb for verb in VERBS if verb != "completion"])  # which tells of all of them
def test_a_verb_loads_no_other_verb(verb: str) -> None:
    verbs = {name for name in loaded(*NEEDED[verb][0]) if name.startswith("tapplan.cli.verbs.")}
    assert verbs == {f"tapplan.cli.verbs.{verb}"}


@pytest.mark.parametrize("call", [("--version",), ("--help",), (), ("tabel",), ("--nothing",)], ids=" ".join)
def test_a_call_that_comes_to_no_verb_loads_none(call: tuple[str, ...]) -> None:
    code = f"import sys, tapplan.cli.main as m\ntry: m.main({list(call)!r})\nfinally: print(*sys.modules, sep='\\n')"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT)
    found = set(done.stdout.split("\n"))
    assert "tapplan.cli.verbs" in found
    assert {name for name in found if name.startswith("tapplan.cli.verbs.")} == set()
    assert found & HEAVY == set()


@pytest.mark.parametrize("verb", ["at", "table", "states", "check"])
def test_for_scripts_nothing_for_screens_is_loaded(verb: str) -> None:
    found = loaded(*NEEDED[verb][0], "--json")
    assert {name for name in found if name.split(".")[0] == "rich" or name.startswith("tapplan.pages")} == set()
    assert found & HEAVY <= SCRIPTS | NEEDED[verb][1]


def test_at_loads_only_the_rooms_below_its_answer() -> None:
    rooms = {name.split(".")[1] for name in loaded("at", RIDGE, "190") if name.startswith("tapplan.")}
    assert rooms & ROOMS_NOT_OF_AT == set()
    assert {"answers", "control", "network", "design"} <= rooms


@pytest.mark.parametrize("verb", ["at", "table", "states"])
def test_who_writes_no_file_loads_nothing_that_writes(verb: str) -> None:
    assert loaded(*NEEDED[verb][0]) & {"tapplan.wholefile", "shutil", "fcntl"} == set()


def test_the_table_loads_no_kind_of_witness_that_it_cannot_have() -> None:
    found = loaded("table", RIDGE)
    assert {name for name in found if name.startswith("tapplan.checks.witnesses.")} == {
        "tapplan.checks.witnesses.coverage"
    }
    assert {name for name in found if name.startswith("tapplan.checks.sentences")} == set()
    assert "tapplan.control.automaton" not in found


@pytest.mark.parametrize("verb", ["at", "table"])
def test_a_table_that_is_stated_loads_nothing_that_chooses_or_groups(verb: str) -> None:
    unasked = {"tapplan.control.choice", "tapplan.network.grouped", "tapplan.answers.sweep", "bz2", "lzma"}
    assert loaded(*NEEDED[verb][0]) & unasked == set()


def test_the_command_itself_loads_nothing_before_it_can_be_interrupted() -> None:
    """What the first module loads beyond what Python has loaded to start: a Ctrl-C meanwhile would show a trace."""
    code = "import sys; before = set(sys.modules); import tapplan.__main__; print(*sorted(set(sys.modules) - before))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=ROOT)
    ours = {name for name in done.stdout.split() if name.startswith("tapplan")}
    assert ours == {"tapplan", "tapplan.__main__"}
    others = {name.partition(".")[0] for name in done.stdout.split()} - {"tapplan"}
    assert others <= {"__future__", "gc", "importlib", "warnings"}


STOPPED = """
import sys

class Stop:
    def find_spec(self, name, path=None, target=None):
        if name == {module!r}:
            raise KeyboardInterrupt

sys.meta_path.insert(0, Stop())
sys.argv = ["tapplan", "table", {design!r}]
from tapplan.__main__ import run
run()
"""


@pytest.mark.parametrize(
    "module", ["tapplan.cli.main", "argparse", "tapplan.cli.verbs", "tapplan.design.file", "tomllib", "rich.console"]
)
def test_ctrl_c_while_it_is_loaded_gives_one_line(module: str) -> None:
    code = STOPPED.format(module=module, design=RIDGE)
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT)
    assert (done.returncode, done.stdout, done.stderr) == (130, "", "tapplan: interrupted\n")
