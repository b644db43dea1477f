"""The curve and the bars: every name readable, on nothing else and inside, for two bands or thirteen."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

import tapplan
from tapplan.answers.findings import finding_rows
from tapplan.answers.table import truth_table
from tapplan.checks.review import review
from tapplan.checks.rules import findings_in
from tapplan.control.table import ControlTable, control_table
from tapplan.exact import Span
from tapplan.pictures.curve import bandbars, curve, curves, scale_of, ticks
from tapplan.pictures.curveform import DESK, PHONE, CurveForm
from tapplan.pictures.faultmarks import Mark, fault_marks
from tapplan.pictures.labels import Ground, Patch, Stroke
from tapplan.pictures.letters import letters
from tapplan.pictures.naming import Named, named
from tapplan.pictures.style import svg
from tests.bench.stages import table
from tests.examples import SHIPPED, long_chain, many_bands, narrow_chain
from tests.pictures.texts import Page, measured

F = Fraction
SVG = "{http://www.w3.org/2000/svg}"
FORMS = pytest.mark.parametrize("form", [DESK, PHONE], ids=["desk", "phone"])
LONG_NAME = "as long a name of a band as nobody ever gave one"


@dataclass(frozen=True)
class Case:
    """A table and what is marked on its curve."""

    table: ControlTable
    gaps: tuple[Span, ...] = ()
    marks: tuple[Mark, ...] = ()
    older: ControlTable | None = None

    @property
    def drawn(self) -> str:
        return self.drawn_in(DESK)

    @property
    def barred(self) -> str:
        return self.barred_in(DESK)

    def drawn_in(self, form: CurveForm) -> str:
        if self.older is not None:
            return svg(curves(self.table, self.gaps, self.older, form), "curve")
        return svg(curve(self.table, self.gaps, self.marks, form), "curve")

    def barred_in(self, form: CurveForm) -> str:
        return svg(bandbars(self.table, self.gaps, form), "bands")


def shipped(path: Path) -> Case:
    reviewed = review(table(path).design)
    marks = fault_marks(finding_rows(findings_in(reviewed)))
    return Case(reviewed.table, tuple(truth_table(reviewed).gap_spans), tuple(marks))


def bands(count: int) -> ControlTable:
    """The first so many bands of the chain of thirteen."""
    made = control_table(long_chain())
    return replace(made, rows=made.rows[:count])


def crowded(count: int) -> Case:
    """Marks as dense as a bad design may have them, and one far beyond the picture."""
    made = control_table(narrow_chain())
    marks = [Mark(F(200 + 9 * place % 70), F(222 + 5 * place % 16), "out-of-window") for place in range(count)]
    return Case(
        made, (Span(F(210), F(211)), Span(F(212), F(213))), (*marks, Mark(F(260), F(900), "race-overvoltage"))
    )


def named_long(made: ControlTable) -> Case:
    return Case(replace(made, rows=tuple(replace(one, name=f"{LONG_NAME}, {one.name}") for one in made.rows)))


CASES: dict[str, Callable[[], Case]] = {
    **{path.stem: (lambda path=path: shipped(path)) for path in SHIPPED},  # type: ignore[misc]
    **{f"{count} bands": (lambda count=count: Case(bands(count))) for count in range(2, 14)},  # type: ignore[misc]
    "narrow chain": lambda: Case(control_table(narrow_chain())),
    "many bands": lambda: Case(control_table(many_bands())),
    "long names": lambda: named_long(control_table(long_chain())),
    "few long names": lambda: named_long(table(SHIPPED[1])),
    "wide letters": lambda: Case(
        replace(bands(3), rows=tuple(replace(one, name="W\u00fcnsche \u6c34\u529b") for one in bands(3).rows))
    ),
    "one mark": lambda: crowded(1),
    "some marks": lambda: crowded(9),
    "many marks": lambda: crowded(40),
    "a mark at the edge": lambda: Case(bands(4), (), (Mark(scale_of(bands(4)).inputs.low, F(230), "out-of-window"),)),
    "two revisions": lambda: Case(table(SHIPPED[0]), (), (), table(SHIPPED[3])),
}
NAMES = tuple(CASES)


@pytest.fixture(scope="module")
def cases() -> dict[str, Case]:
    return {name: made() for name, made in CASES.items()}


@dataclass(frozen=True)
class Drawn:
    """Curve and bars as the browser sets them, in one form."""

    curve: Page
    bars: Page


Pages = dict[str, dict[str, Drawn]]  # by case, then by the form's prefix


@pytest.fixture(scope="module")
def pages(cases: dict[str, Case], tmp_path_factory: pytest.TempPathFactory) -> Pages:
    """Curve and bars of each case in each form; the prefix is off, for what measures knows bands by their ids."""
    wanted = [(name, form) for name in cases for form in (DESK, PHONE)]
    made = [text for name, form in wanted for text in (cases[name].drawn_in(form), cases[name].barred_in(form))]
    found = measured([one.replace('id="narrow-', 'id="') for one in made], tmp_path_factory.mktemp("curves"))
    laid: Pages = {name: {} for name in cases}
    for place, (name, form) in enumerate(wanted):
        laid[name][form.prefix] = Drawn(found[2 * place], found[2 * place + 1])
    return laid


def parsed(text: str) -> ElementTree.Element:
    return ElementTree.fromstring(text)  # noqa: S314 - our own text


def numbers(line: ElementTree.Element) -> list[float]:
    return [float(one) for one in re.findall(r"-?[\d.]+", str(line.get("d")))]


def lines(root: ElementTree.Element, *classes: str) -> Iterator[list[float]]:
    return (numbers(one) for one in root.iter(f"{SVG}path") if one.get("class") in classes)


@FORMS
@pytest.mark.parametrize("name", NAMES)
def test_no_text_lies_on_another_or_outside(name: str, form: CurveForm, pages: Pages) -> None:
    drawn = pages[name][form.prefix]
    for page in (drawn.curve, drawn.bars):
        assert page.width == form.width
        assert page.texts
        assert page.overlapping == []
        assert page.outside == []


@FORMS
@pytest.mark.parametrize("name", [name for name in NAMES if name != "two revisions"])
def test_no_name_lies_on_a_line_of_the_curve(
    name: str, form: CurveForm, cases: dict[str, Case], pages: Pages
) -> None:
    """Points along each band, step, limit and leader: none inside a band's name."""
    case, page = cases[name], pages[name][form.prefix].curve
    told = {row.name for row in case.table.rows} | {str(number + 1) for number in range(len(case.table.rows))}
    names = [one for one in page.texts if one.text in told and one.top < form.base]
    assert names
    for x1, y1, x2, y2 in lines(parsed(case.drawn_in(form)), "band", "reach", "step", "limit", "leader"):
        for part in range(101):
            x, y = x1 + (x2 - x1) * part / 100, y1 + (y2 - y1) * part / 100
            assert not [one.text for one in names if one.holds(x, y)]


