"""Where a mutant can be made, by the operators of cosmic-ray; and which places are left out, and why.

A place is what one operator family can change at one point of a file: a number, a comparison, an `and`. A sample
draws places, each as likely as any other, and then one of the changes at it, so that an operator with eleven
replacements does not outweigh one with a single replacement. Left out, because no behaviour depends on them or every
test would notice:

- annotations, type aliases, `if TYPE_CHECKING`, `__all__`;
- decorators that only say or keep something (`cache`, `override` ...) or without which no test runs (`dataclass`,
  `property`), and the arguments of `dataclass` and of caches;
- the marks `*` and `/` in a list of parameters;
- `==` for `is` and the like, which are the same for None, booleans and members of an enumeration; an order of texts
  where they are compared for being equal to a written one;
- numbers of a thousand and more, a limit of work by one more or less; the seed of a `Random`; `strict` of a `zip`;
- changes that do not compile, that compile with a warning, or to the same syntax tree.
"""

import ast
import random
import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from parso.tree import NodeOrLeaf

_SAYING = frozenset(
    {
        "cache",
        "dataclass",
        "final",
        "lru_cache",
        "njit",
        "overload",
        "override",
        "property",
        "runtime_checkable",
        "wraps",
    }
)
_SETTLED_BY_ARGUMENTS = frozenset({"dataclass", "lru_cache"})
_BY_CHANCE = frozenset({"Random", "default_rng"})
_LARGE = 1000
_SAME = ({"Eq", "Is"}, {"NotEq", "IsNot"})


@dataclass(frozen=True, slots=True)
class Change:
    """One application of an operator: its name, and which of its occurrences in the file."""

    operator: str
    occurrence: int


@dataclass(frozen=True, slots=True)
class Place:
    """A point of a file, relative to the project, and what can be changed there; lines count from 1."""

    file: str
    line: int
    column: int
    family: str
    changes: tuple[Change, ...]


@dataclass(frozen=True, slots=True)
class Mutant:
    """A file with one change in it: the whole text, and the changed line before and after."""

    file: str
    line: int
    column: int
    change: Change
    before: str
    after: str
    text: str

    @property
    def name(self) -> str:
        """The words by which `--again` finds it."""
        return f"{self.file}:{self.line}:{self.column} {self.change.operator} {self.change.occurrence}"


def places(root: Path, file: str) -> tuple[Place, ...]:
    """Every place of a file, in its order."""
    from cosmic_ray.ast import ast_nodes, get_ast  # only here: the tests of this tool do without it

    source = (root / file).read_text(encoding="utf-8")
    left_out = _Regions(ast.parse(source))
    counts: dict[str, int] = {}
    found: dict[tuple[int, int, str], list[Change]] = {}
    for node in ast_nodes(get_ast(source)):
        for name in _operators_of(node.type):
            for (line, column), _ in _operator(name).mutation_positions(node):
                occurrence = counts.get(name, 0)
                counts[name] = occurrence + 1
                if not (left_out.holds(line, column, name) or _idle(node, name) or _in_parameters(node)):
                    found.setdefault((line, column, _family(name)), []).append(Change(name, occurrence))
    return tuple(Place(file, *key, tuple(changes)) for key, changes in sorted(found.items()))


def drawn(root: Path, place: Place, chance: random.Random) -> Mutant | None:
    """One of the changes at a place that makes a different program, or None if there is none."""
    source = (root / place.file).read_text(encoding="utf-8")
    for change in chance.sample(place.changes, len(place.changes)):
        if mutant := made(source, place, change):
            return mutant
    return None


def made(source: str, place: Place, change: Change) -> Mutant | None:
    """The text of a file with a change, or None if it is no other program."""
    from cosmic_ray.mutating import mutate_code

    text = mutate_code(source, _operator(change.operator), change.occurrence)
    if text is None or not _other_program(source, text):
        return None
    before, after = _difference(source, text, place.line)
    if before != source.splitlines()[place.line - 1].strip():
        message = f"{place.file}:{place.line}: {change} changes another line: {before}"
        raise AssertionError(message)
    return Mutant(place.file, place.line, place.column, change, before, after, text)


def _other_program(source: str, text: str) -> bool:
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("error")
            compile(text, "mutant", "exec")
    except (SyntaxError, ValueError, Warning):
        return False
    return ast.dump(ast.parse(source)) != ast.dump(ast.parse(text))


