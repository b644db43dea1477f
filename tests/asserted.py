"""Tests that assert only inside a loop or a branch say how often they did, and fail where they never did.

Such a test passes on an empty list, and then proves nothing. pytest tells of assertions that hold, at the cost of
explaining each, so only the tests that could pass unasserted are counted: all cases of one together, each case up
to `ENOUGH`.
"""

import ast
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest
from _pytest.assertion import util

COUNTED = "assertions in loops"
"""The property of a test's report that holds the count."""

ENOUGH = 200

_BRANCHES = (ast.For, ast.While, ast.If, ast.IfExp, ast.comprehension, ast.Match, ast.ExceptHandler)


def _runs(loop: ast.AST) -> bool:
    """Whether a loop goes over things that stand in the text, and so is gone through."""
    if not isinstance(loop, ast.For):
        return False
    over = loop.iter
    if isinstance(over, ast.Call):
        return ast.unparse(over.func) == "range" and all(isinstance(one, ast.Constant) for one in over.args)
    return isinstance(over, ast.Tuple | ast.List) and bool(over.elts)


def _claims(node: ast.AST) -> bool:
    """Whether a statement can fail a test by itself: an assertion, or a block that must raise, warn or fail."""
    if isinstance(node, ast.With):
        return any("raises" in ast.dump(item) or "warns" in ast.dump(item) for item in node.items)
    if isinstance(node, ast.Call):
        return ast.unparse(node.func) in ("pytest.fail", "fail", "pytest.raises")
    return isinstance(node, ast.Assert)


def _claimed(node: ast.AST, sure: bool) -> Iterator[bool]:
    """For each claim below a node, whether it is met on every way through."""
    for child in ast.iter_child_nodes(node):
        if _claims(child):
            yield sure
        yield from _claimed(child, sure and (_runs(child) or not isinstance(child, _BRANCHES)))


@cache
def only_in_branches(file: Path) -> frozenset[str]:
    """The test functions of a file all of whose claims stand inside loops or branches."""
    functions = (
        node
        for node in ast.walk(ast.parse(file.read_bytes()))
        if isinstance(node, ast.FunctionDef) and node.name.startswith("test")
    )
    claims = {function.name: list(_claimed(function, True)) for function in functions}
    return frozenset(name for name, sure in claims.items() if sure and not any(sure))


class _Count:
    """Counts the assertions that hold while it is registered."""

    def __init__(self) -> None:
        self.held = 0

    def pytest_assertion_pass(self) -> None:
        self.held += 1
        if self.held == ENOUGH:
            util._assertion_pass = None  # nothing public ends the telling within a test; pytest sets it anew for each


@pytest.hookimpl(wrapper=True, tryfirst=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Counts while a test runs that asserts only in loops."""
    name = getattr(item, "originalname", None) or item.name
    if not item.config.getini("enable_assertion_pass_hook") or name not in only_in_branches(item.path):
        return (yield)
    count = _Count()
    item.stash[_COUNTS] = count
    item.config.pluginmanager.register(count)
    try:
        return (yield)
    finally:
        item.config.pluginmanager.unregister(count)


_COUNTS = pytest.StashKey[_Count]()


@pytest.hookimpl(wrapper=True)
def pytest_runtest_call(item: pytest.Item) -> Iterator[None]:
    """Notes with the report of a test how often it asserted; the controller of parallel runs reads it there."""
    result = yield
    if _COUNTS in item.stash:
        item.user_properties.append((COUNTED, item.stash[_COUNTS].held))
    return result


def _counts(session: pytest.Session) -> Counter[str]:
    """How often each test that was counted asserted, over all its cases."""
    terminal = session.config.pluginmanager.get_plugin("terminalreporter")
    held: Counter[str] = Counter()
    for report in terminal.getreports("passed") if terminal else []:
        for name, value in report.user_properties:
            if name == COUNTED and report.when == "call":
                held[report.nodeid.partition("[")[0]] += value
    chosen = session.config.option
    some = chosen.keyword or chosen.markexpr or any("[" in one for one in session.config.args)
    return +held if some else held  # of some cases alone none needs to have anything to say


def pytest_sessionfinish(session: pytest.Session) -> None:
    """A run fails in which a test asserted nothing."""
    if session.exitstatus == pytest.ExitCode.OK and 0 in _counts(session).values():
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_terminal_summary(terminalreporter: pytest.TerminalReporter) -> None:
    """How many tests assert in loops only, how often, which did it least, and which never."""
    counts = _counts(terminalreporter._session)
    if not counts:
        return
    where, least = min(counts.items(), key=lambda count: count[1])
    told = f"{len(counts)} tests, at least {counts.total():,} assertions; fewest {least}, in {where}"
    terminalreporter.write_line(f"asserting in loops only: {told}")
    for name in sorted(name for name, held in counts.items() if not held):
        terminalreporter.write_line(f"FAILED {name}: asserts only inside loops or branches, and none of them was run")
