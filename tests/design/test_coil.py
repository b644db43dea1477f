"""Coils laid layer by layer: by hand, turn by turn in a plain second way, and as laws."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import pi
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.design.coil import MOST_LAYERS, Coil, TooDeep, TooWide, coil_of
from tapplan.design.enamel import enamelled
from tapplan.design.limb import gross_mm2, limb_of, mean_turn_mm, window_mm2
from tapplan.design.materials import LAMINATIONS
from tapplan.design.model import Copper, Core, Design, Former, Winding
from tapplan.design.wound import section_ohms, turn_lengths
from tests.examples import design

F = Fraction
PLATE = Core(lamination="EI 120", stack_mm=F(60))  # leg 40, window 20 x 60
FORMER = Former(flange_mm=F("1.5"), margin_mm=F(3), interlayer_mm=F("0.1"), between_mm=F("0.5"), bulge_pct=F(15))
PAIR = {"K": ("OUT", "T2", "T1")}


def wound(*sections: Winding, core: Core = PLATE, former: Former | None = FORMER, **keys: Any) -> Design:
    bare = design([("a", "N", "T1", 1), ("b", "T1", "T2", 1)], PAIR, terminals=("T1", "N", "OUT"))
    return replace(bare, windings=sections, core=core, former=former, **keys)


def section(name: str, start: str, finish: str, turns: Any, wire: str | None, **keys: Any) -> Winding:
    mm = None if wire is None else F(wire)
    return Winding(name=name, ends=(start, finish), turns=F(turns), wire_mm=mm, **keys)


def coil(*sections: Winding, **keys: Any) -> Coil:
    found = coil_of(wound(*sections, **keys))
    assert isinstance(found, Coil)
    return found


MAIN = section("main", "N", "T1", 276, "0.8")
STEPS = (section("low", "T1", "T2", 13, "1.6"), section("high", "T2", "T3", 33, "1.6"))


def test_layers_by_hand() -> None:
    """60 less 2 x (1.5 + 3) leaves 51 mm: 57 turns of 0.884 mm (0.8 over grade 2), 29 of 1.706 (1.6).

    276 turns are four layers of 57 and 48 more; 13 turns and 16 of 33 share the sixth layer; 17 are in the seventh.
    """
    found = coil(MAIN, *STEPS)
    assert [layer.holds for layer in found.layers] == [57] * 5 + [29] * 2
    assert [[(run.section, run.turns) for run in one.runs] for one in found.placed] == [
        [("main", 57)] * 4 + [("main", 48)],
        [("low", 13)],
        [("high", 16), ("high", 17)],
    ]
    assert [one.goes_on for one in found.placed] == [False, False, True]
    assert [layer.begins for layer in found.layers] == ["start", "far", "start", "far", "start", "start", "far"]
    five, two = 5 * F("0.884") + 5 * F("0.1"), 2 * F("1.706") + 2 * F("0.1")
    assert found.flat_mm == F("1.5") + five + two
    assert found.build_mm == F("1.5") + (five + two) * F("1.15")


def test_spots_by_hand() -> None:
    """The main ends after 48 of 57 turns of a layer that began at the start flange: near the far one."""
    main, low, high = coil(MAIN, *STEPS).placed
    assert (main.start.layer, main.start.turns, main.start.side) == (1, 0, "start")
    assert (main.finish.layer, main.finish.turns, main.finish.side) == (5, 48, "far")
    assert (low.start.layer, low.start.side) == (6, "start")
    assert (low.finish.layer, low.finish.turns, low.finish.side) == (6, 13, "start")  # 13 of 29
    assert high.start == low.finish
    assert (high.finish.layer, high.finish.turns, high.finish.side) == (7, 17, "start")  # 17 of 29, begun far


def test_the_length_of_a_turn_by_hand() -> None:
    """Round 40 x 60 mm of limb with 1.5 mm of former: 4 x 1.5 more on either side of a pair, and 2 pi times the
    distance of the wire's middle from the former."""
    found = coil(MAIN)
    first, second = found.layers[:2]
    assert first.middle_mm == F("0.442")
    assert second.middle_mm == F("0.442") + F("0.984")
    assert first.turn_mm == pytest.approx(2 * (43 + 63) + 2 * pi * 0.442)
    assert second.turn_mm == pytest.approx(2 * (43 + 63) + 2 * pi * 1.426)
    lengths = [2 * (43 + 63) + 2 * pi * (0.442 + 0.984 * k) for k in range(5)]
    assert found.placed[0].length_mm == pytest.approx(sum(57 * one for one in lengths[:4]) + 48 * lengths[4])