def _difference(source: str, text: str, line: int) -> tuple[str, str]:
    old, new = source.splitlines(), text.splitlines()
    if len(old) != len(new):
        return old[line - 1].strip(), "(left out)"
    at = next(number for number, (one, other) in enumerate(zip(old, new, strict=True)) if one != other)
    return old[at].strip(), new[at].strip()


@cache
def _operator(name: str) -> object:
    from cosmic_ray.operators.provider import OperatorProvider

    return OperatorProvider()[name]()


@cache
def _operators_of(kind: str) -> tuple[str, ...]:
    """The operators that can apply to a kind of node of parso's; asking all of them of every node takes minutes."""
    from cosmic_ray.operators.provider import OperatorProvider

    return tuple(name for name in OperatorProvider() if _wanted(name) and _applies(name, kind))


def _applies(name: str, kind: str) -> bool:
    if name.startswith("ReplaceBinary"):
        return kind == "operator"
    if name.startswith("ReplaceComparison"):
        return kind == "comparison"
    if name.startswith("ReplaceUnary"):
        return kind in ("factor", "not_test")
    return True


def _wanted(name: str) -> bool:
    if name.startswith("Variable"):
        return False  # those two need to be told names
    if name.startswith("ReplaceComparisonOperator"):
        return set(name.split("_")[1:]) not in _SAME
    return True


def _family(name: str) -> str:
    return name.split("_")[0]


def _idle(node: "NodeOrLeaf", operator: str) -> bool:
    """Whether a change here alters a limit of work by one, or orders texts that are only compared for being equal."""
    if operator == "NumberReplacer":
        digits = node.value.replace("_", "")
        return digits.isdigit() and int(digits) >= _LARGE
    if operator.startswith("ReplaceComparisonOperator"):
        told = [child for child in node.children if child.type == "string"]
        return bool(told) and operator.split("_")[1:] not in (["Eq", "NotEq"], ["NotEq", "Eq"])
    return False


def _in_parameters(node: "NodeOrLeaf") -> bool:
    parent = getattr(node, "parent", None)
    return parent is not None and parent.type in ("parameters", "param", "lambdef") and node.type == "operator"


class _Regions:
    """The parts of a module that are left out."""

    def __init__(self, module: ast.Module) -> None:
        self._spans = [_span(node) for node in _left_out(module)]
        self._saying = {node.lineno for node in _decorators(module) if _called(node) in _SAYING}

    def holds(self, line: int, column: int, operator: str) -> bool:
        if operator == "RemoveDecorator" and line in self._saying:
            return True
        return any(begin <= (line, column) < end for begin, end in self._spans)


def _span(node: ast.AST) -> tuple[tuple[int, int], tuple[int, int]]:
    return (node.lineno, node.col_offset), (node.end_lineno, node.end_col_offset)


def _left_out(module: ast.Module) -> Iterator[ast.AST]:
    for node in ast.walk(module):
        match node:
            case ast.AnnAssign(annotation=annotation):
                yield annotation
            case ast.arg(annotation=ast.AST() as annotation):
                yield annotation
            case ast.If(test=ast.Name(id="TYPE_CHECKING")):
                yield node
            case ast.Assign(targets=[ast.Name(id=name)], value=value) if name == "__all__" or _is_type(value):
                yield node
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef) and node.returns:
            yield node.returns
        if isinstance(node, ast.Call) and _called(node) in _BY_CHANCE:
            yield node
        if isinstance(node, ast.Call) and _called(node) == "zip":  # `strict` asserts what is so
            yield from (keyword.value for keyword in node.keywords)
    yield from (
        node for node in _decorators(module) if _called(node) in _SETTLED_BY_ARGUMENTS and isinstance(node, ast.Call)
    )


def _is_type(value: ast.expr) -> bool:
    """Whether an expression is a union of named types, as an alias has it."""
    match value:
        case ast.BinOp(op=ast.BitOr(), left=left, right=right):
            return all(
                isinstance(side, ast.Name | ast.Subscript | ast.Constant) or _is_type(side) for side in (left, right)
            )
    return False


def _decorators(module: ast.Module) -> Iterator[ast.expr]:
    for node in ast.walk(module):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            yield from node.decorator_list


def _called(node: ast.expr) -> str:
    match node:
        case ast.Call(func=func):
            return _called(func)
        case ast.Attribute(attr=name) | ast.Name(id=name):
            return name
    return ""
