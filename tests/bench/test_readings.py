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
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.meter import Meter
from tapplan.bench.phrase import Names, ReadingError
from tapplan.bench.quantities import quantity
from tapplan.bench.readings import reading_of
from tapplan.bench.sheet import sheet
from tapplan.bench.values import MOST, NEVER, SOMETIMES, exactly
from tapplan.bench.words import asked, readings_told, told, value_told
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
        ("2,319 V", "V", F(2319, 1000)),
        ("1,451", "ohm", F(1451, 1000)),
        (",5", "V", F(1, 2)),
        (".5 V", "V", F(1, 2)),
        ("203V", "V", F(203)),
        ("3 V AC", "V", F(3)),
        ("12 VAC", "V", F(12)),
        ("11.9 VDC", "V", F(119, 10)),
        ("230 Vrms", "V", F(230)),
        ("230 mV rms", "V", F(23, 100)),
        ("3V3", "V", F(33, 10)),
        ("3 AC", "V", None),
        ("12 ohm AC", "ohm", None),
        ("1k2", "ohm", F(1200)),
        ("4k7", "ohm", F(4700)),
        ("4k7Ω", "ohm", F(4700)),
        ("0R2", "ohm", F(1, 5)),
        ("4R7", "ohm", F(47, 10)),
        ("10R", "ohm", F(10)),
        ("1M5", "ohm", F(1500000)),
        ("2M", "ohm", F(2 * 10**6)),
        ("2 m", "ohm", None),
        ("k47", "ohm", None),
        ("4k7", "V", None),
        ("12 mA", "A", F(12, 1000)),
        ("0,012", "A", F(12, 1000)),
        ("350 uA", "A", F(35, 10**5)),
        ("350 \u00b5A", "A", F(35, 10**5)),
        ("350 \u03bcA", "A", F(35, 10**5)),
        ("1.2 A AC", "A", F(6, 5)),
        ("2 MA", "A", None),
        ("1e9999999999999999999999", "V", None),
        ("1,234.5", "V", None),
        ("1,234,567", "V", None),
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
        ("line 203 rising: ohms LINE OUT = 3", "volts, drive, chatter, lamp, switch, rail, ripple, battery there"),
        ("off: output = 230", "ohms, coil-ohms, part-ohms, click, battery there"),
        ("line: output = 230", "rising, falling or start"),
        ("line 203 V slowly: output = 230", "rising, falling or start"),
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
        ("off: ohms KL.com KL.no = 1,234.5", "a comma or a point is the decimal sign, thousands take no mark"),
        ("off: ohms KL.com KL.no = 1,234,567", "a comma or a point is the decimal sign, thousands take no mark"),
        ("line 1,234.5 V rising: output = 3", "a comma or a point is the decimal sign, thousands take no mark"),
        ("off: ohms KL.com KL.no = k47", "a number in ohm"),
        ("off: coil-ohms KL = no beep", "a buzzer does not tell it"),
        ("line 203: output = beep", "a buzzer does not tell it"),
        ("low 3 V through 0 ohm on LINE NEUTRAL: lamp = dark", "ohms above 0, at most 10000"),
        ("low 3 V through 20 kohm on LINE NEUTRAL: lamp = dark", "ohms above 0, at most 10000"),
        ("low 3 V through 10 V on LINE NEUTRAL: lamp = dark", "ohms above 0, at most 10000"),
        ("off: part-ohms fuze = 0", 'nearest known: "fuse"'),
        ("battery: lamp = dark", "volts, drive, rail, battery there"),
        ("battery coils KL: rail = 12", 'where ":" should stand'),
        ("off: current = 1", "ohms, coil-ohms, part-ohms, click, battery there"),
        ("low 3 V on LINE NEUTRAL: current = 3 V", "a number in A"),
        ("line 203 rising: output", "CONDITION: QUANTITY = VALUE"),
        ("line 203 rising: output =", "a value after ="),
        ("line 203 rising: amperes = 2", "output, volts, ohms"),
        ("street 203: output = 2", "off, low, battery or line first"),
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


