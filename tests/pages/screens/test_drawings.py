"""Drawings in text: what is drawn is what the numbers say."""

from __future__ import annotations

from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from tapplan.answers.steps import Drawing
from tapplan.checks.review import review
from tapplan.control.standing import InRow
from tapplan.control.sudden import responses
from tapplan.design.standards import CURVES
from tapplan.exact import Span
from tapplan.pages.screens.bars import OVERDRAWN, Share, bar
from tapplan.pages.screens.envelope import HEIGHT, envelope
from tests.examples import design

F = Fraction


@given(st.lists(st.integers(0, 50), min_size=1, max_size=6), st.integers(10, 100))
def test_a_bar_is_as_long_as_its_shares_and_no_longer(sizes: list[int], columns: int) -> None:
    whole = sum(sizes) or 1
    shares = [Share(letter, F(size)) for letter, size in zip("ABCDEF", sizes, strict=False)]
    drawn = bar(shares, F(whole), columns)
    assert len(drawn) == (columns if sum(sizes) else 0)
    for one in shares:
        assert abs(drawn.count(one.letter) - one.size * columns / whole) <= 1


def test_an_overdrawn_share_is_marked() -> None:
    assert bar([Share("E", F(4)), Share(".", F(-2))], F(8), 16) == "EEEEEEEE" + OVERDRAWN * 4
    assert bar([Share("E", F(8)), Share(".", F(-1, 100))], F(8), 8).endswith(OVERDRAWN)


def test_an_envelope_shows_the_old_level_then_the_gap_then_the_new_level() -> None:
    """At 230 V: 260 of 200 turns, 130 %, for 20 ms of window and 10 of release, nothing for 10 + 5 ms, then 100 %."""
    sections = (("base", "N", "A", 200), ("more", "A", "B", 60))
    bands = [("up", ["K"], 150, 220), ("straight", [], 215, 260)]
    made = review(design(sections, {"K": ("OUT", "A", "B")}, terminals=("A", "N", "OUT"), bands=bands))
    every = responses(made.decisions, made.flying)
    (found,) = [one for one in every if (one.start, one.entered) == (InRow(0), (InRow(1),))]
    response = found.at_line(F(230))
    assert [(one.from_ms, one.until_ms, one.output) for one in response.phases] == [
        (0, 30, Span(F(299), F(299))),
        (30, 45, Span(F(0), F(0))),
    ]
    lines = envelope(Drawing(response, Span(F(230), F(230)), CURVES[0], F(230), ""), 88)
    picture = [line[7:].ljust(80) for line in lines[:HEIGHT]]

    def row_of(column: int) -> list[int]:
        return [row for row in range(HEIGHT) if picture[row][column] in "#X"]

    at = {ms: round(20 * (len(str(ms)) - 1) + 20 * (ms / 10 ** (len(str(ms)) - 1) - 1) / 9) for ms in (1, 10, 1000)}
    assert row_of(at[1] + 1) == row_of(at[10]) == [round(16 * (1 - 130 / 200))]
    assert row_of(31) == [HEIGHT - 1]
    assert row_of(at[1000]) == row_of(79) == [8]
    limits = [column for column in range(80) if picture[round(16 * (1 - F(120, 200)))][column] in "-X"]
    assert limits  # 120 % is allowed for half a second, then 110 %
    assert min(limits) < at[10] < max(limits) < at[1000]
    assert all(line[6] == "|" for line in lines[:HEIGHT])
    assert [line[:5].strip() for line in lines[:HEIGHT:4]] == ["200 %", "150 %", "100 %", "50 %", "0 %"]
    assert lines[-1].split() == ["1", "ms", "10", "ms", "100", "ms", "1", "s", "10", "s"]
