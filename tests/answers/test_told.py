"""What answers tell of values made by hand: figures of a feed, lists cut short, a search stopped, its gap."""

from __future__ import annotations

from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cache
from math import inf
from typing import cast

import pytest

from tapplan.answers.compare import compared
from tapplan.answers.fit import plans
from tapplan.answers.isolate import isolated
from tapplan.answers.isolaterows import DefectRow, listed
from tapplan.answers.plan import bench_plan
from tapplan.answers.planned import core_told, none_told, stopped_told
from tapplan.answers.rate import rated_of
from tapplan.answers.replay import SideBySide, replay
from tapplan.answers.verdict import verdict
from tapplan.answers.weighed import WeighedLog
from tapplan.bench.isolation import Diagnosis, DoubtedReading, Isolation
from tapplan.bench.phrase import Names
from tapplan.bench.readings import reading_of
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.coil import Coil
from tapplan.design.file import load, load_request
from tapplan.design.model import Design
from tapplan.rating.rated import ratings
from tapplan.replay.machine import machine
from tapplan.replay.replayed import replayed
from tapplan.replay.zone import Zone
from tapplan.study.fitting import Fitted, fitted
from tapplan.study.loaded import BuiltPlan, LoadedFit
from tapplan.study.request import Sag, request_of
from tapplan.study.sensitivity import Sensitivity
from tests.checks.test_margins import stage, weak
from tests.examples import ROOT, design
from tests.replay.against import Listed

F = Fraction
DESIGNS = ROOT / "designs"


# --- rate ---


def test_the_figures_of_a_feed_are_those_of_its_heat_and_its_current() -> None:
    found = ratings(control_table(load(DESIGNS / "shepherds-hut.toml")))
    (feed,), (row,) = found.feeds, rated_of(found, None).feeds
    assert feed.case is not None
    assert feed.heat is not None
    assert (row.rise_k, row.flux_t, row.core_w) == (feed.heat.rise_k, feed.heat.flux_t, feed.heat.core_w)
    assert row.copper_w == feed.heat.copper_w
    assert row.current_a == max(abs(feed.case.cases.source_a))
    assert row.loaded_output_v == pytest.approx(tuple(abs(feed.case.cases.output)))
    assert f"rise {feed.heat.rise_k:.0f} K" in row.told[-1]
    assert f"With the load on: {row.loaded_output_v[0]:.1f} - {row.loaded_output_v[1]:.1f} V" in row.told[-2]  # type: ignore[index]


@pytest.mark.parametrize(
    ("former", "limit", "by_layers"), [(True, None, True), (True, F(1, 3), False), (False, None, False)]
)
def test_a_window_is_judged_by_its_layers_where_they_are_laid_and_no_share_is_stated(
    former: bool, limit: Fraction | None, by_layers: bool
) -> None:
    made = load(DESIGNS / "shepherds-hut.toml")
    assert made.core is not None
    changed = replace(made, core=replace(made.core, fill_limit=limit), former=made.former if former else None)
    core = rated_of(ratings(control_table(changed)), None).core
    assert core is not None
    assert core.by_layers is by_layers


# --- isolate ---


def one_defect(number: int) -> tuple[DefectRow, ...]:
    return (DefectRow(part=f"K{number}", fault="coil-open", told=f"K{number} coil-open"),)


def test_of_many_hypotheses_four_are_named_and_the_rest_counted() -> None:
    told = [listed(tuple(one_defect(number) for number in range(1, count + 1))) for count in (1, 4, 5, 9)]
    four = "K1 coil-open; K2 coil-open; K3 coil-open; K4 coil-open"
    assert told == ["K1 coil-open", four, f"{four}; and 1 more", f"{four}; and 5 more"]
    assert listed(((),)) == "no fault"


@cache
def isolation() -> Isolation:
    stage = control_table(load(DESIGNS / "ridge-dispensary.toml"))
    made = Isolation(stage)
    made.add(reading_of("line 200 V rising: output = 177", Names.of(stage)))
    return made


class Doubting:
    """An isolation whose diagnosis doubts its readings."""

    def __init__(self, found: Diagnosis) -> None:
        self._found = found

    def diagnosis(self) -> Diagnosis:
        return self._found

    def __getattr__(self, name: str) -> object:
        return getattr(isolation(), name)


def test_doubts_name_their_reading_by_the_number_that_it_has_in_the_list() -> None:
    doubts = tuple(DoubtedReading(place, isolation().hypotheses[:1]) for place in (0, 1, 2))
    found = replace(isolation().diagnosis(), doubts=doubts)
    shown = isolated(cast("Isolation", Doubting(found)), "x")
    assert [one.reading for one in shown.doubts] == [1, 2, 3]