def test_a_coil_that_fills_the_window_has_the_mean_turn_of_the_one_figure() -> None:
    """Round the limb half way through the window is the average of layers from the limb to the window's end.

    Wire of 0.1 mm over 20 mm, no former: 178 layers; the one figure takes 22/7 for pi.
    """
    bare = Former(flange_mm=F(0), margin_mm=F(0), interlayer_mm=F(0), between_mm=F(0), bulge_pct=F(0))
    thin = section("a", "N", "T1", 60 * 8 * 160, "0.1", covering_mm=F("0.025"))
    made = wound(thin, former=bare)
    found = coil_of(made)
    assert isinstance(found, Coil)
    assert found.build_mm == 20
    one_figure = mean_turn_mm(PLATE)
    assert one_figure == 2 * (40 + 60) + F(22, 7) * 20
    assert turn_lengths(made)["a"] == pytest.approx(float(one_figure), rel=2e-4)


def test_insulation_before_a_winding_that_no_turn_joins() -> None:
    battery = section("battery", "B1", "B2", 20, "1.6")
    apart = coil(MAIN, battery)
    joined = coil(MAIN, replace(battery, ends=("T1", "B2")))
    assert apart.layers[5].before_mm == F("0.6")
    assert joined.layers[5].before_mm == F("0.1")
    assert apart.flat_mm - joined.flat_mm == F("0.5")


def test_a_winding_joined_over_a_third_needs_no_more_insulation() -> None:
    low, high = STEPS
    found = coil(MAIN, high, low)
    assert found.layers[5].before_mm == F("0.1")
    assert [one.goes_on for one in found.placed] == [False, False, False]


def test_another_wire_begins_a_new_layer_though_it_goes_on_from_the_finish() -> None:
    low, high = STEPS
    for other in ({"wire_mm": F("1.4")}, {"strands": F(2)}, {"covering_mm": F("0.2")}):
        found = coil(MAIN, low, replace(high, **other))
        assert found.placed[2].goes_on is False
        assert found.placed[2].start.turns == 0
    assert coil(MAIN, low, replace(high, strands=F(1))).placed[2].goes_on is True


def test_strands_lie_side_by_side() -> None:
    """Two wires of 0.884 mm take 1.768 mm along the limb: 28 turns in 51 mm; the layers are no taller."""
    found = coil(replace(MAIN, strands=F(2)))
    assert {layer.holds for layer in found.layers} == {28}
    assert {layer.tall_mm for layer in found.layers} == {F("0.884")}
    assert len(found.layers) == 10  # 276 / 28


def test_a_strip_lies_flat() -> None:
    """2 x 5 mm under grade 2 is 2.17 x 5.17 mm: 9 turns in 51 mm."""
    strip = section("a", "N", "T1", 20, None, strip_mm=(F(2), F(5)))
    found = coil(strip)
    assert [(layer.holds, layer.tall_mm) for layer in found.layers] == [(9, F("2.17"))] * 3
    covered = coil(replace(strip, covering_mm=F("0.4")))
    assert [(layer.holds, layer.tall_mm) for layer in covered.layers] == [(9, F("2.4"))] * 3


def test_the_order_wanted() -> None:
    low, high = STEPS
    found = coil(MAIN, low, high, former=replace(FORMER, order=("low", "high", "main")))
    assert [one.section for one in found.placed] == ["low", "high", "main"]
    assert [one.goes_on for one in found.placed] == [False, True, False]
    assert found.of("main") == found.placed[2]
    assert found.of("none") is None


