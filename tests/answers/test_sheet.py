"""The test sheet from a sheet made by hand: its lines, what passes, and between which figures."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.answers.sheet import ENDLESS, SET_UP, BenchSheet, bench_sheet_of
from tapplan.bench.measures import Condition, Measure, What
from tapplan.bench.sheet import Coils, Part, Sheet, SheetLine
from tapplan.bench.values import MOST
from tapplan.control.table import control_table
from tapplan.design.fingerprint import fingerprint
from tapplan.exact import Span
from tests.examples import pair

F = Fraction
OFF = Condition("off", frozenset({"KL"}))
OHMS = Measure(OFF, "ohms", ("KL.com", "KL.no"))
CLICK = Measure(OFF, "click", ("KL",))


def span(low: float, high: float) -> Span:
    return Span(F(low), F(high))


def sheet_of(*lines: SheetLine) -> BenchSheet:
    table = control_table(pair())
    coils = (Coils("boost", span(180, 200), ("KL", "KO"), span(210, 240)), Coils("none", None, (), None))
    parts = (Part("1. Off", "Plug out.", lines[:1]), Part("2. Low", "Still out.", lines[1:]))
    return bench_sheet_of(Sheet(table, F(6), F(22), F("1.636"), F("61.7"), coils, parts))


def test_lines_stand_part_by_part_and_as_one_list() -> None:
    lines = (
        SheetLine(1, OHMS, (span(0, 0.25),)),
        SheetLine(2, CLICK, (span(1, 1),), "a click"),
        SheetLine(3, OHMS, (span(1000, MOST),)),
    )
    answer = sheet_of(*lines)
    assert [(one.heading, one.before, [each.step for each in one.lines]) for one in answer.sections] == [
        ("1. Off", "Plug out.", [1]),
        ("2. Low", "Still out.", [2, 3]),
    ]
    assert answer.rows() == answer.lines
    assert [one.step for one in answer.lines] == [1, 2, 3]
    assert answer.rows("sections") == answer.sections
    assert answer.rows("coils") == answer.coils
    ohms, click, far = answer.lines
    assert (ohms.condition, ohms.measure, ohms.unit, ohms.passes) == (
        "off coils KL", "ohms KL.com KL.no", "ohm", "up to 0.25 ohm",
    )  # fmt: skip
    assert (ohms.to_do, ohms.watch, ohms.spans) == (ohms.asked, "", ((0.0, 0.25),))
    assert (click.to_do, click.watch, click.passes, click.unit) == (f"{click.asked} (a click)", "a click", "yes", "")
    assert (far.passes, far.limits) == ("open", ("", ""))


@pytest.mark.parametrize(
    ("what", "passes", "limits"),
    [
        ("ohms", (span(0.25, 12.3456),), ("0.25", "12.35")),
        ("ohms", (span(0, ENDLESS),), ("0", "1e+06")),
        ("ohms", (span(0, ENDLESS + 1),), ("", "")),
        ("ohms", (span(0, 1), span(2, 3)), ("", "")),
        ("ohms", (), ("", "")),
        ("click", (span(1, 1),), ("", "")),
        ("drive", (span(0, 0),), ("", "")),
    ],
)
def test_the_limits_of_a_line_are_the_ends_of_its_only_span(
    what: What, passes: tuple[Span, ...], limits: tuple[str, str]
) -> None:
    """To four figures; none for yes or no, for several spans, or for a reading without an upper end."""
    (line,) = sheet_of(SheetLine(1, Measure(OFF, what, ("KL", "KO")), passes)).lines
    assert line.limits == limits


def test_a_reading_of_a_megohm_has_limits_and_one_beyond_has_none() -> None:
    assert ENDLESS == 1_000_000


def test_the_sheet_names_its_source_its_coils_and_what_comes_first() -> None:
    answer = sheet_of()
    assert answer.title == pair().title
    assert answer.fingerprint == fingerprint(pair())
    assert (answer.source_v, answer.resistor_ohm, answer.resistor_w, answer.most_v) == (6, 22, F("1.636"), F("61.7"))
    assert answer.set_up == SET_UP
    boost, none = answer.coils
    assert (boost.band, boost.input_v, boost.energised, boost.output_v) == (
        "boost", span(180, 200), ("KL", "KO"), span(210, 240),
    )  # fmt: skip
    assert (none.input_v, none.energised, none.output_v) == (None, (), None)
    told = answer.source_told
    assert told.startswith("The small source is 6 V AC, isolated, through 22 ohm (a dead short burns 1.6 W in it:")
    assert " up to 62 V can stand somewhere on the winding" in told
    assert answer.origin_told == "The file leaves them out: bands chosen and thresholds placed by tapplan."
