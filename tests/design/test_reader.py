"""The light reader says yes just where the explaining validator does, to an equal design."""

import tomllib
from collections.abc import Iterator
from copy import deepcopy
from decimal import Decimal
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from tapplan.design import explained as explaining
from tapplan.design.explained import adapter
from tapplan.design.marks import Taken, Text
from tapplan.design.model import Design
from tapplan.design.reader import read_table
from tapplan.design.shape import Nested, Options, Several, keys_of, table_at
from tapplan.design.starter import STARTER
from tapplan.design.supplied import supplied
from tests.design.test_file import CONTROLLER, CORE, SEQUENCE
from tests.examples import REQUESTS, SHIPPED

RICH = """
[limits]
surge_v = 260
stuck_shorts = 0
[[accept]]
code = "move-gap"
where = "boost"
reason = "a lamp may blink"
[copper]
series = "awg"
density_a_mm2 = 2.5
[fit]
total_turns = [200, 300]
arrangements = ["both-sides", "free"]
relays_max = 3
require_direct = true
"""


def tables_of(text: str) -> dict[str, Any]:
    return dict(supplied(tomllib.loads(text, parse_float=Decimal)).tables)


STARTERS = [
    tables_of(text)
    for text in (
        STARTER,
        STARTER + SEQUENCE + CONTROLLER + CORE + RICH,
        *(file.read_text() for file in SHIPPED + REQUESTS),
    )
]


def explained(tables: dict[str, Any]) -> Design | None:
    try:
        return adapter().validate_python(deepcopy(tables))
    except ValidationError:
        return None


@pytest.mark.parametrize("file", SHIPPED + REQUESTS, ids=lambda file: file.stem)
def test_every_shipped_file_is_read_without_a_validator(file: Path) -> None:
    made = read_table(Design, tables_of(file.read_text()))
    assert made is not None
    assert made == explained(tables_of(file.read_text()))


def places(inner: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every key and entry of a parsed file."""
    pairs = inner.items() if isinstance(inner, dict) else enumerate(inner) if isinstance(inner, list) else ()
    for part, value in pairs:
        yield (*path, part)
        yield from places(value, (*path, part))


WORDS = [
    *(
        "",
        " ",
        "a",
        " a",
        "a ",
        "a\n",
        "\n",
        "x" * 80,
        "x" * 81,
        "x" * 501,
        "25/2",
        "1/0",
        "input",
        "free",
        "\x1b[31mKL",
    ),
    *("KL\u202e", "\x7f", "a\u2028", "a\u200fb", "a\x85b", "together", "rms", "direct"),
]
PLAIN = (
    st.sampled_from(WORDS)
    | st.sampled_from([True, False, 0, 1, 2, -1, 4, 12, 13, 24, 5000, 10**9, 10**9 + 1, 10**40])
    | st.sampled_from(["1.0", "0.5", "99.999", "100", "NaN", "Infinity", "1E+400", "0.1", "-0", "1E-31"]).map(Decimal)
    | st.text(max_size=3)
)
VALUES = PLAIN | st.lists(PLAIN, max_size=3) | st.dictionaries(st.sampled_from(["com", "nc", "turns", "name"]), PLAIN)


@cache
def seen(part: str | int) -> list[Any]:
    """What good files hold under a key, whatever the table, or at a place of a list."""
    found = []
    for tables in STARTERS:
        for path in places(tables):
            if path[-1] == part:
                inner: Any = tables
                for one in path:
                    inner = inner[one]
                found.append(inner)
    return found


@st.composite
def changed_files(draw: st.DrawFn) -> dict[str, Any]:
    """A good file with a few values taken out, replaced, moved, or put where none was."""
    tables = deepcopy(draw(st.sampled_from(STARTERS)))
    for _ in range(draw(st.integers(1, 3))):
        every = list(places(tables))
        path = draw(st.sampled_from(every))
        holder = tables
        for part in path[:-1]:
            holder = holder[part]
        action = draw(st.sampled_from(["drop", "put", "move", "add", "swap", "swap", "swap"]))
        if action == "drop":
            del holder[path[-1]]
        elif action == "swap":
            known = seen(path[-1])  # nothing for a key that was added here
            holder[path[-1]] = deepcopy(draw(st.sampled_from(known) if known else VALUES))
        elif action == "add" and isinstance(holder, dict):
            holder[draw(st.sampled_from(["relays", "relay", "turns", "poles", "taps", "order", "x"]))] = draw(VALUES)
        elif action == "move":
            other: Any = tables
            for part in draw(st.sampled_from(every)):
                other = other[part] if isinstance(other, dict) and part in other else other
            holder[path[-1]] = deepcopy(other)
        else:
            holder[path[-1]] = draw(VALUES)
    return tables


@settings(max_examples=600, deadline=None)
@given(changed_files())
def test_the_reader_accepts_what_the_validator_accepts_and_nothing_else_as_an_equal_design(
    tables: dict[str, Any],
) -> None:
    before = deepcopy(tables)
    assert read_table(Design, tables) == explained(tables)
    assert tables == before


@pytest.mark.parametrize("tables", STARTERS)
@pytest.mark.parametrize("wrong", ["x", True, [], {}, Decimal("NaN")], ids=str)
def test_malformed_numbers_and_unknown_keys_everywhere_still_leave_a_design_to_check(
    tables: dict[str, Any], wrong: object
) -> None:
    """Each is told once, and a stand-in of its kind lets the rest of the file be checked too."""
    spoiled = deepcopy(tables)
    expected = set()
    for path in places(tables):
        table = table_at(Design, path[:-1])
        shape = next((key.shape for key in keys_of(table) if key.written == path[-1]), None) if table else None
        holder: Any = spoiled
        for part in path[:-1]:
            holder = holder[part]
        if isinstance(shape, Taken) and shape.stand_in is not None:
            holder[path[-1]] = wrong
            expected.add(path)
        elif isinstance(shape, Nested):
            holder[path[-1]]["unheard of"] = wrong
            expected.add((*path, "unheard of"))
        elif isinstance(shape, Several) and isinstance(shape.each, Nested):
            for number, one in enumerate(holder[path[-1]]):
                one["unheard of"] = wrong
                expected.add((*path, number, "unheard of"))
    found = explaining.explained(spoiled)
    assert len(expected) > 10
    assert {one.path for one in found.objections} == expected
    assert len(found.objections) == len(expected)
    assert found.mended is not None
    same = [key.name for key in keys_of(Design) if isinstance(key.shape, Options | Text)]
    untouched = adapter().validate_python(deepcopy(tables))
    assert [getattr(found.mended, name) for name in same] == [getattr(untouched, name) for name in same]


def test_a_guess_is_made_at_numbers_only() -> None:
    """A name, an option or a missing key that were guessed would bring reports of what nobody wrote."""
    for change in ({"title": 5}, {"terminals": {"line": "L"}}, {"output": 7}, {"sequence": {"order": "last"}}):
        found = explaining.explained(STARTERS[0] | change)
        assert found.objections
        assert found.mended is None
