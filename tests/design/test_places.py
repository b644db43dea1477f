"""Where keys stand in a file: by hand, and in files put together from statements whose lines are counted."""

from __future__ import annotations

import tomllib

from hypothesis import given
from hypothesis import strategies as st

from tapplan.design.places import key_lines, line_of
from tapplan.design.shape import Path

TEXT = '''\
top = 1
"quoted key" = 2
[mains]
range_v = [
  1,  # [not a header]
  2,
]
text = """
[not.a.header]
key = 3
"""
[[winding]]
name = "a"  # comment with [ bracket
[[winding]]
name = 'b'
ends.first = 1
[winding.inner]
deep = { a = 1, b = [2, 3] }
after = 1
'''


def test_every_key_has_its_line() -> None:
    lines = key_lines(TEXT)
    assert lines["top",] == 1
    assert lines["quoted key",] == 2
    assert lines["mains",] == 3
    assert lines["mains", "range_v"] == 4
    assert lines["mains", "text"] == 8
    assert lines["winding", 0] == 12
    assert lines["winding", 0, "name"] == 13
    assert lines["winding", 1, "name"] == 15
    assert lines["winding", 1, "ends", "first"] == 16
    assert lines["winding", "inner", "after"] == 19
    assert not any("not" in path for path in lines)


def test_an_unknown_place_falls_back_to_the_table_around_it() -> None:
    lines = key_lines(TEXT)
    assert line_of(lines, ("winding", 1, "turns")) == 14
    assert line_of(lines, ("nowhere", 1)) is None


def test_brackets_and_quotes_in_the_name_of_a_table() -> None:
    assert key_lines('["a]b"]\nx = 1\n[[ \'c # d\' . "e\\"]" ]]\ny = 2\n') == {
        ("a]b",): 1,
        ("a]b", "x"): 2,
        ("c # d", 'e"]'): 3,
        ("c # d", 'e"]', 0): 3,
        ("c # d", 'e"]', 0, "y"): 4,
    }


VALUES = [
    *("1", "-2.5", '"a # [ b"', "'it ] is'", r'"said \"[\" "', "[]", "{ a = 1, b = [ '}' ] }", "{}", "[[1, 2], [3]]"),
    *('"""\n[x]\nk = 1 # no\n"""', "'''\n[[y]] \"\n'''", '""""said""""', "''''said'''''", r'"""\"""["""'),
    *(
        "[\n 1, # ]\n\n 2 ]",
        "[\n[3],\n [ 'k' ],\n[[true]] ]",
        "[ { a = '''\n]''' },\n # {\n { a = 2 } ]",
        '""',
        "''",
        '""""""',
        "''''''",
    ),
]
BETWEEN = ["", "", "# [[c", "  # x = 3", "\t", "#", "# '''", '# """']
KEYS = [("k{}",), ("k {} [",), ("k{}", "in.ner"), ('k"{}', "]"), ("{}", "#")]
HEADERS = ["[{}]", "[[{}]]", "  [ {} ]  # [", "\t[[\t{}\t]]"]


def dotted(parts: tuple[str, ...]) -> str:
    return " . ".join(part if part.isalnum() else f"'{part}'" for part in parts)


@st.composite
def files(draw: st.DrawFn) -> tuple[str, dict[Path, int]]:
    """A text, and the line of each of its keys and headers, which are all of different names but for one list."""
    rows: list[str] = draw(st.lists(st.sampled_from(BETWEEN), max_size=2))
    lines: dict[Path, int] = {}
    table: Path = ()
    repeated = 0
    for number in range(draw(st.integers(0, 6))):
        parts = tuple(part.format(number) for part in draw(st.sampled_from(KEYS)))
        here = 1 + sum(row.count("\n") + 1 for row in rows)
        what = draw(st.sampled_from(["key", "key", "header", "repeated"]))
        if what == "key":
            space = draw(st.sampled_from(["", " ", "\t"]))
            rows.append(
                f"{space}{dotted(parts)}{space}= {draw(st.sampled_from(VALUES))}{draw(st.sampled_from(['', ' # [']))}"
            )
            lines |= {(*table, *parts[: cut + 1]): here for cut in range(len(parts))}
        elif what == "header":
            header = draw(st.sampled_from(HEADERS))
            rows.append(header.format(dotted(parts)))
            table = (*parts, 0) if "[[" in header else parts
            lines |= {parts: here, table: here}
        else:
            rows.append("[[again]]")
            table = ("again", repeated)
            lines |= {table: here, **({} if repeated else {("again",): here})}
            repeated += 1
        rows += draw(st.lists(st.sampled_from(BETWEEN), max_size=2))
    return "\n".join(rows) + draw(st.sampled_from(["", "\n"])), lines


@given(files())
def test_the_lines_are_those_on_which_the_statements_were_put(file: tuple[str, dict[Path, int]]) -> None:
    text, lines = file
    tables = tomllib.loads(text)
    assert key_lines(text) == lines
    for path in lines:
        inner: object = tables
        for part in path:
            inner = inner[part]  # type: ignore[index]
