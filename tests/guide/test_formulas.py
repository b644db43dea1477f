"""The table of formulas in the topic `method` is whole: code, source and test of each, and every docstring's formula.

A row names a module with names in it; `formulas.HELD` says which tests hold it. A function, class or module whose
docstring states a formula or a source stands in a row, or in `formulas.NO_FORMULA` with why it is none; and constants
of physics and of the trade have their source beside them.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

from tapplan import guide
from tests.examples import ROOT
from tests.guide.formulas import HELD, NO_FORMULA, NO_SOURCE_NEEDED

ROOMS = ("design", "network", "control", "rating", "checks", "replay", "study", "bench", "logs", "pages/firmware")
SPAN = re.compile(r"`([^`]+)`")
FORMULA = re.compile(
    r"[\w)\]|'^²] (?:=|<=|>=) [^.;,]*(?:[-+*/^·²]|sqrt)"
    r"|\b(?:IEC|ASTM|EN) ?\d|textbook|from memory|common practice|own derivation|Kirchhoff|Source:"
)
SOURCE = re.compile(
    r"no source|from memory|\(memory|IEC \d|EN \d|ASTM|own\b|textbook|the books|Modelica|PyOpenMagnetics|\(public|"
    r"handbooks|Archimedes|public calculation"
)
TRADE = re.compile(r"(_V|_OHM|_SIEMENS|_W|_VA|_MM|_MM2|_CM2|_S|_HZ|_MS|_PCT|_SHARE|_PER_K|_PER_M|_DM3|_C)$")


@dataclass(frozen=True)
class Row:
    """A row of the table: what it states, the code by module and name, its source, its test files."""

    formula: str
    code: tuple[str, ...]
    source: str
    files: tuple[str, ...]


@cache
def rows() -> tuple[Row, ...]:
    lines = [line for line in guide.text("method").splitlines() if line.startswith("| ")]
    cells = [re.split(r" (?<!\\)\| ", line.strip("| ")) for line in lines]
    return tuple(
        Row(formula, tuple(_code(where)), source, tuple(SPAN.findall(tests)))
        for formula, where, source, tests in cells
        if formula != "formula" and not formula.startswith("---")
    )


def _code(where: str) -> Iterator[str]:
    """Every name with its module, as `rating/iron.flux_t`."""
    module = ""
    for span in SPAN.findall(where):
        if "/" in span:
            module = span
        else:
            yield f"{module}.{span}"


@cache
def parsed(path: Path) -> ast.Module:
    return ast.parse(path.read_text(encoding="utf-8"))


def source_of(module: str) -> ast.Module:
    return parsed(ROOT / "tapplan" / f"{module}.py")


def names_in(tree: ast.Module) -> set[str]:
    """What a module defines: functions and classes anywhere, and its own constants."""
    defined = {one.name for one in ast.walk(tree) if isinstance(one, ast.FunctionDef | ast.ClassDef)}
    return defined | {name for one in tree.body for name in targets(one)}


def targets(statement: ast.stmt) -> list[str]:
    if not isinstance(statement, ast.Assign | ast.AnnAssign):
        return []
    ends = statement.targets if isinstance(statement, ast.Assign) else [statement.target]
    return [one.id for end in ends for one in ast.walk(end) if isinstance(one, ast.Name)]


def test_every_row_names_code_that_is_there_and_a_source() -> None:
    assert len(rows()) > 75
    for row in rows():
        assert row.code, row.formula
        assert row.source.strip(), row.formula
        for one in row.code:
            module, name = one.rsplit(".", 1)
            assert name in names_in(source_of(module)), one


def test_every_row_is_held_by_tests_that_are_collected() -> None:
    """A test that a later one of its name hides would not be."""
    assert [row.code[0] for row in rows()] == list(HELD)
    for row in rows():
        assert tuple(dict.fromkeys(one.split("::")[0] for one in HELD[row.code[0]])) == row.files, row.formula
    for one in {test for tests in HELD.values() for test in tests}:
        file, name = one.split("::")
        assert file.rpartition("/")[2].startswith("test_")
        found = [each for each in parsed(ROOT / "tests" / f"{file}.py").body if isinstance(each, ast.FunctionDef)]
        assert [each.name for each in found].count(name) == 1, one


# --- nothing is left out ---


def modules() -> Iterator[str]:
    for room in ROOMS:
        for path in sorted((ROOT / "tapplan" / room).rglob("*.py")):
            yield path.relative_to(ROOT / "tapplan").with_suffix("").as_posix()


def stated(module: str) -> Iterator[str]:
    """What of a module states a formula or a source in its docstring; a method stands for its class as well."""
    tree = source_of(module)
    for node, owner in [(tree, ""), *owned(tree, "")]:
        text = ast.get_docstring(node)
        if text and FORMULA.search(" ".join(text.split())):
            yield module if isinstance(node, ast.Module) else f"{module}.{owner or node.name}|{node.name}"


def owned(node: ast.AST, owner: str) -> Iterator[tuple[ast.FunctionDef | ast.ClassDef, str]]:
    for one in ast.iter_child_nodes(node):
        if isinstance(one, ast.FunctionDef | ast.ClassDef):
            yield one, owner
            yield from owned(one, one.name if isinstance(one, ast.ClassDef) else owner)


def test_every_formula_of_a_docstring_stands_in_a_row() -> None:
    cited = {code for row in rows() for code in row.code}
    heads = {code.rsplit(".", 1)[0] for code in cited}
    missing, used = [], set()
    for module in modules():
        for one in stated(module):
            head, _, last = one.partition("|")
            places = {head, f"{module}.{last}"} if last else {head}
            used |= places & NO_FORMULA.keys()
            if not places & NO_FORMULA.keys() and not (places & cited or (not last and module in heads)):
                missing.append(head if not last else f"{module}.{last}")
    assert missing == []
    assert used == NO_FORMULA.keys()


def beside(lines: list[str], statement: ast.stmt) -> str:
    """A constant's own lines, and the comments above it or above those that it stands under without a blank line."""
    first = statement.lineno - 1
    while first and lines[first - 1].strip():
        first -= 1
    assert statement.end_lineno is not None
    return "\n".join(lines[first : statement.end_lineno])