def test_what_to_measure_next_is_told_until_there_is_nothing_left() -> None:
    found = isolation().diagnosis()
    assert found.next is not None
    assert isolated(isolation(), "x").next is not None
    assert isolated(cast("Isolation", Doubting(replace(found, next=None))), "x").next is None


# --- fit ---


@cache
def workshop() -> Fitted:
    asked = load_request(DESIGNS / "requests" / "plain-workshop.toml")
    return fitted(request_of(asked.design, asked.fit, ()))


def fit_of(found: Fitted) -> LoadedFit:
    return LoadedFit(found, (), ())


def test_a_search_that_was_stopped_says_what_is_missing() -> None:
    done = replace(workshop(), finished=True, explained=True)
    assert list(stopped_told(fit_of(done), None)) == []
    (so_far,) = stopped_told(fit_of(replace(done, finished=False)), None)
    assert so_far.endswith("the best so far follows; wirings not reached are missing.")
    (nothing,) = stopped_told(fit_of(replace(done, finished=False, plans=())), None)
    assert nothing.endswith("no plan so far; more time may find one.")
    (ways,) = stopped_told(fit_of(replace(done, explained=False)), None)
    assert "ways out" in ways
    (wishes,) = stopped_told(fit_of(done), Sensitivity(2, (), finished=False))
    assert "wishes" in wishes
    assert list(stopped_told(fit_of(done), Sensitivity(2, ()))) == []


@pytest.mark.parametrize(("room", "told"), [(F("0.126"), "0.13"), (F(0), "0"), (None, "0")])
def test_the_nearest_plan_is_told_with_the_volts_it_lacks(room: Fraction | None, told: str) -> None:
    found = workshop()
    near = replace(found.plans[0], room=room)
    needed = found.request.needed
    lines = none_told(fit_of(replace(found, plans=(), nearest=near, finished=True)))
    assert lines[0] == "No plan meets the request."
    assert f"leaves {told} V between neighbours" in lines[1]
    lacks = float(needed - (room or 0))
    assert f"; {float(needed):.2f}".rstrip("0").rstrip(".") in lines[1]
    assert lines[1].endswith(f" V are needed, {f'{lacks:.2f}'.rstrip('0').rstrip('.')} V more.")


def test_the_gap_of_a_plan_is_what_others_could_win_over_its_own_score() -> None:
    """5 V of room, and others could have 6 V at most: a fifth. None where it is proven, or nothing is known."""
    found = workshop()
    one = replace(found.plans[0], room=F(5), request=replace(found.request, objective="room"))
    gaps = {}
    for open_score in (6.0, 5.0, -inf, inf):
        (row,) = plans(fit_of(replace(found, plans=(replace(one, open_score=open_score),))), "x").plans
        gaps[open_score] = (row.gap, row.bound)
    assert gaps == {6.0: (pytest.approx(0.2), 6.0), 5.0: (0.0, 5.0), -inf: (None, None), inf: (None, None)}
    (none,) = plans(fit_of(replace(found, plans=(replace(one, room=F(0), open_score=6.0),))), "x").plans
    assert none.gap is None


@pytest.mark.parametrize(("relays", "told"), [(1, "plans of 1 relay:"), (2, "plans of 2 relays:")])
def test_wishes_are_told_of_plans_of_so_many_relays(relays: int, told: str) -> None:
    answer = plans(fit_of(workshop()), "x", Sensitivity(relays, ()))
    assert answer.wishes_told is not None
    assert answer.wishes_told.endswith(told)


@dataclass(frozen=True)
class OnCore:
    """A plan as built, of which only the design counts here."""

    design: Design


@pytest.mark.parametrize(
    ("laminations", "larger"), [(("EI 84",), False), (("EI 84", "EI 84"), False), (("EI 84", "EI 96"), True)]
)
def test_larger_cores_are_told_of_where_there_are_some(laminations: tuple[str, ...], larger: bool) -> None:
    hut = load(DESIGNS / "shepherds-hut.toml")
    assert hut.core is not None
    built = [OnCore(replace(hut, core=replace(hut.core, lamination=one))) for one in laminations]
    told = core_told(LoadedFit(workshop(), tuple(cast("BuiltPlan", one) for one in built), ()))
    assert told.startswith("Wound for 300 VA on EI 84")
    assert ("Larger cores are offered" in told) is larger
    assert core_told(fit_of(workshop())) == ""


