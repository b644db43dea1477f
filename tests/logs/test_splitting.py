"""Lines to cells, against the csv module where that has the last word, and the same however the lines are cut."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.logs.choice import ColumnsMeant
from tapplan.logs.lines import Lines
from tapplan.logs.splitting import MOST_JOINED, Parting, TextRows, cells_of, split


def cut(lines: list[str], sizes: Iterable[int]) -> list[Lines]:
    blocks, place = [], 0
    for size in sizes:
        if lines[place : place + size]:
            blocks.append(Lines(place + 1, "\n".join(lines[place : place + size]), 0))
            place += size
    return [*blocks, Lines(place + 1, "\n".join(lines[place:]), 0)] if lines[place:] else blocks


def every(lines: list[str], parting: Parting, sizes: Iterable[int] = (), first: int = 1) -> TextRows:
    """All rows as one."""
    rows: list[int] = []
    times: list[str] = []
    volts: list[str] = []
    broken: dict[int, str] = {}
    for part in split(cut(lines, sizes), parting, first):
        broken |= {place + len(rows): line for place, line in part.broken.items()}
        rows, times, volts = [*rows, *part.rows], times + part.times, volts + part.volts
    return TextRows(rows, times, volts, broken)


def parting(mark: str | None = ",", width: int = 2, times: tuple[int, ...] = (0,), volts: int = 1) -> Parting:
    return Parting(mark, width, ColumnsMeant(times, volts))


@pytest.mark.parametrize(
    ("line", "mark", "cells"),
    [
        ("a,b,,", ",", ["a", "b", "", ""]),
        ("a;b,c", ";", ["a", "b,c"]),
        ('"a,""b""",c', ",", ['a,"b"', "c"]),
        ('a, "b"', ",", ["a", "b"]),
        ('a,5" pipe', ",", ["a", '5" pipe']),
        ('"a', ",", None),
        ('"a"b,c', ",", None),
        ("  a \t b  ", " ", ["a", "b"]),
        ("a b,c", None, ["a b,c"]),
        (' "230,1" ', None, ["230,1"]),
    ],
)
def test_one_line(line: str, mark: str | None, cells: list[str] | None) -> None:
    assert cells_of(line, mark) == cells


def test_plain_lines() -> None:
    found = every(["t1,1", "t2,2", "t3,3"], parting())
    assert (list(found.rows), found.times, found.volts, found.broken) == (
        [1, 2, 3],
        ["t1", "t2", "t3"],
        ["1", "2", "3"],
        {},
    )


def test_rows_before_the_first_are_passed_over() -> None:
    for sizes in ((), (1, 1, 1), (2, 2)):
        assert list(every(["# x", "t,v", "t1,1", "t2,2"], parting(), sizes, first=3).rows) == [3, 4]


def test_blank_lines_are_no_rows_and_keep_their_number() -> None:
    found = every(["t1,1", "", "   ", "t2,2"], parting())
    assert (list(found.rows), found.broken) == ([1, 4], {})


@pytest.mark.parametrize("line", ["t2", "t2,2,3", '"t2,2', "t2,2\0", '"t2"x,2', ",".join(["t2", "2", "", "x"])])
def test_a_line_that_is_no_row_is_broken_and_spoils_no_other(line: str) -> None:
    found = every(["t1,1", line, "t3,3"], parting())
    assert (list(found.rows), found.broken) == ([1, 2, 3], {1: line})
    assert (found.times, found.volts) == (["t1", "", "t3"], ["1", "", "3"])


def test_one_more_cell_and_one_less_do_not_make_up_for_each_other() -> None:
    lines = ["t1,1", "t2,2,x", "t3", "t4,4"]
    assert set(every(lines, parting()).broken) == {1, 2}


def test_empty_cells_at_the_end_do_no_harm() -> None:
    assert every(["t1,1,", "t2,2,"], parting()).broken == {}
    assert every(["t1,1,", "t2,2,, ", "t3,3"], parting()).broken == {}


def test_a_quoted_cell_can_hold_marks_and_line_ends() -> None:
    lines = ['"t1","1","a,b"', '"t2","2","two', "lines, even", 'three"', '"t3","3",""']
    for sizes in ((), (1, 1, 1, 1, 1), (2, 2, 1), (3, 2)):
        found = every(lines, parting(width=3), sizes)
        assert (list(found.rows), found.times, found.volts) == ([1, 2, 5], ["t1", "t2", "t3"], ["1", "2", "3"])
        assert found.broken == {}