@pytest.mark.parametrize("name", NAMES)
def test_no_upright_line_runs_through_the_name_of_a_narrow_bar(
    name: str, cases: dict[str, Case], pages: Pages
) -> None:
    names = [one for one in pages[name]["narrow-"].bars.texts if ": " in one.text or LONG_NAME[:20] in one.text]
    assert len(names) == len(cases[name].table.rows)
    root = parsed(cases[name].barred_in(PHONE))
    upright = list(lines(root, "grid", "limit"))
    upright += [
        [x, y, x, y + high]
        for gap in root.iter(f"{SVG}rect")
        if gap.get("class") == "gap"
        for x, y, high in [[float(str(gap.get(one))) for one in ("x", "y", "height")]]
    ]
    assert len(upright) >= 4 * len(names)
    for x, top, _, bottom in upright:
        assert not [one.text for one in names if one.left < x < one.right and one.top < bottom and top < one.bottom]


@FORMS
@pytest.mark.parametrize("name", NAMES)
def test_every_band_is_named_once_at_its_line_or_in_the_list(
    name: str, form: CurveForm, cases: dict[str, Case]
) -> None:
    """A phone has one line in place of a long list."""
    case = cases[name]
    root = parsed(case.drawn_in(form))
    groups = [
        one for one in root.iter(f"{SVG}g") if re.fullmatch(rf"{form.prefix}curves?-band-\d+", str(one.get("id")))
    ]
    assert len(groups) == len(case.table.rows)
    texts = [str(one.text) for one in root.iter(f"{SVG}text")]
    instead = f"1 to {len(groups)}: the bands, in the order of the truth table" in texts
    assert not instead or (name == "long names" and form == PHONE)
    for number, (row, group) in enumerate(zip(case.table.rows, groups, strict=True)):
        shown = [str(one.text) for one in group.iter(f"{SVG}text")]
        assert [str(one.text) for one in group.iter(f"{SVG}title")] == [row.name]
        if shown != [row.name]:
            assert shown == [str(number + 1)]
            listed = [one for one in texts if one.startswith(f"{number + 1}: {row.name[:30]}")]
            assert len(listed) == (0 if instead else 1)