def test_a_layer_just_full_is_not_gone_on_in() -> None:
    one, two = section("a", "N", "T1", 58, "1.6"), section("b", "T1", "T2", 5, "1.6")
    found = coil(one, two)
    assert found.placed[0].finish.turns == 29
    assert found.placed[1].goes_on is True
    assert (found.placed[1].start.layer, found.placed[1].start.turns, found.placed[1].start.side) == (3, 0, "start")
    assert len(found.layers) == 3


def test_a_turn_wider_than_the_traverse() -> None:
    assert coil_of(wound(replace(MAIN, strands=F(57)))) != TooWide("main", 57 * F("0.884"), F(51))
    assert coil_of(wound(replace(MAIN, strands=F(58)))) == TooWide("main", 58 * F("0.884"), F(51))


@pytest.mark.parametrize(
    "changes",
    [
        {"former": None},
        {"core": Core(area_mm2=F(2400), window_mm2=F(1200), mean_turn_mm=F(260))},
        {"core": replace(PLATE, name="other")},
        {"windings": (replace(MAIN, wire_mm=None), *STEPS)},
        {"windings": (replace(MAIN, wire_mm=F(6)), *STEPS)},
        {"windings": (replace(MAIN, wire_mm=None, strip_mm=(F(2), F(5))),), "copper": Copper(enamel_grade=3)},
    ],
)
def test_nothing_is_laid_where_something_is_not_known(changes: dict[str, Any]) -> None:
    made = replace(wound(MAIN, *STEPS), **changes)
    assert coil_of(made) is None


def test_a_core_by_its_sides_is_that_of_its_lamination() -> None:
    sides = Core(leg_mm=F(40), stack_mm=F(60), window_mm=(F(20), F(60)))
    assert limb_of(sides) == limb_of(PLATE)
    assert coil(MAIN, *STEPS, core=sides) == coil(MAIN, *STEPS)
    assert mean_turn_mm(sides) == mean_turn_mm(PLATE)
    assert (gross_mm2(sides), window_mm2(sides)) == (2400, 1200)
    assert (gross_mm2(Core(area_mm2=F(9))), window_mm2(Core(window_mm2=F(7)))) == (9, 7)
    assert (gross_mm2(Core(leg_mm=F(40))), window_mm2(Core())) == (None, None)
    assert gross_mm2(replace(PLATE, leg_mm=F(30))) == 1800
    assert limb_of(Core(leg_mm=F(40), window_mm=(F(20), F(60)))) is None


def test_resistance_goes_by_the_layers() -> None:
    """1/58 ohm mm2/m at 20 C, 0.00393 a kelvin (IEC 60028), at 75 C."""
    made = wound(MAIN, *STEPS)
    metres = coil(MAIN, *STEPS).placed[0].length_mm / 1000
    ohm = metres / 58 / (pi / 4 * 0.8**2) * (1 + 0.00393 * 55)
    assert float(section_ohms(made)[0] or 0) == pytest.approx(ohm, abs=2e-6)
    two = wound(replace(MAIN, strands=F(2)))
    longer = coil(replace(MAIN, strands=F(2))).placed[0].length_mm / 1000
    assert float(section_ohms(two)[0] or 0) == pytest.approx(longer / 58 / (pi / 2 * 0.8**2) * 1.21615, abs=2e-6)
    stated = wound(replace(MAIN, resistance_ohm=F(3)), *STEPS)
    assert section_ohms(stated)[0] == 3
    assert section_ohms(stated)[1:] == section_ohms(made)[1:]


def test_a_mean_turn_stated_goes_before_the_layers() -> None:
    made = wound(MAIN, *STEPS, core=replace(PLATE, mean_turn_mm=F(400)))
    assert turn_lengths(made) == dict.fromkeys(("main", "low", "high"), 400.0)
    assert isinstance(coil_of(made), Coil)


