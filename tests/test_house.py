"""The house as a whole: modules and functions that a person takes in at once, and no circle of imports.

Between rooms `lint-imports` holds the layers; within a room nothing else would see that two modules need each other.
"""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from graphlib import CycleError, TopologicalSorter
from itertools import pairwise

from tests.roommap import FILE, MOST_WORDS, ROOMS, layers, phrase, refreshed_map
from tests.rooms import SOURCES, imported

MOST_LINES = 350  # of a module
MOST_FUNCTION_LINES = 40
MOST_ARGUMENTS = 4

# Longer ones, each with its reason.
LONG_MODULES: dict[str, str] = {}
LONG_FUNCTIONS = {
    "answers/logfigures.py figures_of": "a line for each figure of a log, in the order in which they are told",
    "replay/course.py follow": "one text for two engines: numba compiles this very code object, and calls of pieces "
    "of it would need look-ups of their own in each",
}
# More arguments, each with its reason.
MANY_ARGUMENTS = {
    "bench/choosing.py next_of": "two weights over two lists of hypotheses; a value of the two would have no name",
    "bench/learned.py _rest": "a wiring with its board, asked for one winding",
    "control/courses.py shortest_course": "a question of the trade with its one exception, by name",
    "control/sudden.py _response": "a question of the trade with its one exception, by name",
    "control/thresholds.py _even": "the two neighbours, what was tried between them, and two distances",
    "logs/choice.py _several": "the parts of one sentence",
    "replay/course.py follow": "compiled by numba, which takes arrays and numbers, not values with names",
    "replay/kernel.py _pass": "compiled by numba, which takes arrays and numbers, not values with names",
    "replay/profile.py _add_lasting": "arrays of one length, and where their sum goes",
    "replay/shares.py share_run": "as a run, with a shorter head for tests",
    "replay/view.py viewed": "a run with its log and machine; whoever waits may be told",
    "study/cores.py _with_larger": "a fit with what was asked of it, wound anew",
    "study/written.py text_of": "a file's parts from the top down",
}


def functions(tree: ast.AST) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef))


def lines(function: ast.FunctionDef | ast.AsyncFunctionDef) -> int:
    return (function.end_lineno or function.lineno) - function.lineno + 1


def arguments(function: ast.FunctionDef | ast.AsyncFunctionDef) -> list[str]:
    taken = function.args
    named = [one.arg for one in (*taken.posonlyargs, *taken.args, *taken.kwonlyargs)]
    return [one for one in named if one not in ("self", "cls")]


def test_a_module_is_short_or_argued() -> None:
    assert {name for name, one in SOURCES.items() if one.lines > MOST_LINES} == set(LONG_MODULES)


def test_a_function_is_short_or_argued() -> None:
    every = {f"{name} {one.name}": lines(one) for name, source in SOURCES.items() for one in functions(source.tree)}
    assert len(every) > 3000
    assert {name for name, length in every.items() if length > MOST_FUNCTION_LINES} == set(LONG_FUNCTIONS)


def test_a_function_takes_few_arguments_or_is_argued() -> None:
    taken = {f"{name} {one.name}": arguments(one) for name, each in SOURCES.items() for one in functions(each.tree)}
    assert {name for name, names in taken.items() if len(names) > MOST_ARGUMENTS} == set(MANY_ARGUMENTS)


def circle(graph: Mapping[str, set[str]]) -> list[str]:
    """Modules that import each other all round; nothing where there are none."""
    try:
        TopologicalSorter(graph).prepare()
    except CycleError as found:
        return list(found.args[1])
    return []


def test_no_modules_import_each_other() -> None:
    """Those that a module imports as it is loaded; what a function imports when it is called is not among them."""
    graph = {name: set(imported(source)) for name, source in SOURCES.items()}
    assert sum(map(len, graph.values())) > 1500
    assert circle(graph) == []


def test_a_circle_is_seen() -> None:
    assert circle({"a": {"b"}, "b": {"c"}, "c": set()}) == []
    found = circle({"a": {"b"}, "b": {"c"}, "c": {"a"}})
    assert len(set(found)) == 3
    assert all(two in {"a": "bc", "b": "ca", "c": "ab"}[one] for one, two in pairwise(found))


def test_the_map_of_the_rooms_is_that_of_the_code() -> None:
    """`python -m tests.test_readme` makes it again."""
    text = FILE.read_text("utf-8")
    assert refreshed_map(text) == text
    assert text.count("<!-- end -->") == 2


def test_every_room_stands_in_one_layer() -> None:
    named = [room for layer in layers() for room in layer]
    assert len(set(named)) == len(named)
    assert set(ROOMS) - set(named) == {"__init__", "__main__", "version"}


def test_a_module_says_in_a_phrase_what_it_is_about() -> None:
    told = {name: phrase(one.docstring).split() for name, one in SOURCES.items()}
    assert all(told.values())
    assert {name for name, words in told.items() if len(words) > MOST_WORDS + 5} == set()


def test_what_a_docstring_says_first() -> None:
    assert phrase("Each band: output under load, losses.\n\nMore of it.") == "Each band: output under load, losses"
    assert phrase("What stands across each open contact: in every band, at rest, in the backup.") == (
        "What stands across each open contact"
    )
    assert phrase("A log held in memory, so that many controllers can be tried on it: its parts.") == (
        "A log held in memory"
    )