def test_a_narrow_picture_is_a_phone_wide_and_its_lists_are_short(cases: dict[str, Case]) -> None:
    """390 points less 0.6 rem of margin on either side; no letters below 11; thirteen names in four rows."""
    assert 390 - 2 * 0.6 * 16 - 1 < PHONE.width <= 390 - 2 * 0.6 * 16
    for case in cases.values():
        for text in (case.drawn_in(PHONE), case.barred_in(PHONE)):
            kinds = {str(one.get("class")) for one in parsed(text).iter(f"{SVG}text")}
            assert min(letters(kind).size for kind in kinds) >= 11
    heights = {
        name: float(str(parsed(cases[name].drawn_in(PHONE)).get("height")))
        for name in ("ridge-dispensary", "13 bands", "long names", "many marks")
    }
    assert heights == {"ridge-dispensary": 260, "13 bands": 326, "long names": 278, "many marks": 326}


def test_letters_at_crosses_are_told_one_by_one_or_pointed_to(cases: dict[str, Case]) -> None:
    """On a phone four codes have room at their crosses, a fifth makes letters of all; more crosses have none."""
    made = cases["some marks"]
    few = replace(made, marks=made.marks[:5])
    texts = [str(one.text) for one in parsed(few.drawn_in(PHONE)).iter(f"{SVG}text")]
    assert len([one for one in texts if re.fullmatch(r"[a-e]: out-of-window at .* V in, .* V out", one)]) == 5
    texts = [str(one.text) for one in parsed(made.drawn_in(PHONE)).iter(f"{SVG}text")]
    assert "9 crosses: faults, told among the findings" in texts
    assert not [one for one in texts if re.match(r"[a-i]: ", one)]
    beyond = tuple(replace(made.marks[-1], output_v=F(900 + place)) for place in range(6))
    texts = [str(one.text) for one in parsed(replace(made, marks=beyond).drawn_in(PHONE)).iter(f"{SVG}text")]
    assert "beyond: 6 faults, told among the findings" in texts


@pytest.mark.parametrize("name", ["harbour-crane", "river-kiosk", "spring-pump"])
def test_seven_bands_are_named_in_words(name: str, cases: dict[str, Case]) -> None:
    """Short names need no list."""
    texts = {one.text for one in parsed(cases[name].drawn).iter(f"{SVG}text")}
    assert {row.name for row in cases[name].table.rows} <= texts


