"""The package as its rooms: what each module says of itself, and which it imports."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import tapplan

PACKAGE = Path(tapplan.__file__).parent


@dataclass(frozen=True)
class Source:
    """A module: its name within the package, such as `control/table.py`, its lines, and what it parses to."""

    name: str
    lines: int
    tree: ast.Module

    @property
    def dotted(self) -> str:
        return dotted(self.name)

    @property
    def docstring(self) -> str:
        return ast.get_docstring(self.tree) or ""


def dotted(name: str) -> str:
    return ".".join(["tapplan", *name.removesuffix(".py").removesuffix("__init__").strip("/").split("/")]).rstrip(".")


def sources() -> dict[str, Source]:
    found = {}
    for file in sorted(PACKAGE.rglob("*.py")):
        name, text = file.relative_to(PACKAGE).as_posix(), file.read_text("utf-8")
        found[name] = Source(name, len(text.splitlines()), ast.parse(text))
    return found


SOURCES = sources()
BY_DOTTED = {one.dotted: one.name for one in SOURCES.values()}


def loading(body: list[ast.stmt]) -> Iterator[ast.stmt]:
    """The statements that run as a module is loaded; those for types alone do not."""
    for node in body:
        if isinstance(node, ast.If) and "TYPE_CHECKING" in ast.unparse(node.test):
            yield from loading(node.orelse)
        else:
            yield node
            for name in ("body", "orelse", "finalbody"):
                if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
                    yield from loading(getattr(node, name, []))


def imported(source: Source) -> Iterator[str]:
    """The modules of the package that a module imports as it is loaded."""
    return named(loading(source.tree.body))


def imported_anywhere(source: Source) -> Iterator[str]:
    """The same, with what a function imports when it is called, and what is for types alone."""
    return named(ast.walk(source.tree))


def named(nodes: Iterator[ast.stmt] | Iterator[ast.AST]) -> Iterator[str]:
    for node in nodes:
        if isinstance(node, ast.Import):
            yield from (BY_DOTTED[one.name] for one in node.names if one.name in BY_DOTTED)
        elif isinstance(node, ast.ImportFrom) and node.module in BY_DOTTED:
            yield from (BY_DOTTED.get(f"{node.module}.{one.name}", BY_DOTTED[node.module]) for one in node.names)