@pytest.mark.parametrize(
    "text", ["x" * 50_000, "line 230 start: lamp = " + "b" * 50_000, "off: ohms " + "K" * 50_000]
)
def test_a_message_repeats_no_more_of_a_reading_than_a_person_reads(text: str) -> None:
    with pytest.raises(ReadingError) as refused:
        reading_of(text, NAMES)
    assert "..." in str(refused.value)
    assert len(str(refused.value)) < 1500


OFF, START = Condition("off", frozenset()), Condition("line", None, None, F(190), "start")
RISING = Condition("line", None, None, F(203), "rising")
FED = Condition("low", frozenset({"KL"}), ("LINE", "NEUTRAL"), F(3))
OUTPUT = ("OUT", "NEUTRAL")


@pytest.mark.parametrize(
    ("text", "measure", "value"),
    [
        ("battery: output = 231", Measure(Condition("battery"), "volts", OUTPUT), F(231)),
        ("battery: drive KL = no", Measure(Condition("battery"), "drive", ("KL",)), F(0)),
        ("battery: rail = 12.1 VDC", Measure(Condition("battery"), "rail"), F(121, 10)),
        ("off: battery = 25.4", Measure(OFF, "battery"), F(127, 5)),
        ("line 203 V rising: battery = 27.3", Measure(RISING, "battery"), F(273, 10)),
        ("line 203 V rising: rail = 11.8", Measure(RISING, "rail"), F(59, 5)),
        ("line 203 V rising: ripple = 0.3", Measure(RISING, "ripple"), F(3, 10)),
        ("line 203 V rising: chatter KL = yes", Measure(RISING, "chatter", ("KL",)), F(1)),
        ("off: part-ohms fuse = 0R2", Measure(OFF, "part-ohms", ("fuse",)), F(1, 5)),
        ("off: part-ohms cut-out = OL", Measure(OFF, "part-ohms", ("cut-out",)), MOST),
        ("low 3 V on LINE NEUTRAL coil KL: current = 12 mA", Measure(FED, "current"), F(12, 1000)),
        (
            "low 3 V through 10 ohm on LINE NEUTRAL coils KL: lamp = dark",
            Measure(replace(FED, ohm=F(10)), "lamp"),
            F(0),
        ),
        ("low 3V through 10R on LINE NEUTRAL coils KL: lamp = dark", Measure(replace(FED, ohm=F(10)), "lamp"), F(0)),
        ("low 3 V AC through 22 Ω on LINE and NEUTRAL coils KL: lamp = y", Measure(FED, "lamp"), F(1)),
    ],
)
def test_every_quantity_and_condition_is_understood_and_written_back(
    text: str, measure: Measure, value: Fraction
) -> None:
    found = reading_of(text, NAMES)
    assert (found.measure, found.value) == (measure, value)
    again = reading_of(f"{told(measure)} = {value_told(measure, value)}", NAMES)
    assert (again.measure, again.value) == (measure, value)
    assert asked(measure)


@pytest.mark.parametrize(
    ("text", "condition", "value"),
    [
        ("line 190 V: output = 3", START, F(3)),
        ("at 190 V: output = 3", START, F(3)),
        ("mains 190 start: output = 3", START, F(3)),
        ("l 203V rising: output = 230V", RISING, F(230)),
        ('line "203 V" rising: output = "230 V"', RISING, F(230)),
        ("line 190,5 V rising: output = 3", replace(RISING, volts=F(381, 2)), F(3)),
        ("line 203 VAC rising: output = 230 V AC", RISING, F(230)),
        ("off coil KL: click KL = yes", Condition("off", frozenset({"KL"})), F(1)),
        ("off coils KL, KO: click KL = yes", Condition("off", frozenset({"KL", "KO"})), F(1)),
        ("off coils KL,KO: click KL = yes", Condition("off", frozenset({"KL", "KO"})), F(1)),
        ("off coils KL and KO: click KL = yes", Condition("off", frozenset({"KL", "KO"})), F(1)),
        ("off coils KL KO: click KL = yes", Condition("off", frozenset({"KL", "KO"})), F(1)),
        ("off: ohms KL.com KL.no = beep", OFF, F(0)),
        ("off: ohms KL.com KL.no = no beep", OFF, MOST),
        ("off: ohms KL.com KL.no = 0L", OFF, MOST),
        ("off: ohms KL.com KL.no = o.l", OFF, MOST),
        ("off: ohms KL.com and KL.no = 1,451", OFF, F(1451, 1000)),
    ],
)
def test_readings_as_people_write_them(text: str, condition: Condition, value: Fraction) -> None:
    found = reading_of(text, NAMES)
    assert (found.measure.condition, found.value) == (condition, value)


