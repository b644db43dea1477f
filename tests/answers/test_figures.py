"""Figures of ratings, plans, curves and verdicts, against what the design says or a formula gives."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest
from rich.text import Text

from tapplan.answers import words
from tapplan.answers.compare import Compared, compared
from tapplan.answers.fit import LEGEND, plans
from tapplan.answers.isolate import isolated
from tapplan.answers.margins import margins
from tapplan.answers.rate import CoreRow, PermittedRow, Rated, rated
from tapplan.answers.standards import standards
from tapplan.answers.states import in_winding_names, read_twice, states_of
from tapplan.answers.table import truth_table
from tapplan.answers.verdict import verdict
from tapplan.bench.isolation import Isolation
from tapplan.bench.readings import Names, reading_of
from tapplan.checks.comparison import TraitChange
from tapplan.checks.judgement import judged
from tapplan.checks.review import review
from tapplan.checks.rules import CODES
from tapplan.checks.traits import Trait
from tapplan.design.file import load, load_request, parse
from tapplan.design.standards import CURVES
from tapplan.errors import UsageError
from tapplan.exact import Span
from tapplan.network.turns import Kind
from tapplan.pages.documents import table_csv, table_markdown
from tapplan.pages.screens import rate as rate_screen
from tapplan.pages.screens import verdict as verdict_screen
from tapplan.study.arrangements import ARRANGEMENTS
from tapplan.study.fitting import fitted
from tapplan.study.request import request_of
from tests.examples import ROOT, chain

F = Fraction
DESIGNS = ROOT / "designs"
HUT = DESIGNS / "shepherds-hut.toml"


@cache
def hut() -> Rated:
    return rated(review(load(HUT)))


def core(**changes: object) -> CoreRow:
    made = CoreRow(
        name="x",
        net_mm2=1200.0,
        window_mm2=900.0,
        mean_turn_mm=200.0,
        mass_kg=2.5,
        copper_mm2=300.0,
        copper_kg=1.25,
        fill=0.3,
        fill_limit=0.4,
        reclosing_t=None,
        reclosing_of_limit=None,
    )
    return replace(made, **changes)


# --- rate ---


def test_a_permitted_load_is_short_where_it_is_under_the_load_of_the_file() -> None:
    """The load of the file is asked of the same design, once at what is least permitted and once just above."""
    least = min(one.va for one in hut().permitted)
    text = HUT.read_text()
    for asked, short in ((int(least) - 1, False), (int(least) + 2, True)):
        changed, count = re.subn(r"(?m)^load_va += .*$", f"load_va = {asked}", text)
        assert count == 1
        rows = rated(review(parse(changed, "hut.toml"))).permitted
        assert [one.short for one in rows] == [one.va < asked for one in rows]
        assert any(one.short for one in rows) is short


def test_the_core_says_what_a_line_that_comes_back_does_only_where_it_leaves() -> None:
    told = core().told
    assert told == "Core: 1200 mm2 net, 2.5 kg; copper 1.25 kg in 300 mm2 bare, 30.0 % of the window (limit 40.0 %)."
    back = core(reclosing_t=3.456, reclosing_of_limit=2.35).told
    assert back.startswith(told + "\n")
    assert "reach for 3.46 T, 2.35 times the limit: a saturated core" in back
    assert "reach for 3.46 T: a saturated core" in core(reclosing_t=3.456).told


def test_a_core_after_a_flight_reaches_for_a_multiple_of_its_highest_flux() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        answer = rated(review(load(path)))
        if answer.core is None or answer.core.reclosing_t is None:
            continue
        levels = [one.flux_t for one in answer.heat if one.flux_t is not None]
        limit = answer.core.reclosing_t / answer.core.reclosing_of_limit
        assert answer.core.reclosing_t > max(levels)
        assert limit == pytest.approx(float(load(path).core.flux_limit_t))
        return
    pytest.fail("no shipped design has a core and a flight of the line")


def test_a_feed_without_a_core_has_no_heat() -> None:
    (feed,) = hut().feeds
    assert feed.warm is (feed.rise_k is not None or feed.copper_w is not None)
    assert feed.flux_t is not None
    assert feed.copper_w is not None


@pytest.mark.parametrize(
    ("va", "most", "length"), [(50.0, 100.0, 20), (100.0, 100.0, 40), (0.0, 100.0, 1), (None, 1, 1)]
)
def test_a_bar_of_permitted_load_is_its_share_of_the_most(va: float | None, most: float, length: int) -> None:
    row = PermittedRow(band="x", input_v=F(200), va=va, limited_by="-", short=False)
    others = [replace(row, va=most)] if va is not None else []
    shown = rate_screen._permitted([row, *others], 200)
    assert isinstance(shown[1], Text)
    assert shown[1].plain.splitlines()[0].count("=") == length


# --- fit, standards, words, verdict ---


def test_the_legend_names_the_plans_that_are_not_proven() -> None:
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    answer = plans(fitted(request_of(asked.design, asked.fit, ())), "x")
    one = answer.plans[0]
    proven, open_still = replace(one, number="1", proven=True), replace(one, number="2", proven=False)
    assert replace(answer, plans=(proven,)).legend == LEGEND
    assert replace(answer, plans=(proven, open_still)).legend == (
        f"{LEGEND} Not proven the best of their kind: plan 2 (--to-the-end proves)."
    )


def test_a_curve_is_told_corner_by_corner() -> None:
    for row, curve in zip(standards().curves, CURVES, strict=True):
        for told, points in ((row.rise, curve.upper), (row.fall, curve.lower)):
            if not points:
                assert told == "-"
                continue
            lines = told.splitlines()
            assert len(lines) == len(points)
            for line, (seconds, level) in zip(lines, points, strict=True):
                percent, _, _, time, unit = line.split()
                assert float(percent) == float(level)
                assert float(time) == pytest.approx(float(seconds), rel=5e-3)
                assert unit == "s"


def test_a_curve_without_a_side_has_a_dash() -> None:
    from tapplan.answers.standards import _corners

    assert _corners(()) == "-"


def test_figures_have_the_digits_asked_for_and_no_trailing_zeros() -> None:
    assert [words.figure(1.23456), words.figure(1.5), words.figure(None), words.figure(float("nan"))] == [
        "1.23",
        "1.5",
        "-",
        "-",
    ]
    assert words.figure(1.23456, 0) == "1"
    assert words.span(None) == "-"
    assert words.span(Span(F(2001, 10), F(2345, 10))) == "200.1 - 234.5"
    assert words.span(Span(F(200), F(234)), 0) == "200 - 234"
    assert [words.percent(None), words.percent(0.1234)] == ["-", "12.3 %"]
    assert [words.ratio(None), words.ratio(F(2)), words.ratio(F(5, 4))] == ["-", "2", "5/4 = 1.2500"]


def test_a_promise_has_a_place_only_where_one_is_named() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        for row in verdict(review(load(path))).promises:
            assert row.where is None or row.where
            assert (row.where is not None) or row.margin is None


def test_the_verdict_is_green_only_where_it_is_sound() -> None:
    for name in ("ridge-dispensary", "hostel-review"):
        answer = verdict(review(load(DESIGNS / f"{name}.toml")))
        line = verdict_screen._head(answer)[1]
        assert isinstance(line, Text)
        assert line.plain == answer.told
        assert ("green" in str(line.style)) is answer.sound


def test_states_read_twice_are_compared_row_by_row() -> None:
    design = load(HUT)
    found = states_of(design)
    assert read_twice(design, found).read_twice
    row = next(one for one in found.states if one.ratio is not None)
    others = tuple(one for one in found.states if one is not row)
    for wrong in (replace(row, ratio=row.ratio + 1), replace(row, kind=Kind.SHORTED.value)):
        with pytest.raises(RuntimeError, match="two readings of the state"):
            read_twice(design, replace(found, states=(*others, wrong)))


def test_a_comparison_without_names_calls_them_older_and_newer() -> None:
    assert {one.name: one.default for one in Compared.__dataclass_fields__.values()}["files"] == (
        "the older",
        "the newer",
    )


# --- fit, isolate, compare, margins: columns of one kind that could be taken for each other ---


def test_the_columns_of_a_plan_from_its_ratios() -> None:
    """Transformed is 1 - 1/g at the highest boost; off, the mean over the range of the nearest output's distance."""
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    for place, one in enumerate(plans(fitted(request_of(asked.design, asked.fit, ())), "x").plans, 1):
        ratios = [float(F(ratio)) for ratio in one.ratios]
        assert one.number == f"{place}"
        assert one.arrangement in ARRANGEMENTS
        assert one.transformed == pytest.approx(max(max(1 - 1 / ratio, 1 - ratio) for ratio in ratios))
        inputs = [150 + 122 * place / 60 for place in range(61)]
        off = [min(abs(volts * ratio - 220) for ratio in ratios) for volts in inputs]
        assert one.deviation == pytest.approx(sum(off) / len(off) / 220)
        assert one.off == f"{100 * one.deviation:.1f}%"
        assert one.core == f"{100 * one.transformed:.1f}%"