@FORMS
@pytest.mark.parametrize("name", NAMES)
def test_the_code_of_a_mark_stands_in_the_frame_at_its_cross(
    name: str, form: CurveForm, cases: dict[str, Case]
) -> None:
    """At most as far off as the reach of a leader; what lies beyond the picture is told under it."""
    case, root = cases[name], parsed(cases[name].drawn_in(form))
    marked = f"{form.prefix}mark-"
    groups = {one.get("id"): one for one in root.iter(f"{SVG}g") if str(one.get("id")).startswith(marked)}
    texts = [str(one.text) for one in root.iter(f"{SVG}text")]
    instead = [one for one in texts if one.endswith("crosses: faults, told among the findings")]
    assert len(instead) == (1 if form == PHONE and name in ("some marks", "many marks") else 0)
    for number, mark in enumerate(case.marks):
        group = groups.pop(f"{marked}{number}", None)
        if group is None:
            assert f"{form.beyond}: {mark.told}" in texts
            continue
        crossed = [place for one in lines(group, "cross") for place in (one[0] + one[2], one[1] + one[3])]
        x, y = crossed[0] / 2, crossed[1] / 2
        scale = scale_of(case.table, form)
        assert [x, y] == pytest.approx([scale.x(mark.input_v), scale.y(mark.output_v)])
        assert [one.text for one in group.iter(f"{SVG}title")] == [mark.told]
        if instead:
            assert not list(group.iter(f"{SVG}text"))
            continue
        (told,) = group.iter(f"{SVG}text")
        assert told.text == mark.code or f"{told.text}: {mark.told}" in texts
        at = float(str(told.get("x"))), float(str(told.get("y")))
        wide = letters("hurt").wide(str(told.text))
        assert at[0] >= form.left
        assert at[0] + wide <= form.width
        assert 0 < at[1] < form.base
        assert max(at[0] - x, x - at[0] - wide, abs(at[1] - y)) < 120
    assert groups == {}


def by_ticks(root: ElementTree.Element) -> tuple[Callable[[float], float], Callable[[float], float]]:
    """From places back to volts, as a reader does it: by the numbers printed beside the axes, and by nothing else."""
    printed = [one for one in root.iter(f"{SVG}text") if one.get("class") == "faint"]
    across = sorted(
        (float(str(one.get("x"))), float(str(one.text))) for one in printed if one.get("text-anchor") == "middle"
    )
    up = sorted(
        (float(str(one.get("y"))) - 4, float(str(one.text))) for one in printed if one.get("text-anchor") == "end"
    )

    def read(ends: list[tuple[float, float]]) -> Callable[[float], float]:
        (x1, v1), (x2, v2) = ends[0], ends[-1]
        return lambda place: v1 + (place - x1) * (v2 - v1) / (x2 - x1)

    return read(across), read(up)


READ_BACK = [*(path.stem for path in SHIPPED), "narrow chain", "13 bands", "many bands"]


@FORMS
@pytest.mark.parametrize("name", READ_BACK)
def test_lines_read_against_the_axes_are_the_truth_table(name: str, form: CurveForm, cases: dict[str, Case]) -> None:
    """Ends of each line: the holds of the table and the output there, its ratio times the input."""
    case, root = cases[name], parsed(cases[name].drawn_in(form))
    across, up = by_ticks(root)
    for row, line in zip(case.table.rows, lines(root, "band"), strict=True):
        assert row.input_hold is not None
        assert row.ratio is not None
        for volts, x, y in zip((row.input_hold.low, row.input_hold.high), line[::2], line[1::2], strict=True):
            assert across(x) == pytest.approx(float(volts), abs=0.01)
            assert up(y) == pytest.approx(float(row.ratio * volts), abs=0.01)
    bars = parsed(case.barred_in(form))
    across = by_ticks_below(bars)
    for number, row in enumerate(case.table.rows):
        group = next(one for one in bars.iter(f"{SVG}g") if one.get("id") == f"{form.prefix}bar-{number}")
        (bar,) = group.iter(f"{SVG}rect")
        x, wide = float(str(bar.get("x"))), float(str(bar.get("width")))
        assert row.input_hold is not None
        assert across(x) == pytest.approx(float(row.input_hold.low), abs=0.01)
        assert across(x + wide) == pytest.approx(float(row.input_hold.high), abs=0.01)


