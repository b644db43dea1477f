"""The package's own words: one name for one type, nothing packed into tuples, one word for one idea."""

from __future__ import annotations

import ast
from collections import defaultdict
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import tapplan

PACKAGE = Path(tapplan.__file__).parent

# Pairs of one kind that a parameter may take as they stand, each with its reason; there are none yet.
PAIRS: dict[str, str] = {}

# What a function may return packed: the order in which values are sorted, compared entry by entry.
SORT_KEYS = {"checks/faulted.py harm", "checks/recovery.py harm", "rating/fed.py rank", "study/plans.py order"}

# What a parameter of this name is, everywhere; None may stand beside it.
WORDS = {
    "args": "argparse.Namespace",
    "bench": "Bench",
    "carried": "Carried",
    "circuit": "Circuit",
    "closed": "Closed",
    "condition": "Condition",
    "controller": "Controller",
    "curve": "Curve",
    "design": "Design",
    "emf": "Fraction",
    "feed": "Feed",
    "flying": "Flying",
    "hypothesis": "Hypothesis",
    "measure": "Measure",
    "mixtures": "Mixtures",
    "move": "Move",
    "plan": "Plan",
    "request": "Request",
    "response": "Response",
    "review": "Review",
    "row": "Row",
    "service": "Service",
    "standing": "Standing",
    "state": "State",
    "table": "ControlTable",
    "task": "Task",
    "text": "str",
}


@dataclass(frozen=True)
class Annotated:
    """An annotation and where it stands: module, function and, for a parameter, its name."""

    module: str
    place: str
    kind: ast.expr

    @property
    def named(self) -> str:
        return f"{self.module} {self.place}"


def sources() -> dict[str, ast.Module]:
    files = sorted(PACKAGE.rglob("*.py"))
    return {file.relative_to(PACKAGE).as_posix(): ast.parse(file.read_text("utf-8")) for file in files}


SOURCES = sources()


def functions(tree: ast.Module) -> Iterator[ast.FunctionDef]:
    return (node for node in ast.walk(tree) if isinstance(node, ast.FunctionDef))


def parameters(module: str, tree: ast.Module) -> Iterator[Annotated]:
    for function in functions(tree):
        taken = function.args
        for one in (*taken.posonlyargs, *taken.args, *taken.kwonlyargs, taken.vararg, taken.kwarg):
            if one is not None and one.annotation is not None:
                yield Annotated(module, f"{function.name} {one.arg}", one.annotation)


def returned(module: str, tree: ast.Module) -> Iterator[Annotated]:
    for function in functions(tree):
        if function.returns is not None:
            yield Annotated(module, function.name, function.returns)


def aliases(module: str, tree: ast.Module) -> Iterator[Annotated]:
    """Names given to types: as a rule a capital with small letters, and something in brackets or joined by `|`."""
    for node in tree.body:
        if isinstance(node, ast.Assign) and isinstance(node.value, ast.Subscript | ast.BinOp):
            for target in node.targets:
                if isinstance(target, ast.Name) and not target.id.isupper() and target.id.lstrip("_")[0].isupper():
                    yield Annotated(module, target.id, node.value)


def fixed(kind: ast.expr) -> list[list[str]]:
    """The entries of every tuple of fixed length in an annotation."""
    return [
        [ast.unparse(entry) for entry in node.slice.elts]
        for node in ast.walk(kind)
        if isinstance(node, ast.Subscript)
        and ast.unparse(node.value) == "tuple"
        and isinstance(node.slice, ast.Tuple)
        and not any(isinstance(entry, ast.Constant) and entry.value is ... for entry in node.slice.elts)
    ]


def mixed(kind: ast.expr) -> bool:
    return any(len(set(entries)) > 1 for entries in fixed(kind))


@cache
def every(gather: Callable[[str, ast.Module], Iterator[Annotated]]) -> list[Annotated]:
    return [one for module, tree in SOURCES.items() for one in gather(module, tree)]


def test_every_public_type_has_a_name_of_its_own() -> None:
    defined: dict[str, list[str]] = defaultdict(list)
    for module, tree in SOURCES.items():
        classes = [node.name for node in tree.body if isinstance(node, ast.ClassDef)]
        for name in (*classes, *(one.place for one in aliases(module, tree))):
            if not name.startswith("_"):
                defined[name].append(module)
    assert len(defined) > 250
    assert {name: modules for name, modules in defined.items() if len(modules) > 1} == {}


def test_no_parameter_is_a_tuple_of_different_things() -> None:
    assert {one.named for one in every(parameters) if mixed(one.kind)} == set()


def test_only_pairs_that_are_listed_are_taken_as_they_stand() -> None:
    taken = {one.named for one in every(parameters) if fixed(one.kind)}
    assert taken == set(PAIRS)


def test_no_alias_hides_a_tuple_of_different_things() -> None:
    assert {one.named for one in every(aliases) if mixed(one.kind)} == set()


def test_no_function_returns_a_tuple_of_different_things() -> None:
    packed = {one.named for one in every(returned) if mixed(one.kind)}
    assert packed == SORT_KEYS


@pytest.mark.parametrize("word", WORDS)
def test_a_word_means_one_thing_wherever_it_is_taken(word: str) -> None:
    meant = [one for one in every(parameters) if one.place.split()[1] == word]
    assert len(meant) > 3
    assert {ast.unparse(one.kind).removesuffix(" | None") for one in meant} == {WORDS[word]}


def test_what_is_packed_is_seen() -> None:
    tree = ast.parse(
        "Case = tuple[int, str]\n"
        "def one(at: list[tuple[int, str]], *, ends: tuple[int, int], row: tuple[int, ...]) -> tuple[str, bool]:\n"
        "    raise NotImplementedError\n"
    )
    taken = list(parameters("m.py", tree))
    assert [one.named for one in taken if mixed(one.kind)] == ["m.py one at"]
    assert [one.named for one in taken if fixed(one.kind)] == ["m.py one at", "m.py one ends"]
    assert [one.named for one in aliases("m.py", tree) if mixed(one.kind)] == ["m.py Case"]
    assert [one.named for one in returned("m.py", tree) if mixed(one.kind)] == ["m.py one"]