@pytest.mark.parametrize("word", ["sometimes", "intermittent", "Jumps"])
@pytest.mark.parametrize(
    "measured",
    ["off: ohms KL.com KL.no", "off coils KL: click KL", "line 203 rising: output", "line 203 rising: lamp"],
)
def test_what_is_now_so_and_now_otherwise(word: str, measured: str) -> None:
    found = reading_of(f"{measured} = {word}", NAMES)
    assert found.value == SOMETIMES
    assert value_told(found.measure, SOMETIMES) == "sometimes"
    often = (*exactly(SOMETIMES), *exactly(F(0)))
    assert readings_told(found.measure, often).endswith(" or sometimes")


def test_words_for_open_never_and_unknown() -> None:
    assert reading_of("off: ohms KL.com KL.no = OL", NAMES).value == MOST
    assert reading_of('line rising: switch "boost 2" "boost 1" = never', NAMES).value == NEVER
    assert reading_of("line 203 rising: output = unknown", NAMES).value is None
    assert value_told(reading_of("off: coil-ohms KL = open", NAMES).measure, MOST) == "open"


PIECES = (
    "off low line l at battery coils coil KL KO , and + : = \" ' 3 V 3V 1,5 1k2 through ohm on LINE NEUTRAL rising "
)
PIECES += "start ohms volts output current lug KL.no no beep OL sometimes 1e99 \u03a9 AC rms ; switch direct none"


@given(st.text(max_size=60) | st.lists(st.sampled_from(PIECES.split()), max_size=14).map(" ".join))
def test_any_text_is_understood_or_refused(text: str) -> None:
    try:
        reading_of(text, NAMES)
    except ReadingError as error:
        assert "accepted" in str(error)


def filled(values: dict[str, str], mark: str = ",") -> str:
    """The sheet of the ridge dispensary, filled where a quantity is asked for the first time."""
    rows = list(csv.reader(io.StringIO(sheet_csv(bench_sheet_of(sheet(RIDGE, Meter()))))))
    made = io.StringIO()
    writer = csv.writer(made, delimiter=mark, lineterminator="\n")
    place, what, left = rows[1].index("reading"), rows[1].index("measure"), dict(values)
    for row in rows:
        if row[0].isdigit():
            row[place] = left.pop(row[what].split()[0], "")
        writer.writerow(row)
    return made.getvalue()


def lines_of(file: Path, *values: str) -> list[int]:
    """The lines of a sheet in which these readings stand."""
    cells = list(csv.reader(file.read_text().splitlines(), delimiter=";" if ";" in file.read_text()[:20] else ","))
    return [number for number, row in enumerate(cells, 1) if set(row) & set(values)]


@pytest.mark.parametrize("mark", [",", ";"])
def test_a_filled_sheet_is_read_missing_cells_left_out(mark: str, tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({"ohms": "0,3", "volts": "3,83 V", "lamp": "dark", "click": "unknown"}, mark))
    found = load_sheet(str(file), RIDGE)
    values = {one.reading.measure.what: one.reading.value for one in found.readings}
    assert values == {"click": None, "ohms": F(3, 10), "lamp": F(0), "volts": F(383, 100)}
    assert found.empty > 40


def test_a_sheet_of_another_revision_is_refused_unless_asked_for(tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({"ohms": "0.3"}).replace("fingerprint,", "fingerprint,0", 1))
    with pytest.raises(DesignError, match="another revision"):
        load_sheet(str(file), RIDGE)
    assert len(load_sheet(str(file), RIDGE, any_revision=True).readings) == 1