def test_a_stray_quote_spoils_its_own_line_alone() -> None:
    lines = ["t1,1", '"t2,2', *[f"t{number},1" for number in range(3, 300)]]
    for sizes in ((), (2,), (1, 1, 1), (5, 5, 5, 200)):
        found = every(lines, parting(), sizes)
        assert found.broken == {1: '"t2,2'}
        assert list(found.rows) == list(range(1, 300))
    assert MOST_JOINED < 300


def test_two_stray_quotes_do_not_hide_what_lies_between() -> None:
    found = every(['"t1,1', "t2,2", 't3,3"', "t4,4"], parting())
    assert set(found.broken) == {0}
    assert found.volts[1:] == ["2", '3"', "4"]


def test_a_cell_that_is_too_long_for_the_csv_module_is_a_broken_row() -> None:
    long = '"' + "x" * 200_000 + '"'
    assert set(every(["t1,1", f"{long},2", "t3,3"], parting()).broken) == {1}


def test_times_in_two_columns_are_joined() -> None:
    rows = ["16/12/2006;17:24:00;234.8", "16/12/2006;17:25:00;233.6"]
    for lines in (rows, [*rows, ""], [f'"{row}"'.replace(";", '";"') for row in rows]):
        found = every(lines, parting(";", 3, (0, 1), 2))
        assert found.times == ["16/12/2006 17:24:00", "16/12/2006 17:25:00"]


def test_a_log_with_a_step_has_no_times() -> None:
    assert every(["1", "2", "3"], parting(None, 1, (), 0)).volts == ["1", "2", "3"]
    assert every(["1", "", '"2"'], parting(None, 1, (), 0)).volts == ["1", "2"]


def test_any_run_of_blanks_parts() -> None:
    for lines in (["t1  1", " t2\t 2 ", "t3 3"], ["t1  1", "", " t2\t 2 ", "t3 3"]):
        found = every(lines, parting(" "))
        assert (found.times, found.volts, found.broken) == (["t1", "t2", "t3"], ["1", "2", "3"], {})


cells = st.text("ab1, ;\"\n'|", max_size=5)


@given(
    st.integers(2, 4).flatmap(
        lambda width: st.lists(st.lists(cells, min_size=width, max_size=width), min_size=1, max_size=12)
    ),
    st.sampled_from(",;|\t"),
    st.sampled_from([csv.QUOTE_ALL, csv.QUOTE_MINIMAL, csv.QUOTE_NONNUMERIC]),
    st.lists(st.integers(1, 5), max_size=12),
)
def test_what_the_csv_module_writes_is_read_as_it_reads_it(
    rows: list[list[str]], mark: str, quoting: int, sizes: list[int]
) -> None:
    file = io.StringIO()
    csv.writer(file, delimiter=mark, quoting=quoting, lineterminator="\n").writerows(rows)  # type: ignore[arg-type]
    lines = file.getvalue().removesuffix("\n").split("\n")
    meant = list(csv.reader(io.StringIO(file.getvalue()), delimiter=mark, skipinitialspace=True))
    found = every(lines, parting(mark, len(rows[0])), sizes)
    assert found.broken == {}
    plain = [[row[0].strip(), row[1].strip()] for row in meant]
    assert [[one.strip(), other.strip()] for one, other in zip(found.times, found.volts, strict=True)] == plain


@given(st.lists(st.text('a1,"\0 ', max_size=7), max_size=30), st.lists(st.integers(1, 6), max_size=30))
def test_whatever_the_lines_are_it_does_not_matter_how_they_are_cut(lines: list[str], sizes: list[int]) -> None:
    whole, parts = every(lines, parting()), every(lines, parting(), sizes)
    assert (list(whole.rows), whole.times, whole.volts, whole.broken) == (
        parts.rows,
        parts.times,
        parts.volts,
        parts.broken,
    )
    assert every(lines, parting(), [1] * len(lines)) == parts


ODD = ["", " ", "t", "t,1,", "t,1,2", '"t",1', '"t,1', 't,"1', '"t', '",1', "t\0,1"]


@given(
    st.lists(st.tuples(st.integers(0, 14), st.sampled_from(ODD)), max_size=6),
    st.lists(st.integers(1, 30), max_size=12),
)
def test_odd_lines_between_many_plain_ones(runs: list[tuple[int, str]], sizes: list[int]) -> None:
    lines = [line for run, odd in runs for line in [*["t,1"] * run, odd]]
    one_by_one = every(lines, parting(), [1] * len(lines))
    for whole in (every(lines, parting()), every(lines, parting(), sizes)):
        assert (list(whole.rows), whole.times, whole.volts) == (one_by_one.rows, one_by_one.times, one_by_one.volts)
        assert whole.broken == one_by_one.broken
