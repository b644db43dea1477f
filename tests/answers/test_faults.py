"""What no band survives, and what every fault makes of every band."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any, cast

import pytest

from tapplan.answers import faults as answers
from tapplan.answers.faults import FaultEffect, FaultInBand, Faults, faults
from tapplan.checks.faulted import FaultRow
from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.design.file import load
from tapplan.exact import Span
from tapplan.network.turns import Gain, Kind
from tests.examples import ROOT, SHIPPED, design


def test_what_no_band_survives_is_named() -> None:
    answer = faults(review(load(ROOT / "designs" / "ridge-dispensary.toml")))
    assert answer.never_survived
    named = ", ".join(f"{one.part} {one.fault}" for one in answer.never_survived)
    assert answer.told.endswith(f"No band survives: {named}.")
    none = replace(answer, never_survived=())
    assert none.told.endswith("No band survives: none, every single fault leaves at least one band in the window.")


# --- by fault and band ---


def spring() -> Faults:
    return faults(review(load(ROOT / "designs" / "spring-pump.toml")))


def told(answer: Faults, part: str, fault: str) -> list[tuple[str, str]]:
    """What a row of the matrix says, band by band: the word, and the meter."""
    (row,) = (one for one in answer.matrix.rows if (one.part, one.fault) == (part, fault))
    return [(cell.word, cell.meter) for cell in row.cells]


@pytest.mark.parametrize(
    ("part", "fault", "boost", "straight"),
    [
        # Boost holds 178 to 211.3 V of the mains, straight 207 to 250 V; TOP stands at 598/520 = 1.15.
        ("K", "stuck-driven", ("harmless, boost", "204.7 - 243 V"), ("too high, boost", "238.1 - 287.5 V")),
        ("K", "stuck-rest", ("too low, direct", "178 - 211.3 V"), ("harmless, direct", "207 - 250 V")),
        ("K", "bridged", ("short", "expect the fuse"), ("short", "expect the fuse")),
        ("K", "com-open", ("no output, floating", "nothing steady"), ("no output, floating", "nothing steady")),
        ("TOP", "lead-open", ("no output, floating", "nothing steady"), ("harmless, direct", "207 - 250 V")),
        ("N", "lead-open", ("no output, unfed", "about 0 V"), ("harmless, bypass", "207 - 250 V")),
    ],
)
def test_a_cell_says_what_a_fault_makes_of_a_band(
    part: str, fault: str, boost: tuple[str, str], straight: tuple[str, str]
) -> None:
    assert told(spring(), part, fault) == [boost, straight]


def test_a_load_on_the_backup_is_not_told_in_volts() -> None:
    """Ridge dispensary has a backup; with the reading lost the controller leaves the mains in every band."""
    answer = faults(review(load(ROOT / "designs" / "ridge-dispensary.toml")))
    assert told(answer, "reading", "lost") == [("away", "on the backup")] * 4


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_each_fault_has_a_row_and_each_band_a_cell_of_it(file: Path) -> None:
    one = review(load(file))
    answer = faults(one)
    matrix = answer.matrix
    assert matrix.bands == tuple(row.name for row in one.table.rows)
    assert [[cell.band for cell in row.cells] for row in matrix.rows] == [list(matrix.bands)] * len(matrix.rows)
    assert sorted(row.place for row in matrix.rows) == list(range(len(matrix.rows)))
    cells = {(cell.part, cell.fault, cell.band): cell for row in matrix.rows for cell in row.cells}
    assert len(cells) == len(answer.faults) > 0
    assert all(cells[each.part, each.fault, each.band] == each for each in answer.faults)


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_an_effect_follows_from_the_window_and_the_kind(file: Path) -> None:
    """Told again from kind, volts and window, as a person would with the fault table beside the design file."""
    one = review(load(file))
    low, high = one.window.low, one.window.high
    for cell in faults(one).faults:
        volts = None if cell.output_v is None else [abs(cell.output_v.low), abs(cell.output_v.high)]
        if cell.kind == "shorted" and not cell.away:
            wanted = "short"
        elif cell.away:
            wanted = "away"
        elif volts is None or not any(volts):
            wanted = "none"
        elif max(volts) > high:
            wanted = "high"
        else:
            wanted = "low" if min(volts) < low or cell.kind == "reversed" else "harmless"
        assert cell.effect.value == wanted, cell
        assert (cell.effect in (FaultEffect.AWAY, FaultEffect.HARMLESS)) is cell.harmless


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_rows_stand_by_their_worst_band_the_most_harmful_first(file: Path) -> None:
    ranks = list(FaultEffect)
    worst = [min(ranks.index(cell.effect) for cell in row.cells) for row in faults(review(load(file))).matrix.rows]
    at_least = [min(rank, ranks.index(FaultEffect.AWAY)) for rank in worst]
    assert at_least == sorted(at_least)
    assert len(set(worst)) > 1


def reversing(highest: int) -> Faults:
    """An output that can be put as many turns below neutral as the line stands above it."""
    made = design(
        [("half", "M", "Z", 100), ("low", "Z", "N", 100), ("main", "N", "L", 200)],
        {"K": ("O", "L", "M"), "H": ("X", "Z", "L")},
        terminals=("L", "N", "O"),
        bands=[("direct", (), 210, highest)],
    )
    return faults(review(made))


@pytest.mark.parametrize(("highest", "word"), [(240, "too low, reversed"), (260, "too high, reversed")])
def test_an_output_in_antiphase_is_told_as_a_meter_shows_it(highest: int, word: str) -> None:
    """K stuck on M gives -1 of what the band holds, against 207 to 253 V; the meter knows no sign."""
    rows = reversing(highest).matrix.rows
    (cell,) = next(row for row in rows if (row.part, row.fault) == ("K", "stuck-driven")).cells
    assert cell.output_v == Span(Fraction(-highest), Fraction(-210))
    assert (cell.word, cell.meter, cell.harmless) == (word, f"210 - {highest} V", False)


def test_no_word_of_volts_where_nothing_foretells_them() -> None:
    (first, *_) = spring().faults
    kept = replace(first, effect=FaultEffect.NONE, kind="boost", output_v=None)
    assert (kept.word, kept.meter) == ("not foretold", "-")
    dead = replace(first, effect=FaultEffect.NONE, kind="dead", output_v=Span(Fraction(0), Fraction(0)))
    assert (dead.word, dead.meter) == ("no output, dead", "0 V")


def test_scripts_get_the_effect_as_a_word() -> None:
    told_of: Any = spring().as_json()["faults"]
    assert {one["effect"] for one in told_of} == {"short", "high", "none", "low", "harmless"}
    assert not {"place", "harmless"} & set(told_of[0])


def cell(effect: FaultEffect = FaultEffect.HIGH, kind: str = "boost", **parts: Any) -> FaultInBand:
    made = FaultInBand(
        part="K", fault="stuck-rest", band="boost", kind=kind, then=kind, ratio=None, output_v=None, away=False,
        severity=Severity.WARNING, effect=effect, harmless=False, place=0,
    )  # fmt: skip
    return replace(made, **parts)


@pytest.mark.parametrize(
    ("low", "high", "meter"),
    [
        (0, 200, "0 - 200 V"),
        (-200, 0, "0 - 200 V"),
        (0, 0, "0 V"),
        (-250, 240, "240 - 250 V"),
        (207, 230, "207 - 230 V"),
    ],
)
def test_a_meter_shows_the_ends_without_their_sign_the_smaller_first(low: int, high: int, meter: str) -> None:
    assert cell(output_v=Span(Fraction(low), Fraction(high))).meter == meter


@pytest.mark.parametrize(
    ("effect", "kind", "word", "meter"),
    [
        (FaultEffect.SHORT, "shorted", "short", "expect the fuse"),
        (FaultEffect.AWAY, "boost", "away", "-"),
        (FaultEffect.NONE, "floating", "no output, floating", "nothing steady"),
        (FaultEffect.NONE, "unfed", "no output, unfed", "about 0 V"),
        (FaultEffect.NONE, "dead", "no output, dead", "0 V"),
        (FaultEffect.NONE, "undetermined", "not foretold", "-"),
        (FaultEffect.HIGH, "boost", "too high, boost", "-"),
        (FaultEffect.LOW, "buck", "too low, buck", "-"),
        (FaultEffect.HARMLESS, "direct", "harmless, direct", "-"),
    ],
)
def test_an_effect_without_volts_in_words(effect: FaultEffect, kind: str, word: str, meter: str) -> None:
    found = cell(effect, kind)
    assert (found.word, found.meter) == (word, meter)
    assert replace(found, away=True).meter == "on the backup"


def test_the_matrix_has_faults_in_the_order_of_their_worst_bands_and_bands_in_the_order_of_the_table() -> None:
    """Two faults in two bands, told band by band from the worst: the one met first stands first."""
    rows = (
        cell(band="b", place=7),
        cell(band="a", place=3, part="S"),
        cell(band="a", place=7),
        cell(band="b", place=3, part="S", harmless=True),
    )
    answer = Faults(title="x", faults=rows, never_survived=(), bands=("a", "b"))
    assert answer.matrix.bands == ("a", "b")
    assert [(one.part, one.place, one.cells) for one in answer.matrix.rows] == [
        ("K", 7, (rows[2], rows[0])),
        ("S", 3, (rows[1], rows[3])),
    ]
    assert answer.harmful == rows[:3]
    assert answer.told.startswith("1 more rows are harmless: ")
    assert Faults(title="x", faults=(), never_survived=(), bands=()).matrix.rows == ()


@pytest.mark.parametrize(
    ("output", "effect"),
    [
        (None, FaultEffect.NONE),
        ((0, 0), FaultEffect.NONE),
        ((-5, 0), FaultEffect.LOW),
        ((0, 5), FaultEffect.LOW),
        ((100, 253), FaultEffect.LOW),
        ((200, 254), FaultEffect.HIGH),
        ((-254, -200), FaultEffect.HIGH),
    ],
)
def test_an_output_is_none_only_where_it_stays_at_nought(output: tuple[int, int] | None, effect: FaultEffect) -> None:
    """The window ends at 207 and 253 V; volts turned round count by their size."""
    row = FaultRow(
        fault=cast("Any", None),
        row=cast("Any", None),
        energised=(),
        outcome=Gain(Kind.BOOST, Fraction(1), Fraction(1), Fraction(1)),
        output=None if output is None else Span(Fraction(output[0]), Fraction(output[1])),
        window=Span(Fraction(207), Fraction(253)),
    )
    assert answers._effect(row) is effect