def test_a_reading_is_shown_as_it_was_given() -> None:
    stage = review(load(DESIGNS / "ridge-dispensary.toml")).table
    isolation = Isolation(stage)
    for text in ("line 200 V rising: output = 177", "off coils KL: ohms KL.com KL.no = open"):
        isolation.add(reading_of(text, Names.of(stage)))
    volts, ohms = isolated(isolation, "x").readings
    assert (volts.condition, volts.measure, volts.unit) == ("line 200 V rising", "volts OUT NEUTRAL", "V")
    assert (ohms.condition, ohms.measure, ohms.unit) == ("off coils KL", "ohms KL.com KL.no", "ohm")
    assert (volts.value, volts.shown) == (177, "177 V")
    assert volts.told.startswith(volts.condition)
    assert volts.asked[0].isupper()
    assert volts.asked not in (volts.measure, volts.told)


def test_what_grew_was_the_old_figure_and_is_the_new_one() -> None:
    text = (DESIGNS / "hostel-review.toml").read_text(encoding="utf-8")
    wider = parse(text.replace("228", "226"))
    (one,) = compared(review(load(DESIGNS / "hostel-review.toml")), review(wider)).changed
    assert (one.code, one.worse) == ("dead-zone", True)
    assert one.old.startswith("inputs 224.752 V to 234.343 V")  # (228 - 1)/1.01
    assert one.new.startswith("inputs 222.772 V to 234.343 V")  # (226 - 1)/1.01