def test_a_plan_as_built_is_told_with_its_worst_band() -> None:
    """Rise and loss are those of the hottest, the efficiency of the worst; without what cools it there is no rise."""
    made = load(DESIGNS / "shepherds-hut.toml")
    assert made.core is not None
    for per_watt in (made.core.thermal_k_per_w, None):
        hut = replace(made, core=replace(made.core, thermal_k_per_w=per_watt))
        found = ratings(control_table(hut))
        one = BuiltPlan(workshop().plans[0], hut, found, (), cast("Sag", None), F(0))
        (row,) = plans(LoadedFit(workshop(), (one,), ()), "x").built
        heats = [band.heat for band in found.bands]
        assert row.loss_w == max((heat.copper_w or 0) + (heat.core_w or 0) for heat in heats)
        worst = None if per_watt is None else row.loss_w * float(per_watt)
        assert row.rise_k == (None if worst is None else pytest.approx(worst))
        assert row.warmed == (None if worst is None else f"{worst:.0f}")
        assert row.core is None
        build = found.coil
        assert isinstance(build, Coil)
        assert row.built_up == f"{float(build.build_mm):.1f} of {float(build.limb.window.wide_mm):g}"
        assert found.iron is not None
        assert row.iron_kg == found.iron.mass_kg
        assert row.copper_kg == pytest.approx(sum(section.kg or 0 for section in found.sections))


# --- verdict, revisions ---


def test_a_verdict_says_when_it_counts_no_drop_under_load() -> None:
    """With a load and nothing that resists; not with resistances, nor where no load is stated."""
    made = weak(stage())
    bare = replace(stage(), output=made.output)
    idle = stage()
    told = [verdict(review(one)).assumed for one in (made, bare, idle)]
    assert (told[0], told[2]) == (None, None)
    assert "no drop under load" in (told[1] or "")


def test_a_figure_of_sudden_steps_is_told_for_each_side_of_the_curve_and_any_other_for_none() -> None:
    made = load(DESIGNS / "river-kiosk.toml")
    slow = replace(made, relays=tuple(replace(one, bounce_ms=(F(0), F(9))) for one in made.relays),
                   sensing=replace(made.sensing, confirm_ms=made.sensing.confirm_ms + 15))  # fmt: skip
    sides: dict[str, set[str | None]] = {}
    for one in compared(review(made), review(slow)).traits:
        sides.setdefault(one.code, set()).add(one.side)
    assert sides["slow-recovery"] <= {"over", "under"}
    assert {code: found for code, found in sides.items() if code != "slow-recovery" and found != {None}} == {}
    assert "move-gap" in sides


def test_a_key_that_changed_is_told_to_a_millionth() -> None:
    made = load(DESIGNS / "river-kiosk.toml")
    later = replace(made, output=replace(made.output, load_va=F(2000, 3)))
    (row,) = [one for one in compared(review(made), review(later)).stated if one.key == "output.load_va"]
    assert (row.new, row.now) == (F(2000, 3), "666.666667")


@pytest.mark.parametrize("cut", [True, False])
def test_a_log_that_weighs_says_whether_only_some_of_it_was_used(cut: bool) -> None:
    log = WeighedLog(log="hut.csv", made=None, samples=3600, cut=cut, observed_s=F(3600), outside_range_s=F(0))
    assert log.told.startswith("Weighed by hut.csv: 3,600 samples")
    assert ("Only so much of the log was used" in log.told) is cut
    assert "all of it in the mains range" in log.told
    assert "outside the mains range" in replace(log, outside_range_s=F(60)).told


def test_a_plan_for_the_bench_counts_its_measurements_or_says_that_none_are_left() -> None:
    planned = bench_plan(isolation(), "x")
    assert planned.lines
    assert planned.told[0].startswith(f"{len(planned.lines)} measurements catch ")
    (left,) = replace(planned, lines=()).told
    assert left.startswith("Nothing is left to plan")


def test_of_small_volts_the_columns_of_the_histogram_are_narrow_and_hold_what_was_read() -> None:
    """A stage for 24 V: four readings, in columns of a tenth of a volt."""
    bands = [("boost", ["K"], 18, 23), ("direct", [], 21, 28)]
    small = design([("w", "N", "A", 40), ("x", "A", "B", 6)], {"K": ("OUT", "A", "B")}, terminals=("A", "N", "OUT"),
                   mains=(24, 18, 28), window=(24, 20, 28), bands=bands)  # fmt: skip
    found = machine(control_table(small), Zone(None))
    log = Listed([(60_000_000 * place, F(volts)) for place, volts in enumerate(("24.03", "24.57", "25.91", "25.92"))])
    told = replay(SideBySide((found,), ("small",)), [replayed(log, [found])]).histogram
    read = [(one.from_v, one.to_v) for one in told if one.line_s]
    assert read == [pytest.approx(ends) for ends in ((24.0, 24.1), (24.5, 24.6), (25.9, 26.0))]