def constants(module: str) -> Iterator[tuple[str, str]]:
    """Constants whose name carries a unit or is a share, with what is written beside them."""
    text = (ROOT / "tapplan" / f"{module}.py").read_text(encoding="utf-8")
    tree = source_of(module)
    for statement in tree.body:
        for name in targets(statement):
            if TRADE.search(name):
                yield name, (ast.get_docstring(tree) or "") + beside(text.splitlines(), statement)


def test_every_constant_of_the_trade_has_its_source_beside_it() -> None:
    bare, used = [], set()
    for module in modules():
        for name, text in constants(module):
            place = f"{module}.{name}"
            if place in NO_SOURCE_NEEDED:
                used.add(place)
            elif not SOURCE.search(text):
                bare.append(place)
    assert bare == []
    assert used == NO_SOURCE_NEEDED.keys()


@cache
def written(module: str) -> str:
    """The module's code without comments, in one form."""
    return ast.unparse(source_of(module))


@pytest.mark.parametrize(
    ("figure", "where"),
    [
        ("sqrt(2) * pi", "design/limb"),
        ("Fraction(1, 58)", "design/materials"),
        ("Fraction(393, 100_000)", "design/materials"),
        ("Fraction(889, 100)", "design/materials"),
        ("0.127 * 92", "design/materials"),
        ("Fraction(22, 7)", "design/limb"),
        ("0.62", "rating/supply"),
        ("1_414_213_562_373", "control/counts"),
        ("900_316_316_157", "control/counts"),
        ("DEFAULT_OPERATE_MS = Fraction(15)", "design/tables/wiring"),
        ("2, 1.3, 50", "rating/iron"),
    ],
)
def test_a_known_constant_is_written_once_with_its_source(figure: str, where: str) -> None:
    text = (ROOT / "tapplan" / f"{where}.py").read_text(encoding="utf-8")
    assert SOURCE.search(text)
    assert [one for one in modules() if one != where and figure in written(one)] == []
    assert figure in text