def test_a_growth_breaks_a_code_at_a_place() -> None:
    for name in ("ridge-dispensary", "hostel-review", "signal-box"):
        for one in margins(review(load(DESIGNS / f"{name}.toml"))).growth:
            assert (one.breaks is None) is (one.most is None)
            assert one.breaks is None or one.breaks in CODES
            assert one.where is None or (one.where not in CODES and one.then.startswith(f"{one.breaks}, {one.where}"))


def test_a_key_that_was_not_stated_is_told_with_a_dash() -> None:
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    old = review(parse(text))
    new = review(parse(text.replace("load_va      = 500\n", "load_va      = 400\ninrush_a = 12\n")))
    rows = {one.key: one for one in compared(old, new).stated}
    assert (rows["output.load_va"].was, rows["output.load_va"].now) == ("500", "400")
    assert (rows["output.inrush_a"].was, rows["output.inrush_a"].now) == ("-", "12")


def test_the_smallest_margins_are_told_after_all_others() -> None:
    text = (DESIGNS / "ridge-dispensary.toml").read_text(encoding="utf-8")
    old, new = review(parse(text)), review(parse(text.replace("[207, 253]", "[206, 253]")))
    told = [one.what for one in compared(old, new).margins]
    smallest = [place for place, what in enumerate(told) if "smallest" in what]
    assert smallest == list(range(len(told) - len(smallest), len(told)))
    assert 0 < len(smallest) < len(told)


def test_states_beyond_the_most_relays_are_not_listed_one_by_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("tapplan.answers.states.MOST_RELAYS_EACH", 3)
    assert len(states_of(chain(3)).states) == 8
    with pytest.raises(UsageError, match="4 relays, which have 2\\*\\*4 states; accepted: up to 3 relays"):
        states_of(chain(4))


def test_the_promises_of_margins_are_those_of_the_verdict() -> None:
    for path in sorted(DESIGNS.glob("*.toml")):
        one = review(load(path))
        assert margins(one).promises == verdict(one).measured


def test_a_table_without_bands_keeps_its_headings() -> None:
    one = truth_table(review(load(DESIGNS / "ridge-dispensary.toml")))
    bare = replace(one, bands=())
    assert table_csv(bare).splitlines() == table_csv(one).splitlines()[:1]
    heads = [line for line in table_markdown(one).splitlines() if line.startswith("|")][:2]
    assert [line for line in table_markdown(bare).splitlines() if line.startswith("|")] == heads


def test_a_state_without_a_ratio_has_no_name_for_it() -> None:
    design = load(HUT)
    rows = in_winding_names(design, states_of(design)).as_json()["states"]
    assert {row["symbolic"] is None for row in rows if row["ratio"] is None} == {True}
    assert all(row["symbolic"] for row in rows if row["ratio"] is not None)


@pytest.mark.parametrize(
    ("volts", "lasts_ms", "worse"),
    [(80, 45, True), (61, 15, False), (50, 15, False), (61, 16, True), (116, 16, False), (100, 10, False)],
)
def test_a_dip_that_lasts_longer_is_worse_where_it_does_more_harm(volts: int, lasts_ms: int, worse: bool) -> None:
    """Before: 61 V, 56 V under a window from 117 V, for 15 ms: 840 V ms. 116 V for 16 ms is only 16 V ms."""

    def dip(value: int, time: int) -> Trait:
        return Trait("race-dip", F(value), "V", "x", "moves", 1, F(time), harm=F((117 - value) * time))

    assert TraitChange(dip(61, 15), dip(volts, lasts_ms)).worse is worse


def test_the_harm_of_a_trait_is_its_volts_beyond_the_window_times_its_time() -> None:
    one = review(load(DESIGNS / "river-kiosk.toml"))  # window 117 to 137 V
    found = {(trait.code, trait.side): trait for trait in judged(one).traits}
    dip, surge = found["race-dip", ""], found["race-overvoltage", ""]
    assert dip.harm == (117 - dip.value) * dip.lasts_ms > 0
    assert surge.harm == (surge.value - 137) * surge.lasts_ms > 0
    under = found["slow-recovery", "under"]
    assert under.harm == (117 - under.value) * under.lasts_ms
    assert found["move-gap", ""].harm == 0