def by_ticks_below(root: ElementTree.Element) -> Callable[[float], float]:
    ends = sorted(
        (float(str(one.get("x"))), float(str(one.text)))
        for one in root.iter(f"{SVG}text")
        if one.get("class") == "faint"
    )
    (x1, v1), (x2, v2) = ends[0], ends[-1]
    return lambda place: v1 + (place - x1) * (v2 - v1) / (x2 - x1)


@FORMS
@pytest.mark.parametrize("name", NAMES)
def test_a_bar_names_its_band_first(name: str, form: CurveForm, cases: dict[str, Case]) -> None:
    case, root = cases[name], parsed(cases[name].barred_in(form))
    for number, row in enumerate(case.table.rows):
        group = next(one for one in root.iter(f"{SVG}g") if one.get("id") == f"{form.prefix}bar-{number}")
        (told,) = group.iter(f"{SVG}text")
        whole = f"{row.name}: {'+'.join(row.energised) or 'none'}"
        assert str(told.text) == whole or whole.startswith(str(told.text).removesuffix("\u2026").rstrip())
        assert [one.text for one in group.iter(f"{SVG}title")] == [whole]


def ids(text: str) -> list[str]:
    return [str(one.get("id")) for one in parsed(text).iter() if one.get("id")]


@FORMS
def test_a_page_finds_its_parts_once_and_two_drawings_share_none(form: CurveForm, cases: dict[str, Case]) -> None:
    """The marker and the line that a script fills are hidden; a drawing of two revisions has neither."""
    case = cases["hostel-review"]
    alone, both = ids(case.drawn_in(form)), ids(cases["two revisions"].drawn_in(form))
    assert len(set(alone)) == len(alone)
    parts = ("now", "faulty", "mark-0", *(f"curve-band-{number}" for number in range(3)))
    assert {form.prefix + one for one in parts} <= set(alone)
    assert not set(alone) & set(both)
    for part in ("now", "faulty"):
        group = next(
            one for one in parsed(case.drawn_in(form)).iter(f"{SVG}g") if one.get("id") == form.prefix + part
        )
        assert group.get("visibility") == "hidden"
    assert not list(group)


@pytest.mark.parametrize("name", NAMES)
def test_both_forms_may_stand_on_one_page(name: str, cases: dict[str, Case]) -> None:
    """All ids of the narrow form are those of the wide one behind `narrow-`, and it points at none but its own."""
    case = cases[name]
    wide, narrow = ids(case.drawn) + ids(case.barred), ids(case.drawn_in(PHONE)) + ids(case.barred_in(PHONE))
    assert len({*wide, *narrow}) == len(wide) + len(narrow)
    assert {f"narrow-{one}" for one in wide} == set(narrow)
    assert set(re.findall(r"url\(#([^)]+)\)", case.drawn_in(PHONE))) <= set(narrow)


@FORMS
def test_a_line_drawn_into_the_curve_is_cut_off_at_its_frame(form: CurveForm, cases: dict[str, Case]) -> None:
    root = parsed(cases["signal-box"].drawn_in(form))
    faulty = next(one for one in root.iter(f"{SVG}g") if one.get("id") == f"{form.prefix}faulty")
    clip = next(one for one in root.iter(f"{SVG}clipPath") if f"url(#{one.get('id')})" == faulty.get("clip-path"))
    (frame,) = clip.iter(f"{SVG}rect")
    sides = [float(str(frame.get(one))) for one in ("x", "y", "width", "height")]
    assert sides == {DESK: [64, 20, 676, 352], PHONE: [40, 24, 316, 192]}[form]


