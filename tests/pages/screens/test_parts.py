"""Small screens and parts of screens, each from an answer made by hand: what stands on them and what is left out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest
from rich.console import Console, Group

from tapplan.answers.checked import FileVerdict, checked
from tapplan.answers.findings import FindingRow
from tapplan.answers.fit import PlanRow
from tapplan.answers.margins import CornerRow, Eaten
from tapplan.answers.states import StateRow, States
from tapplan.answers.trace import MadeFile, MadeTrace
from tapplan.checks.finding import Severity
from tapplan.checks.witnesses.states import Undriven
from tapplan.pages.screens import checked as checked_screen
from tapplan.pages.screens import fit, margins, rate, states, trace
from tapplan.pages.screens.bars import Share, ShareBar
from tapplan.pages.screens.grid import width_of
from tests.answers.test_checked import unread, verdict

F = Fraction


def shown(*parts: Any, width: int = 200) -> list[str]:
    console = Console(width=width, no_color=True)
    with console.capture() as captured:
        console.print(Group(*parts))
    return [line.rstrip() for line in captured.get().splitlines()]


# --- plans ---


def plan(number: str, relays: int, room: Any) -> PlanRow:
    return PlanRow(
        number=number, arrangement="chain", relays=relays, poles=1, taps=2, tap_turns=(), section_turns=(),
        turns="200", ratios=(), ratios_told="1", room_v=None if room is None else F(room), deviation=0.0,
        transformed=0.0, off="0%", core="0%", moves=(), proven=True, bound=None, gap=None,
    )  # fmt: skip


def test_room_is_drawn_against_relays_thirty_signs_the_most() -> None:
    rows = [plan("1", 1, 10), plan("12", 2, "2.5"), plan("3", 3, None)]
    assert shown(*fit._picture(rows)) == [
        "",
        "Room against relays:",
        f"   1  1 relay   {'=' * 30} 10 V",
        f"  12  2 relays  {'=' * 8} 2.5 V",
    ]
    assert fit._picture([plan("3", 3, None)]) == []


def test_where_the_table_is_too_wide_each_quantity_has_a_line() -> None:
    rows = [plan("1", 1, 10), plan("2", 2, 5)]
    lines = shown(fit._listed(rows))
    assert lines[1:4] == ["plan:         1", "wiring:       chain", "relays:       1"]
    assert [place for place, line in enumerate(lines) if line.startswith("plan:")] == [1, len(lines) // 2 + 1]
    table = fit._table(rows)
    least = fit._least_width(table)
    assert shown(fit._front(rows, least - 1))[1] == "plan:         1"
    assert not [line for line in shown(fit._front(rows, least)) if line.startswith("plan:")]


def test_the_least_width_is_that_of_the_longest_entries_and_words() -> None:
    """Lists may be folded at their commas and headings at blanks; two columns between, none at the end."""

    @dataclass
    class Column:
        min_width: int | None

    table: Any = SimpleNamespace(columns=[Column(5), Column(None), Column(7)])
    assert fit._least_width(table) == 5 + 2 + 2 + 7
    made = fit._table([replace(plan("1", 1, 10), turns="200, 2270; x", ratios_told="1.25, 1")])
    widths = {str(one.header): one.min_width for one in made.columns}
    assert widths["taps (turns)"] == len("2270; x,"[:-1]) == 7
    assert widths["ratios"] == 6
    assert widths["wiring"] == 6


def test_where_a_table_is_a_little_too_wide_headings_are_folded_and_only_then_lists() -> None:
    """Each column but that of the taps is set to its longest entry or word of a heading; the list has the rest."""
    turns = "200, 210, 220, 230, 240, 250, 260"
    rows = [replace(plan("1", 1, 10), turns=turns)]
    table = fit._table(rows)
    whole = width_of(table)
    place = next(at for at, one in enumerate(table.columns) if str(one.header) == "taps (turns)")
    exact = fit._least_width(table) - (table.columns[place].min_width or 0) + len(turns)
    assert exact < whole - 1
    for width in (whole - 1, exact, fit._least_width(table)):
        made: Any = fit._front(rows, width)
        assert [one.width for one in made.columns] == [
            None if at == place else one.min_width for at, one in enumerate(made.columns)
        ]
        assert all(len(line) <= width for line in shown(made, width=width))
    assert any(turns in line for line in shown(fit._front(rows, exact), width=exact))
    assert not any(turns in line for line in shown(fit._front(rows, exact - 1), width=exact - 1))
    unfolded: Any = fit._front(rows, whole)
    assert all(one.width is None for one in unfolded.columns)


# --- margins ---


def corner(**parts: Any) -> CornerRow:
    made = {
        "band": "x", "end": "low", "input_v": F(180), "reading_v": F(181), "load": "full", "output_v": F(210),
        "limit_v": F(207), "margin_v": F(3), "eaten_by": Eaten(load_v=F(1), error_v=F(2), noise_v=F(4)),
        "noise_v": F(4), "error_v": F(2), "load_v": F(1),
    }  # fmt: skip
    return CornerRow(**{**made, **parts})


def test_what_eats_a_margin_is_drawn_in_its_letters() -> None:
    assert margins._eaten(corner()) == (Share("N", F(4)), Share("E", F(2)), Share("L", F(1)), Share(".", F(3)))
    row: Any = SimpleNamespace(load_v=F(1), error_v=F(2), noise_v=F(3), beyond_v=F(4), spare_above_v=F(5),
                               spare_below_v=F(6))  # fmt: skip
    assert [(one.letter, one.size) for one in margins._shared(row)] == [
        ("L", 1), ("E", 2), ("N", 3), ("H", 4), (".", 5), (".", 6),
    ]  # fmt: skip


def bars(*each: tuple[str, int], width: int = 100) -> list[str]:
    made = [ShareBar(name, (Share("#", F(size)),)) for name, size in each]
    return margins._bars(made, width).plain.splitlines()


def test_bars_are_to_one_scale_beside_names_of_one_width() -> None:
    assert bars(("a", 10), ("longer", 5)) == [f"a       {'#' * 60}", f"longer  {'#' * 30}"]
    assert bars(("a", 10), width=35) == [f"a  {'#' * 30}"]
    assert bars(("a", 10), width=5) == [f"a  {'#' * 10}"]
    assert bars(("n" * 40, 10), width=100) == [f"{'n' * 28}  {'#' * 60}"]
    assert bars(("n" * 40, 10), width=52) == [f"{'n' * 28}  {'#' * 20}"]
    assert bars(("a", 0)) == ["a  "]
    assert bars() == []
    over = bars(("a", 30), ("b", -10))
    assert over == [f"a  {'#' * 60}", f"b  {'!' * 20}", "! overdrawn by so much: there a promise is broken"]


# --- permitted loads ---


@pytest.mark.parametrize(
    ("va", "most", "longest", "count"),
    [(50.0, 100.0, 40, 20), (None, 100.0, 40, 1), (0.4, 100.0, 40, 1), (100.0, 100.0, 8, 8)],
)
def test_a_bar_of_load_is_padded_to_the_longest(va: Any, most: float, longest: int, count: int) -> None:
    one: Any = SimpleNamespace(va=va)
    assert rate._bar(one, most, longest) == ("=" * count).ljust(longest)


def test_a_line_of_permitted_load_has_its_input_its_band_and_its_limit() -> None:
    one: Any = SimpleNamespace(input_v=180.26, band="a band of many letters", va=512.4, limit_told="copper")
    assert rate._permitted_line(one, "==") == " 180.3 V  a band of ma     512 VA == copper"
    none: Any = SimpleNamespace(input_v=None, band="x", va=None, limit_told="-")
    assert rate._permitted_line(none, "=") == "     - V  x                  0 VA = -"


@pytest.mark.parametrize(("width", "bar"), [(200, 40), (82, 40), (81, 39), (20, 8)])
def test_bars_of_load_leave_room_for_what_limits_it(width: int, bar: int) -> None:
    """36 letters before the bar, and six of "copper" after it."""
    one: Any = SimpleNamespace(input_v=180.0, band="x", va=100.0, limit_told="copper")
    assert shown(*rate._permitted([one], width))[-1].count("=") == bar
    assert rate._permitted([], width) == []


def test_what_the_file_leaves_out_is_listed() -> None:
    assert shown(*rate._needs(("a", "b"))) == [
        "", "Not worked out, for the file leaves out:", "  needs a", "  needs b",
    ]  # fmt: skip
    assert rate._needs(()) == []


# --- states, traces, files ---


def state(*names: str) -> StateRow:
    return StateRow(energised=(), any=names or None, kind="direct", ratio=None, turns_out=None, turns_in=None,
                    line_tap=None, output_tap=None, path=None)  # fmt: skip


@pytest.mark.parametrize(
    ("count", "told"),
    [(1, "A"), (6, "A, B, C, D, E, F"), (7, "A, B, C, D, E, ... G (7)"), (9, "A, B, C, D, E, ... I (9)")],
)
def test_of_many_relays_that_make_no_difference_the_first_five_and_the_last_are_named(count: int, told: str) -> None:
    text = " ".join(shown(states.screen(States("x", (state(*"ABCDEFGHI"[:count]),)), 0)))
    assert told in text
    assert ("..." in text) is (count > 6)


def made_file(number: int) -> MadeFile:
    return MadeFile(
        file=f"{number}.csv", seed=number, samples=4, bad=0, bytes=9, least_v=F(1), mean_v=F(2), most_v=F(3)
    )


@pytest.mark.parametrize(("count", "left"), [(0, 0), (20, 0), (21, 1), (25, 5)])
def test_beyond_twenty_files_of_a_trace_the_rest_is_counted(count: int, left: int) -> None:
    answer = MadeTrace(
        kind="quiet", seed=1, made="quiet", samples=40, bad=0, begins="a", ends="b", least_v=F("229.126"),
        mean_v=F("230.5"), most_v=F(233), files=tuple(map(made_file, range(count))),
    )  # fmt: skip
    lines = shown(trace.screen(answer, 0))
    assert sum(".csv" in line for line in lines) == min(count, 20)
    assert lines[-2:] == ["40 samples from a to b", "least 229.13 V, mean 230.5 V, most 233 V"]
    assert (f"and {left} files more" in lines) is (left > 0)


def file(name: str, **parts: Any) -> FileVerdict:
    made = {"design": name, "verdict": verdict(), "told": "Sound.", "counts": "none", "placed": ()}
    return FileVerdict(**{**made, **parts})


def test_each_file_has_its_verdict_its_counts_and_its_faults() -> None:
    fault = FindingRow(Severity.FAULT, "chatter", "here", "so it is", Undriven(energised=()))
    broken = verdict(fault, replace(fault, severity=Severity.WARNING, code="hot"), held=False)
    found = checked([file("a"), file("b", verdict=broken, told="Not sound.", counts="1 fault"), unread()])
    lines = shown(checked_screen.screen(found, 0))
    assert lines == [
        "Check: 3 designs",
        "a", "    Sound.", "    none",
        "b", "    Not sound.", "    1 fault", "    fault  chatter", "        here: so it is",
        "bad.toml", "    cannot be judged: bad.toml:3: mains: found nothing; accepted: a table",
        "1 of 3 designs are sound; 1 could not be judged",
    ]  # fmt: skip
    whole = shown(checked_screen.everything(found, 100))
    assert [line for line in whole if line in ("a", "b", "bad.toml")] == ["a", "b"]
    assert whole[-1] == found.told


@pytest.mark.parametrize("width", [40, 61, 80])
def test_sources_are_indented_and_keep_within_the_screen(width: int) -> None:
    from tapplan.answers.standards import standards
    from tapplan.pages.screens import standards as standards_screen

    known = standards()
    lines = shown(*standards_screen._sources(known.supplies), width=width)
    assert lines[0] == ""
    assert all(line.startswith("  ") and not line.startswith("   ") for line in lines[1:])
    assert max(map(len, lines)) <= width
    text = " ".join(" ".join(lines).split())
    for source in {one.source for one in known.supplies}:
        keys = ", ".join(one.key for one in known.supplies if one.source == source)
        assert f"{keys}: {' '.join(source.split())}" in text
