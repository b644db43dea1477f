"""What the first lines of a text show."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from tapplan.errors import LogError
from tapplan.logs.form import LogForm
from tapplan.logs.head import Layout, layout_of
from tests.logs.reading import written


def layout(folder: Path, content: str, **form: Any) -> Layout:
    return layout_of(str(written(folder, content)), LogForm(**form))


def refused(folder: Path, content: str, **form: Any) -> str:
    with pytest.raises(LogError) as error:
        layout(folder, content, **form)
    return str(error.value).removeprefix(str(folder / "log.csv"))


@pytest.mark.parametrize(
    ("content", "mark", "width", "volts", "first"),
    [
        ("time,voltage\n2020-01-01T00:00:00,230.1\n", ",", 2, 1, 2),
        ("time;voltage\n2020-01-01 00:00:00;230,1\n", ";", 2, 1, 2),
        ("time\tvoltage\n2020-01-01 00:00:00\t230,1\n", "\t", 2, 1, 2),
        ("time|voltage\n2020-01-01 00:00:00|230.1\n", "|", 2, 1, 2),
        ("time voltage\n1602936000   230.1\n", " ", 2, 1, 2),
        ("date time voltage\n2020-01-01 00:00:00 230.1\n", " ", 3, 2, 2),
        ('"time","voltage"\n"2020-01-01 00:00:00","230,1"\n', ",", 2, 1, 2),
        ("2020-01-01T00:00:00,230.1\n2020-01-01T00:00:01,230.1\n", ",", 2, 1, 1),
        ("0,230.1\n1,230.1\n", ",", 2, 1, 1),
        ("230.1 0\n230.1 1\n", " ", 2, 0, 1),
        ("0;230,1\n0,5;230,2\n1;230,1\n1,5;230,3\n", ";", 2, 1, 1),
        ("# logger 7\n\n# made: by a dream\ntime,voltage\n\n2020-01-01T00:00:00,230.1\n", ",", 2, 1, 6),
        ("# time,voltage\n5,230.1\n4,230.1\n", ",", 2, 1, 2),
        ("sep=;\ntime;voltage\n5;230,1\n", ";", 2, 1, 3),
        ("time,voltage,\n5,230.1\n", ",", 2, 1, 2),
        ("time,1,2,voltage\n2020-01-01T00:00:00,5,6,230.1\n", ",", 4, 3, 2),
        ("time,voltage\n,off\n,off\n7,230.1\n", ",", 2, 1, 2),
        ("2020-01-01T00:00:00,off\n2020-01-01T00:00:01,230.1\n", ",", 2, 1, 1),
        ("time,voltage,note\n5,230.1,\n6,230.1,a\n", ",", 3, 1, 2),
    ],
)
def test_layouts(tmp_path: Path, content: str, mark: str, width: int, volts: int, first: int) -> None:
    found = layout(tmp_path, content)
    assert (found.parting.mark, found.parting.width, found.parting.meant.volts) == (mark, width, volts)
    assert found.first == first


def test_lines_that_are_broken_do_not_hide_the_mark(tmp_path: Path) -> None:
    found = layout(tmp_path, "time,voltage\n" + '"5,230\n' * 9 + "6,231\n")
    assert (found.parting.mark, found.first) == (",", 2)


def test_one_column_and_a_step(tmp_path: Path) -> None:
    for content, first in (("voltage\n230.1\n230.2\n", 2), ("230.1\n230.2\n", 1), ("Voltage (V)\n230.1\n230.2\n", 2)):
        found = layout(tmp_path, content, step_us=5)
        assert (found.parting.mark, found.parting.width, found.first, found.seen) == (None, 1, first, ())


def test_what_it_says_of_its_making(tmp_path: Path) -> None:
    assert layout(tmp_path, "# a\n#made: of  wool \ntime,v\n1,230\n").made == "of  wool"
    assert layout(tmp_path, "# not made: of wool\ntime,v\n1,230\n").made is None
    assert layout(tmp_path, "time,v\n# made: later\n1,230\n").made is None


@pytest.mark.parametrize(
    ("cells", "decimal"),
    [(["230", "231"], "."), (["230.1"], "."), (["230,1", "231"], ","), (["off", "230,1 V"], ","), (["1.230,1"], ".")],
)
def test_the_mark_before_decimals(tmp_path: Path, cells: list[str], decimal: str) -> None:
    content = "time;v\n" + "".join(f"{place};{cell}\n" for place, cell in enumerate(cells))
    assert layout(tmp_path, content).decimal == decimal
    assert layout(tmp_path, content, decimal=".").decimal == "."


def test_two_marks_before_decimals_ask(tmp_path: Path) -> None:
    assert refused(tmp_path, "time;v\n1;230,1\n2;230.2\n") == (
        ': found both "230,1" and "230.2"; accepted: --decimal with the mark before decimals'
    )


def test_a_decimal_comma_between_cells_parted_by_commas_asks(tmp_path: Path) -> None:
    assert refused(tmp_path, "time,voltage\n2020-01-01T00:00:00,230,1\n2020-01-01T00:00:01,230,2\n") == (
        ':2: has 3 cells parted by "," where line 1 has 2; '
        "accepted: as many in each line, or --delimiter with another"
    )


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("", ": it is empty; accepted: a heading and rows, or rows"),
        ("\ufeff", ": it is empty; accepted: a heading and rows, or rows"),
        ("\n\n  \n", ": found only comments and blank lines; accepted: a heading and rows, or rows"),
        ("# made: up\n", ": found only comments and blank lines; accepted: a heading and rows, or rows"),
        ("time,voltage\n", ': found only a heading, "time", "voltage"; accepted: rows below it'),
        ('"time,voltage\n1,230\n', ":1: its quotes are not closed; accepted: a heading or a row"),
        (
            "ti\0me,voltage\n",
            ":1: found a NUL, as in UTF-16 without its byte order mark, or a line of over a million ",
        ),
    ],
)
def test_what_is_no_log(tmp_path: Path, content: str, said: str) -> None:
    assert refused(tmp_path, content).startswith(said)


def test_the_first_times_are_seen_and_the_unit_in_their_name(tmp_path: Path) -> None:
    found = layout(tmp_path, "day;hour;t_ms;v\nx;y;1;2\nx;z;2;3\n", time="day+hour")
    assert (found.seen, found.named) == (("x y", "x z"), None)
    assert layout(tmp_path, "day;hour;t_ms;v\nx;y;1;2\nx;z;2;3\n", time="3").named == "ms"


def test_a_wide_file_with_long_lines(tmp_path: Path) -> None:
    names = ["time", "voltage", *(f"n{place}" for place in range(20_000))]
    line = ",".join(["5", "230", *["1.25"] * 20_000])
    assert layout(tmp_path, ",".join(names) + "\n" + f"{line}\n" * 3).parting.width == 20_002