def test_texts_are_not_thought_narrower_than_they_are(pages: Pages) -> None:
    """Against the browser, for names in bold."""
    font = replace(letters("words"), bold=True)
    bars = [one for forms in pages.values() for one in forms[""].bars.texts if ": " in one.text]
    assert len(bars) > 100
    for one in bars:
        assert one.right - one.left <= font.wide(one.text) + 0.5
        assert font.wide(one.text) < 1.25 * (one.right - one.left)


@pytest.mark.parametrize("most", [0.0, 12.0, 60.0, 90.0, 500.0])
def test_a_text_is_cut_to_its_room(most: float) -> None:
    font = letters("words")
    shown = font.cut(LONG_NAME, most)
    assert shown in (LONG_NAME, "\u2026") or font.wide(shown) <= most
    assert shown == LONG_NAME or shown.endswith("\u2026")


def test_letters_that_no_rule_knows_are_refused() -> None:
    with pytest.raises(ValueError, match=r"no letters for \.nothing"):
        letters("nothing")


def test_no_leader_runs_back_through_its_own_name() -> None:
    """A line that ends beside the row of names, with no room under that row: its name is not led to from there."""
    ground = Ground(Patch(0, 0, 200, 100), [Patch(0, 20, 200, 100)])
    (label,) = named(ground, [Named("boost", Stroke(5, 90, 20, 5))]).labels
    assert label.leader is None or label.leader.y2 >= label.patch.bottom


def unread() -> Any:
    """A stage whose band has no reading: its bar cannot be drawn, and says so."""
    made = bands(3)
    return replace(made, rows=(made.rows[0], replace(made.rows[1], sensed=None, read=None), made.rows[2]))


def test_a_band_whose_readings_are_not_fixed_is_named_without_a_bar() -> None:
    root = parsed(Case(unread()).barred)
    group = next(one for one in root.iter(f"{SVG}g") if one.get("id") == "bar-1")
    assert not list(group.iter(f"{SVG}rect"))
    (told,) = group.iter(f"{SVG}text")
    assert str(told.text).endswith("what keeps it is not fixed")


def test_faults_are_marked_where_they_stand(cases: dict[str, Case]) -> None:
    """The table under review leaves the window at 266.67 V in and out: one cross of two strokes, by its code."""
    root = parsed(cases["hostel-review"].drawn)
    assert len(list(lines(root, "cross"))) == 2
    (group,) = (one for one in root.iter(f"{SVG}g") if one.get("id") == "mark-0")
    assert [one.text for one in group.iter(f"{SVG}text")] == ["out-of-window"]
    assert [one.text for one in group.iter(f"{SVG}title")] == ["out-of-window at 266.7 V in, 266.7 V out"]


def test_a_stage_in_a_notebook_shows_its_faults_on_its_curve() -> None:
    path = next(one for one in SHIPPED if one.stem == "hostel-review")
    root = parsed(tapplan.load(path).curve().svg)
    (group,) = (one for one in root.iter(f"{SVG}g") if str(one.get("id")).startswith("mark-"))
    assert [one.text for one in group.iter(f"{SVG}title")] == ["out-of-window at 266.7 V in, 266.7 V out"]


@FORMS
@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_numbers_of_the_axes_are_round_and_inside(path: Path, form: CurveForm, cases: dict[str, Case]) -> None:
    """At least three on each axis, to read between; on a phone never more than on a desk."""
    scale = scale_of(table(path), form)
    for span in (scale.inputs, scale.outputs):
        found = ticks(span)
        assert 3 <= len(found) <= 16
        assert all(one in span for one in found)
    for kind in ("middle", "end"):
        counts = [
            len([one for one in numbers_of(cases[path.stem].drawn_in(each)) if one.get("text-anchor") == kind])
            for each in (form, DESK)
        ]
        assert 3 <= counts[0] <= counts[1]


def numbers_of(text: str) -> list[ElementTree.Element]:
    return [one for one in parsed(text).iter(f"{SVG}text") if one.get("class") == "faint"]
