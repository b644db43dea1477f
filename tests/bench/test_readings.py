"""Readings in words and in sheets: understood, or refused with what is accepted; nothing is lost."""

from __future__ import annotations

import csv
import io
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.answers.sheet import bench_sheet_of
from tapplan.bench.filled import load_plain, load_sheet
from tapplan.bench.isolation import Isolation
from tapplan.bench.meter import Meter
from tapplan.bench.readings import Names, ReadingError, quantity, reading_of
from tapplan.bench.sheet import sheet
from tapplan.bench.values import MOST, NEVER
from tapplan.bench.words import told, value_told
from tapplan.errors import DesignError
from tapplan.pages.documents import sheet_csv, sheet_html, sheet_markdown
from tests.bench.stages import table
from tests.examples import SHIPPED

F = Fraction
FIRST = {path.stem: path for path in SHIPPED}
RIDGE = table(FIRST["ridge-dispensary"])
NAMES = Names.of(RIDGE)


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_every_measurement_is_read_back_as_it_is_written(path: Path) -> None:
    stage = table(path)
    for measure in Isolation(stage).measures:
        value = "yes" if not measure.unit and measure.what != "lamp" else "dark" if not measure.unit else "12.5"
        assert reading_of(f"{told(measure)} = {value}", Names.of(stage)).measure == measure


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("203", "V", F(203)),
        ("203 V", "V", F(203)),
        ("203,5", "V", F(407, 2)),
        ("203.5V", "V", F(407, 2)),
        ("950 mV", "V", F(19, 20)),
        ("1.2 kV", "V", F(1200)),
        ("0,2 ohm", "ohm", F(1, 5)),
        ("4.7 kΩ", "ohm", F(4700)),
        ("1 MΩ", "ohm", F(10**6)),
        ("100 mΩ", "ohm", F(1, 10)),
        ("100 mohm", "ohm", F(1, 10)),
        ("10 MOhm", "ohm", F(10**7)),
        ("10 MOHM", "ohm", F(10**7)),
        ("3 MV", "V", None),
        ("12 ohm", "V", None),
        ("12 V", "ohm", None),
        ("1,234.5", "V", None),
        ("1.234,5", "V", None),
        ("12 A", "V", None),
        ("-3", "V", None),
        ("", "V", None),
        ("12 14", "V", None),
    ],
)
def test_numbers_with_units_and_decimal_commas(text: str, unit: str, value: Fraction | None) -> None:
    assert quantity(text, unit) == value


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("line 203 rising: output = 12 ohm", "a number in V"),
        ("off: ohms KL.com KL.no = 12 V", "a number in ohm"),
        ("line 203 rising: ohms LINE OUT = 3", "volts, drive, lamp, switch there"),
        ("off: output = 230", "ohms, coil-ohms, click there"),
        ("line 203: output = 230", "rising, falling or start"),
        ("line 20300 V rising: output = 230", "volts above 0, at most 1000"),
        ("line 203 ohm rising: output = 230", "volts, such as 203"),
        ("off coils K9: click K9 = yes", 'nearest known: "K'),
        ("off: ohms KL.com KL.com = 0", "two different points"),
        ("off: ohms KL.com Z = 0", "one of"),
        ("low 6 V on LINE LINE: output = 6", "two different points"),
        ("line rising: switch direct buck = 1.2.3", "or never"),
        ("line falling: switch direct buck = 240", "two neighbouring bands"),
        ("line 203 rising: lamp = 12", "bright or dark"),
        ("off: click KL = yes", "off coils KL: click KL"),
        ("off: ohms KL.com KL.no = 1,200", "1200 or 1.200"),
        ("line 203 rising: output", "CONDITION: QUANTITY = VALUE"),
        ("line 203 rising: output =", "a value after ="),
        ("line 203 rising: amperes = 2", "output, volts, ohms"),
        ("mains 203: output = 2", "off, low or line first"),
        ("", "CONDITION: QUANTITY = VALUE"),
        ('off: ohms "KL.com KL.no = 0', "CONDITION: QUANTITY = VALUE"),
    ],
)
def test_what_means_nothing_is_refused_with_what_is_accepted(text: str, says: str) -> None:
    if "K9" in text:
        says = "one of KL, KO"
    with pytest.raises(ReadingError) as refused:
        reading_of(text, NAMES)
    assert says in str(refused.value)


def test_words_for_open_never_and_unknown() -> None:
    assert reading_of("off: ohms KL.com KL.no = OL", NAMES).value == MOST
    assert reading_of('line rising: switch "boost 2" "boost 1" = never', NAMES).value == NEVER
    assert reading_of("line 203 rising: output = unknown", NAMES).value is None
    assert value_told(reading_of("off: coil-ohms KL = open", NAMES).measure, MOST) == "open"


@given(st.text(max_size=60))
def test_any_text_is_understood_or_refused(text: str) -> None:
    try:
        reading_of(text, NAMES)
    except ReadingError as error:
        assert "accepted" in str(error)


