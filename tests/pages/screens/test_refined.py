"""Thresholds refined on logs, on a screen: from figures made by hand, with and without thresholds, kept or not."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tapplan.answers.refined import PartSpan, PartTrial, Refined, RefinedFigures, ThresholdRow, UsedBand
from tapplan.exact import Span
from tapplan.pages.screens.refined import drawn, screen
from tests.pages.screens.test_verdict import lines

F = Fraction
THRESHOLD = ThresholdRow(
    below="boost", above="direct", up_before_v=F(217), up_v=F(219), down_before_v=F(214), down_v=F(212),
    overlap_before_v=F(3), overlap_v=F(7), most_overlap_v=F(9),
)  # fmt: skip
TRIAL = PartTrial(
    part="held out", thresholds="found", observed_s=F(60), changes=4, moves=5, outside_s=F(0), deviation_v=2.0,
    years=None,
)  # fmt: skip
FIGURES = RefinedFigures(
    log="a.csv", cut=False, kept=True, outcome="kept", thresholds=(THRESHOLD,), trials=(TRIAL,),
    spans=(PartSpan(log=None, part="held out", first="2008-01-20", last="2008-01-21", samples=60),),
    bands=(UsedBand(name="boost", hold_v=Span(F(180), F(219))),), proven=True, every_pair=False, near_v=None,
    partial=False, margin_before_v=None, margin_v=None, told=("Refined: so it is.", "And so."),
)  # fmt: skip


def words_of(figures: RefinedFigures) -> list[str]:
    return [" ".join(line.split()) for line in lines(*drawn(figures))]


def test_sentences_thresholds_parts_and_holds_follow_one_another() -> None:
    text = words_of(FIGURES)
    assert text[:2] == ["Refined: so it is.", "And so."]
    places = [text.index(one) for one in (
        "Thresholds between neighbours, before -> found (V as read; overlaps in input volts):",
        "On each part of the log:",
        "The holds to be used:",
    )]  # fmt: skip
    assert places == sorted(places)
    assert text[places[0] + 2].startswith("boost direct 217 -> 219 214 -> 212 3 -> 7 9")
    assert text[places[1] + 2].startswith("held out found 4 5 0")
    assert text[places[2] + 2] == "boost 180 - 219"


def test_holds_that_are_not_kept_are_told_as_those_that_stay() -> None:
    stays = words_of(replace(FIGURES, kept=False))
    assert "The holds as they stay:" in stays
    assert "The holds to be used:" not in stays
    assert "The holds as they stay:" not in words_of(FIGURES)


def test_without_a_handover_there_is_no_table_of_thresholds() -> None:
    text = words_of(replace(FIGURES, thresholds=()))
    assert not any(line.startswith("Thresholds between") for line in text)
    assert text[2:4] == ["", "On each part of the log:"]


def test_a_screen_of_its_own_has_a_first_line() -> None:
    made = {name: getattr(FIGURES, name) for name in RefinedFigures.__dataclass_fields__}
    first, *rest = lines(screen(Refined(**made, title="Mill"), 0))
    assert first == "Thresholds on logs: Mill"
    assert rest == lines(*drawn(FIGURES))
