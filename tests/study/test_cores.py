"""Which core: the smallest that carries it, larger ones that are worth it, and turns that go into the window."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.design.file import load_request, read_text
from tapplan.design.model import Core, Design
from tapplan.errors import DesignError
from tapplan.study.cores import LARGER, answered, core_sizes
from tapplan.study.fitting import How
from tapplan.study.loaded import LoadedFit, built_front, on_core
from tapplan.study.request import Request, request_of
from tapplan.study.written import designed
from tests.examples import ROOT

F = Fraction
JOINERY = ROOT / "designs" / "requests" / "joinery.toml"
GRID = ROOT / "designs" / "requests" / "island-grid.toml"
QUIET = How(relaxing=False)
PRICES = '[prices]\ncurrency = "EUR"\niron = 3\ncopper = 14\nrelay = 2\ntap = 0.5\n[fit]'


def asked(tmp_path: Path, text: str) -> tuple[Design, LoadedFit]:
    file = tmp_path / "asked.toml"
    file.write_text(text, encoding="utf-8")
    found = load_request(file)
    return found.design, answered(found.design, found.fit, (), QUIET)


def test_the_smallest_core_that_carries_it_and_none_smaller(tmp_path: Path) -> None:
    """Every smaller core of the list is wound as well, with all kinds of plans: none carries the load."""
    file = tmp_path / "asked.toml"
    file.write_text(read_text(JOINERY), encoding="utf-8")
    found = load_request(file)
    sizes = core_sizes(found.design, found.fit)
    chosen = answered(found.design, found.fit, (), QUIET).built[0].design.core
    assert chosen in sizes
    place = sizes.index(chosen)
    assert place >= 2
    for smaller in sizes[:place]:
        assert on_core(replace(found.design, core=smaller), found.fit, (), QUIET).built == ()


def test_larger_cores_are_worth_it(tmp_path: Path) -> None:
    """Each plan on a larger core has a fiftieth more room, or less loss or cost, than any on a smaller one."""
    _, found = asked(tmp_path, read_text(JOINERY).replace("[fit]", PRICES).replace("1.3", "0.9"))
    cores = [one.design.core for one in found.built]
    assert len(set(cores)) > 1
    assert found.chosen
    volumes = [iron(core) for core in cores]
    assert volumes == sorted(volumes)
    assert len(set(cores)) <= 1 + len(LARGER)
    for place, one in enumerate(found.built):
        for other in found.built[:place]:
            if other.design.core != one.design.core and other.plan.relays <= one.plan.relays:
                more_room = (one.plan.room or 0) > (other.plan.room or 0) * F(102, 100)
                cheaper = (other.price or 0) > (one.price or 0) * 1.02
                cooler = (other.loss_w or 0) > (one.loss_w or 0) * 1.02
                assert more_room or cheaper or cooler
    assert [one.plan for one in found.built] == list(found.fitted.plans)


def iron(core: Core | None) -> float:
    from tapplan.design.limb import gross_mm2
    from tapplan.design.materials import lamination

    assert core is not None
    plate = lamination(core.lamination or "")
    assert plate is not None
    return float((gross_mm2(core) or 0) * plate.path_mm)


def test_turns_are_fewer_where_the_window_is_small(tmp_path: Path) -> None:
    """With most room the turns would not go in; with fewer they do, and the plan keeps its promises."""
    wide = read_text(GRID).replace("total_turns = [150, 400]", "total_turns = [150, 2000]")
    _, roomy = asked(tmp_path, wide.replace('lamination = "EI 120"', 'lamination = "EI 150N"'))
    design, tight = asked(tmp_path, wide.replace('lamination = "EI 120"', 'lamination = "EI 96"'))
    assert roomy.built
    assert tight.built
    assert max(tight.built[0].plan.taps) < 2000
    for one in tight.built:
        assert one.crowding <= 1
        assert not [each for each in findings(one.design) if each.severity is Severity.FAULT]
    assert design.core is not None


def test_a_front_keeps_what_nothing_beats() -> None:
    found = answered(*_request(GRID), (), QUIET)
    one, *_ = found.built
    assert built_front([one, one]) == [one]
    worse = replace(one, plan=replace(one.plan, room=(one.plan.room or F(0)) - 1))
    better = replace(one, plan=replace(one.plan, room=(one.plan.room or F(0)) + 1))
    assert built_front([worse, one]) == [one]
    assert built_front([one, better]) == [better]
    fewer = replace(
        worse, plan=replace(worse.plan, wiring=replace(worse.plan.wiring, poles=worse.plan.wiring.poles[:1]))
    )
    assert built_front([one, fewer]) == [one, fewer]


def _request(file: Path) -> tuple[Design, object]:
    found = load_request(file)
    return found.design, found.fit  # type: ignore[return-value]


# --- read elsewhere than at the input ---


SENSED = 'at = ["S1", "S2"]\nnoise_v = 0.05'


def with_sensing(text: str) -> str:
    text = text.replace("noise_v = 0.5", SENSED)
    return text.replace("[fit]", "[fit]\nsensing_v = 9")


@pytest.mark.parametrize("load", ["load_va = 600\n", ""])
def test_a_winding_is_made_for_the_controller_to_read(load: str, tmp_path: Path) -> None:
    """About 9 V at 110 V; its finish is the point named first, which reads above the other."""
    text = with_sensing(read_text(GRID)).replace("load_va = 600\n", load)
    design, found = asked(tmp_path, text)
    assert found.fitted.plans
    built = [one.design for one in found.built]
    for made in built or [designed(design, found.fitted.request, plan) for plan in found.fitted.plans]:
        winding = next(one for one in made.windings if one.name == "sensing")
        assert winding.ends == ("S2", "S1")
        stage = review(made)
        at_nominal = min(stage.table.rows, key=lambda row: abs((row.ratio or 0) - 1))
        assert float(at_nominal.sensed or 0) * 110 == pytest.approx(9, rel=0.08)
        assert not [one for one in findings(made) if one.severity is Severity.FAULT]
        assert "thin-hysteresis" not in {one.code for one in findings(made)}


def test_read_at_the_output_no_plan_chatters(tmp_path: Path) -> None:
    text = read_text(GRID).replace("noise_v = 0.5", 'at = "output"\nnoise_v = 0.8').replace("load_va = 600\n", "")
    design, found = asked(tmp_path, text)
    assert found.fitted.plans
    for plan in found.fitted.plans:
        made = designed(design, found.fitted.request, plan)
        assert not [one for one in findings(made) if one.severity is Severity.FAULT]


def noise(**changes: str) -> Request:
    text = read_text(GRID)
    for key, line in changes.items():
        text = text.replace(key, line)
    file = load_text(text)
    return request_of(file[0], file[1], ())  # type: ignore[arg-type]


def load_text(text: str) -> tuple[Design, object]:
    from tempfile import TemporaryDirectory

    with TemporaryDirectory() as folder:
        file = Path(folder) / "asked.toml"
        file.write_text(text, encoding="utf-8")
        found = load_request(file)
    return found.design, found.fit


def test_noise_in_volts_of_the_input() -> None:
    """No ratio is below 100/140: there a volt at the output is 1.4 V of input; 9 V stand for 110, at least 5/7 so."""
    assert noise().noise == F(1, 2)
    assert noise().noise_least is None
    output = noise(noise_v='at = "output"\nnoise_v')
    assert output.noise == F(1, 2) * F(140, 100)
    assert output.noise_least == 0
    wound = load_text(with_sensing(read_text(GRID)))
    found = request_of(wound[0], wound[1], ())  # type: ignore[arg-type]
    assert found.noise == F(5, 100) * 110 / 9 * F(140, 100)


def test_a_bound_holds_though_noise_is_counted_at_its_worst(tmp_path: Path) -> None:
    _, found = asked(tmp_path, with_sensing(read_text(GRID)))
    assert found.fitted.bound is not None
    assert all(len(plan.ratios) >= found.fitted.bound.ratios for plan in found.fitted.plans)


def test_a_battery_range_reversed_is_told(tmp_path: Path) -> None:
    rural = read_text(ROOT / "designs" / "requests" / "rural-feeder.toml")
    with pytest.raises(DesignError, match=r"battery.float_v: found \[13.8, 13.5\]"):
        asked(tmp_path, rural.replace("[13.5, 13.8]", "[13.8, 13.5]"))
    with pytest.raises(DesignError, match=r"feed\[1\].volts_v: found \[11.8, 10.8\]"):
        asked(tmp_path, rural.replace("[10.8, 11.8]", "[11.8, 10.8]"))


# --- what must not be offered, or not be said ---


def test_a_controller_that_a_feed_blinds_is_not_offered(tmp_path: Path) -> None:
    """The relay that takes the inlet off leaves the sensing winding unfed: away, nothing could be read."""
    feed = '[[feed]]\nname = "inverter"\nwinding = "battery"\nvolts_v = [10.8, 11.8]\n[fit]'
    _, found = asked(tmp_path, with_sensing(read_text(GRID)).replace("[fit]", feed, 1))
    assert found.built == ()
    assert "blind-reading" in found.refused[0].why


def test_a_plan_for_which_no_wire_is_thick_enough_is_not_offered(tmp_path: Path) -> None:
    thin = read_text(GRID).replace("density_a_mm2 = 3", "density_a_mm2 = 3\nthickest_mm = 0.3")
    _, found = asked(tmp_path, thin)
    assert found.built == ()
    assert "over-current" in found.refused[0].why


def test_a_search_that_was_stopped_does_not_call_anything_impossible(tmp_path: Path) -> None:
    file = tmp_path / "asked.toml"
    file.write_text(read_text(JOINERY), encoding="utf-8")
    found = load_request(file)
    calls = 0

    def soon() -> bool:
        nonlocal calls
        calls += 1
        return calls > 3

    answer = answered(found.design, found.fit, (), How(stop=soon, relaxing=False))
    assert answer.built == ()
    assert answer.fitted.finished is False
    assert "stopped" in answer.refused[-1].why
    assert not any("not even the largest" in one.why for one in answer.refused)


def test_gauges_thicker_than_enamelled_wire_are_several_strands(tmp_path: Path) -> None:
    """What is offered is what its own writer takes: no single wire above 5 mm."""
    heavy = read_text(JOINERY).replace("load_va = 1000", "load_va = 9000").replace(
        'cores = ["EI 96", "EI 120", "EI 150N"]', ""
    ).replace("[core]", '[core]\nlamination = "EI 231"\nstack_mm = 120')  # fmt: skip
    heavy = heavy.replace("contact_a = 16", "contact_a = 160").replace("density_a_mm2 = 3", "density_a_mm2 = 2")
    _, found = asked(tmp_path, heavy)
    for one in found.built:
        assert all((winding.wire_mm or 0) <= 5 for winding in one.design.windings)
    assert found.built
    assert any(winding.strands for one in found.built for winding in one.design.windings)