@pytest.mark.parametrize("mark", [",", ";"])
def test_every_bad_cell_is_told_with_its_line_and_the_others_are_kept(mark: str, tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({"ohms": "3 V", "volts": "bright", "coil-ohms": "0,1"}, mark))
    found = load_sheet(str(file), RIDGE)
    assert [problem.line for problem in found.refused] == lines_of(file, "3 V", "bright")
    assert "a number in ohm" in found.refused[0].accepted
    assert [one.line for one in found.readings] == lines_of(file, "0,1")
    assert [one.reading.value for one in found.readings] == [F(1, 10)]


def test_a_sheet_of_which_nothing_is_understood_is_refused(tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({"ohms": "3 V", "volts": "bright"}))
    with pytest.raises(DesignError) as refused:
        load_sheet(str(file), RIDGE)
    assert [problem.line for problem in refused.value.problems] == lines_of(file, "3 V", "bright")


def test_a_number_cut_at_its_comma_is_told_and_not_read_short(tmp_path: Path) -> None:
    file = tmp_path / "sheet.csv"
    file.write_text(filled({"ohms": "7373,3", "coil-ohms": "0.2"}).replace('"7373,3"', "7373,3"))
    found = load_sheet(str(file), RIDGE)
    assert [problem.line for problem in found.refused] == lines_of(file, "7373")
    assert "cut at its comma" in found.refused[0].found
    assert [one.reading.value for one in found.readings] == [F(1, 5)]


def test_a_list_to_find_a_wiring_from_is_taken_whole_or_not_at_all(tmp_path: Path) -> None:
    file, names = tmp_path / "board.csv", Names(None, None, (), ("O", "N"))
    file.write_text("condition;measure;reading\noff;ohms A B;0,2\noff;ohms B C;1k2\n")
    assert [one.reading.value for one in load_plain(str(file), names).readings] == [F(1, 5), F(1200)]
    file.write_text("condition,measure,reading\noff,ohms A B,sometimes\noff,ohms A C,0.1\noff,ohms B C,3 V\n")
    with pytest.raises(DesignError) as refused:
        load_plain(str(file), names)
    assert [problem.line for problem in refused.value.problems] == [2, 4]


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
        assert {line.measure for part in made.parts for line in part.lines} <= set(isolation.measures)


@pytest.mark.parametrize(
    "name",
    ["a\"b'c", "lug", "LUG", "and", "coils", "a,b", "lug P", "KL.no", "x:=y", "a b", "off", "#1", "\\", "=1+1"],
)
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
        assert {one.reading.measure for one in found.readings} <= set(Isolation(stage).measures)


def test_hostile_names_stay_text() -> None:
    evil = replace(RIDGE.design, title="=HYPERLINK(1) <script>alert(1)</script> | a")
    made = sheet(replace(RIDGE, design=evil), Meter())
    assert "<script>" not in sheet_html(bench_sheet_of(made))
    assert "\\<script\\>" in sheet_markdown(bench_sheet_of(made))
    assert next(csv.reader(io.StringIO(sheet_csv(bench_sheet_of(made)))))[3].startswith("'=")


def test_volts_where_a_switch_point_has_none_and_the_other_way_round() -> None:
    for text, found, accepted in (
        ("line 203 V rising: switch direct buck = 240", "a switch point at fixed volts", "line rising: switch BAND"),
        ("line rising: output = 231", "line without volts", "line VOLTS rising, falling or start"),
    ):
        with pytest.raises(ReadingError) as refused:
            reading_of(text, NAMES)
        assert refused.value.found == found
        assert refused.value.accepted.startswith(accepted)


def test_a_sheet_whose_title_was_cut_off_is_still_of_its_design(tmp_path: Path) -> None:
    first, rest = filled({"ohms": "0.3"}).split("\n", 1)
    file = tmp_path / "sheet.csv"
    file.write_text(",".join(first.split(",")[:2]) + "\n" + rest)
    assert len(load_sheet(str(file), RIDGE).readings) == 1