def filled(values: dict[int, str], mark: str = ",") -> str:
    """The sheet of the ridge dispensary with some cells filled."""
    rows = list(csv.reader(io.StringIO(sheet_csv(bench_sheet_of(sheet(RIDGE, Meter()))))))
    made = io.StringIO()
    writer = csv.writer(made, delimiter=mark, lineterminator="\n")
    place = rows[1].index("reading")
    for row in rows:
        if row[0].isdigit() and int(row[0]) in values:
            row[place] = values[int(row[0])]
        writer.writerow(row)
    return made.getvalue()


@pytest.mark.parametrize("mark", [",", ";"])
def test_a_filled_sheet_is_read_missing_cells_left_out(mark: str, tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({3: "0,3", 22: "3,83 V", 21: "dark", 2: "unknown"}, mark))
    found = load_sheet(str(file), RIDGE)
    assert [one.reading.value for one in found.readings] == [None, F(3, 10), F(0), F(383, 100)]
    assert found.empty > 40


def test_a_sheet_of_another_revision_is_refused_unless_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({3: "0.3"}).replace("fingerprint,", "fingerprint,0", 1))
    with pytest.raises(DesignError, match="another revision"):
        load_sheet(str(file), RIDGE)
    assert len(load_sheet(str(file), RIDGE, any_revision=True).readings) == 1


def test_every_bad_cell_is_told_with_its_line(tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({3: "3 V", 22: "bright", 4: "0.1"}))
    with pytest.raises(DesignError) as refused:
        load_sheet(str(file), RIDGE)
    assert [problem.line for problem in refused.value.problems] == [5, 24]


def test_a_file_that_is_not_there_is_called_what_it_should_be(tmp_path: Path) -> None:
    missing = str(tmp_path / "none.csv")
    with pytest.raises(DesignError, match="found no such file; accepted: a sheet that `tapplan bench` wrote"):
        load_sheet(missing, RIDGE)
    with pytest.raises(DesignError, match="found no such file; accepted: a file of readings"):
        load_plain(missing, NAMES)


def test_columns_must_be_there(tmp_path: Path) -> None:
    for text in ("", "a,b\n1,2\n", "fingerprint,x\n"):
        file = tmp_path / "sheet.csv"
        file.write_text(text)
        with pytest.raises(DesignError):
            load_sheet(str(file), RIDGE)


def test_a_healthy_stage_passes_its_own_sheet() -> None:
    """Every line's middle is a reading that a healthy stage explains."""
    for path in SHIPPED:
        stage = table(path)
        isolation = Isolation(stage)
        made = sheet(stage, Meter())
        assert [line.step for part in made.parts for line in part.lines] == list(
            range(1, 1 + sum(len(part.lines) for part in made.parts))
        )
        assert set(isolation.measures) == {line.measure for part in made.parts for line in part.lines}


@pytest.mark.parametrize("name", ["a\"b'c", "lug", "lug P", "KL.no", "x:=y", "a b", "off", "#1", "\\", "=1+1"])
def test_any_name_goes_out_and_comes_back(name: str, tmp_path: Path) -> None:
    """A tap, a relay and a band of this name: every line of the sheet filled, and all of them read."""
    from tapplan.control.table import control_table
    from tests.examples import design

    made = design(
        (("a", "N", name, 200), ("b", name, "T", 30)),
        {name: ("OUT", name, "T")},
        terminals=("LINE2", "N", "OUT"),
        bands=[(name, [name], 180, 230), ("low", [], 220, 270)],
    )
    made = replace(made, terminals=replace(made.terminals, line=name), title=f"a;b;c;d;{name}")
    stage = control_table(made)
    rows = list(csv.reader(io.StringIO(sheet_csv(bench_sheet_of(sheet(stage, Meter()))))))
    for mark in (",", ";"):
        target = io.StringIO()
        writer = csv.writer(target, delimiter=mark, lineterminator="\n")
        for row in rows:
            if row[0].isdigit():
                row[rows[1].index("reading")] = "unknown"
            writer.writerow(row)
        (tmp_path / "s.csv").write_text(target.getvalue())
        found = load_sheet(str(tmp_path / "s.csv"), stage)
        assert len(found.readings) == len(rows) - 2
        assert {one.reading.measure for one in found.readings} == set(Isolation(stage).measures)


def test_hostile_names_stay_text() -> None:
    evil = replace(RIDGE.design, title="=HYPERLINK(1) <script>alert(1)</script> | a")
    made = sheet(replace(RIDGE, design=evil), Meter())
    assert "<script>" not in sheet_html(bench_sheet_of(made))
    assert "\\<script\\>" in sheet_markdown(bench_sheet_of(made))
    assert next(csv.reader(io.StringIO(sheet_csv(bench_sheet_of(made)))))[3].startswith("'=")