def test_turns_beyond_all_windows_are_not_laid_one_by_one() -> None:
    """A million turns of 0.884 mm, 57 a layer: 17,544 layers of 0.984 mm, told at once."""
    found = coil_of(wound(replace(MAIN, turns=F(10**6))))
    assert isinstance(found, TooDeep)
    assert found.layers == 17_544
    assert found.flat_mm == F("1.5") + 17_544 * F("0.984")
    assert found.build_mm == F("1.5") + 17_544 * F("0.984") * F("1.15")
    assert found.width_mm == 20
    assert isinstance(coil_of(wound(replace(MAIN, turns=F(57 * MOST_LAYERS)))), Coil)
    assert isinstance(coil_of(wound(replace(MAIN, turns=F(57 * MOST_LAYERS + 1)))), TooDeep)
    halves = [replace(MAIN, name=name, turns=F(57 * MOST_LAYERS // 2 + 1)) for name in ("one", "two")]
    assert isinstance(coil_of(wound(*halves)), TooDeep)  # the layers of all sections together


def test_no_window_has_more_layers_than_are_laid_one_by_one() -> None:
    """The thinnest enamelled wire, with the thinnest enamel, across the widest window of all, nothing between."""
    widest = max(one.window_mm[0] for one in LAMINATIONS)
    thinnest = min(one.overall_mm[0] for one in enamelled())
    assert widest / thinnest < MOST_LAYERS


@st.composite
def coils(draw: st.DrawFn) -> Design:
    """One to five sections in series, some alike, some of a winding apart."""
    sections, point = [], "N"
    for number in range(draw(st.integers(1, 5))):
        apart = number > 0 and draw(st.integers(0, 4)) == 0
        start = f"X{number}" if apart else point
        wire, strands = draw(st.sampled_from(["0.5", "1.6", "2.8"])), draw(st.sampled_from([None, F(1), F(2)]))
        turns = draw(st.integers(1, 120))
        sections.append(section(f"s{number}", start, f"P{number}", turns, wire, strands=strands))
        point = f"P{number}"
    return wound(*sections)


@settings(max_examples=150, deadline=None)
@given(coils())
def test_turn_by_turn_in_a_plain_second_way(made: Design) -> None:
    """One turn after the other onto the coil: where it lies, what is under it, how long it is."""
    found = coil_of(made)
    assert isinstance(found, Coil)
    overall = {F("0.5"): 0.566, F("1.6"): 1.706, F("2.8"): 2.922}
    layer, on, out, tall, length = 0, 0.0, 0.0, 0.0, 0.0
    before: Winding | None = None
    met: set[str] = set()
    for winding, placed in zip(made.windings, found.placed, strict=True):
        wire = overall[winding.wire_mm or F(0)]
        wide = wire * float(winding.strands or 1)
        alike = before is not None and (before.wire_mm, before.strands or 1) == (
            winding.wire_mm,
            winding.strands or 1,
        )
        goes_on = before is not None and before.ends[1] == winding.ends[0] and alike
        fresh, length = not goes_on, 0.0
        for _ in range(int(winding.turns)):
            if fresh or on + wide > 51 + 1e-9:
                more = 0.0 if winding.ends[0] in met or not met or not fresh else 0.5
                out += tall + (0.1 if layer else 0.0) + more
                layer, on, tall, fresh = layer + 1, 0.0, wire, False
            on += wide
            length += 2 * (43 + 63) + 2 * pi * (out + wire / 2)
            met |= set(winding.ends)
        assert placed.length_mm == pytest.approx(length)
        assert placed.finish.layer == layer
        assert float(placed.finish.turns) * wide == pytest.approx(on)
        before = winding
    assert float(found.flat_mm) == pytest.approx(1.5 + out + tall + 0.1)
    for one in found.layers:
        inside = sum(run.turns for each in found.placed for run in each.runs if run.layer == one)
        assert 0 < inside <= one.holds
