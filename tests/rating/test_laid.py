"""What the winder is told of a coil, by hand: leads, volts between layers, wire, ratio test, cold resistance."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import pi
from typing import Any

import pytest

from tapplan.control.table import control_table
from tapplan.design.coil import Coil, joined_heights
from tapplan.design.model import Copper, Core, Design, Feed, Former, Output, Prices, Winding
from tapplan.rating.built import built_table
from tapplan.rating.cost import cost_of
from tapplan.rating.laid import Laid, laid, ratio_test
from tapplan.rating.rated import Ratings, ratings
from tests.checks.test_rules import BANDS
from tests.examples import PAIR, TAPPED, design

F = Fraction
CORE = Core(lamination="EI 120", stack_mm=F(60), grade="M400-50A", stack_factor=F("0.96"))
FORMER = Former(flange_mm=F("1.5"), margin_mm=F(3), interlayer_mm=F("0.1"), between_mm=F("0.5"), bulge_pct=F(15))
LOAD = Output(nominal_v=F(230), window_v=(F(207), F(253)), load_va=F(500))
WIRES = {"main": F("0.8"), "low": F("1.6"), "high": F("1.6"), "aux": F("0.5")}


def stage(**changes: Any) -> Design:
    """The pair on 200, 27 and 31 turns, and 20 turns apart."""
    bare = design((*TAPPED, ("aux", "S1", "S2", 20)), PAIR, bands=BANDS, mains=(230, 168, 272))
    names = ("main", "low", "high", "aux")
    windings = tuple(
        replace(one, name=name, wire_mm=WIRES[name]) for name, one in zip(names, bare.windings, strict=True)
    )
    made = replace(bare, windings=windings, core=CORE, former=FORMER, output=LOAD)
    return replace(made, **changes)


def rated(made: Design) -> Ratings:
    return ratings(built_table(made, control_table))


def wound(made: Design) -> Laid:
    found = rated(made)
    assert isinstance(found.coil, Coil)
    return laid(found, found.coil)


def test_leads_in_the_order_in_which_they_are_met() -> None:
    """57 turns of 0.884 mm a layer, 29 of 1.706: 200 are three layers and 29; 27 and 2 of 31 share the fifth."""
    found = [
        (one.point, one.end, one.section, one.then, one.counter, one.spot.layer, one.spot.turns, one.spot.side)
        for one in wound(stage()).leads
    ]
    points = [winding.ends for winding in stage().windings]
    assert found == [
        (points[0][0], "start", "main", None, 0, 1, 0, "start"),
        (points[0][1], "finish", "main", None, 200, 4, 29, "start"),  # more than half way back from the far flange
        (points[1][0], "start", "low", None, 0, 5, 0, "start"),
        (points[1][1], "tap", "low", "high", 27, 5, 27, "far"),
        (points[2][1], "finish", "high", None, 58, 6, 29, "start"),
        ("S1", "start", "aux", None, 0, 7, 0, "start"),
        ("S2", "finish", "aux", None, 20, 7, 20, "start"),
    ]


def test_the_last_section_may_go_on_as_well() -> None:
    found = wound(stage(windings=stage().windings[:3])).leads
    assert [(one.section, one.end, one.then) for one in found] == [
        ("main", "start", None), ("main", "finish", None), ("low", "start", None), ("low", "tap", "high"),
        ("high", "finish", None),
    ]  # fmt: skip


def test_volts_between_layers_are_twice_a_layer_times_the_volts_of_a_turn() -> None:
    """Of layers wound to and fro, after a sudden step to 272 V; where no turn joins two, the standard says."""
    made = stage()
    found = wound(made)
    per_turn = max(one.heat.per_turn_v * max(272 / one.line_v[1], 1) for one in rated(made).bands)
    assert [one.turns for one in found.layers] == [57, 57, 57, 29, 29, 29, 20]
    below = [one.below_v for one in found.layers]
    assert below[0] is None
    assert below[6] is None
    assert below[1] == pytest.approx(2 * 57 * per_turn, rel=0.01)
    assert below[2] == pytest.approx(2 * 57 * per_turn, rel=0.01)
    assert below[3] == pytest.approx((57 + 29) * per_turn, rel=0.01)
    assert below[4] == pytest.approx((57 + 29 + 29) * per_turn, rel=0.01)  # the short layer below leaves one bare
    assert below[5] == pytest.approx(2 * 29 * per_turn, rel=0.01)
    assert found.layers[4].length_m == pytest.approx(29 * found.layers[4].layer.turn_mm / 1000)


def test_a_feed_may_work_the_turns_harder_than_any_band() -> None:
    """30 V on 20 turns; an ideal core, a load of next to nothing."""
    easy = {"core": replace(CORE, grade=None), "output": replace(LOAD, load_va=F(1))}
    fed = stage(feeds=(Feed(name="f", winding="aux", volts_v=(F(15), F(30)), energised=()),), **easy)
    plain = wound(stage(**easy)).layers[1].below_v
    assert wound(fed).layers[1].below_v == pytest.approx(114 * 1.5, rel=1e-3)
    assert plain is not None
    assert plain < 160


def test_wire_to_have() -> None:
    """Length by the layers, mass at 8.89 kg/dm3; over all strands."""
    found = wound(stage())
    assert [(one.wire.told, one.sections) for one in found.wires] == [
        ("0.8 mm", ("main",)), ("1.6 mm", ("low", "high")), ("0.5 mm", ("aux",)),
    ]  # fmt: skip
    thick = found.wires[1]
    metres = sum(one.length_m for one in found.layers[4:6])
    assert thick.length_m == pytest.approx(metres)
    assert thick.kg == pytest.approx(metres * pi / 4 * 1.6**2 * 8.89e-3)
    windings = list(stage().windings)
    windings[0] = replace(windings[0], strands=F(2))
    twice = wound(stage(windings=tuple(windings)))
    assert twice.wires[0].length_m == pytest.approx(2 * sum(one.length_m for one in twice.layers[:8]))
    assert twice.wires[0].kg == pytest.approx(twice.wires[0].length_m * pi / 4 * 0.8**2 * 8.89e-3)


def test_the_ratio_test_feeds_the_most_turns_there_are() -> None:
    found = wound(stage())
    assert (found.test.volts, found.test.turns) == (24, 258)
    assert (found.test.start, found.test.finish) == (stage().windings[0].ends[0], stage().windings[2].ends[1])
    assert [one.volts for one in found.proofs] == [24 * F(turns, 258) for turns in (200, 27, 31, 20)]
    assert {one.turn_v for one in found.proofs} == {F(24, 258)}
    assert all(one.volts <= 24 for one in found.proofs)
    apart = [Winding(name=name, ends=ends, turns=F(turns)) for name, ends, turns in (
        ("a", ("N", "T"), 100), ("b", ("T", "U"), 30), ("c", ("S", "R"), 140), ("d", ("V", "N"), 20))]  # fmt: skip
    most = ratio_test(joined_heights(apart))
    assert (most.start, most.finish, most.turns) == ("V", "U", 150)


def test_cold_resistance_by_hand() -> None:
    """At 20 C, from flat layers less 3 % to layers that stand 15 % farther out, more 3 %."""
    found = wound(stage())
    layers = found.layers[:4]
    flat = sum(one.length_m for one in layers)
    bulged = sum(float(one.turns) * (2 * (43 + 63) + 2 * pi * 1.15 * float(one.layer.middle_mm)) for one in layers)
    cold = found.proofs[0].cold
    assert cold is not None
    area = pi / 4 * 0.8**2
    assert cold.least == pytest.approx(flat / 58 / area * 0.97)
    assert cold.most == pytest.approx(bulged / 1000 / 58 / area * 1.03)


def test_costs_by_hand() -> None:
    """Two relays of one pole, six points: S1, S2, the neutral and three taps."""
    prices = Prices(currency="EUR", iron=F(3), copper=F(14), relay=F(2), pole=F(7), tap=F("0.5"))
    found = rated(stage(prices=prices))
    cost = cost_of(found)
    assert cost is not None
    assert found.iron is not None
    assert found.window is not None
    assert cost.iron == pytest.approx(3 * (found.iron.mass_kg or 0))
    assert cost.copper == pytest.approx(14 * (found.window.kg or 0))
    assert (cost.relays, cost.leads, cost.currency) == (4, 3, "EUR")
    assert cost.total == pytest.approx((cost.iron or 0) + (cost.copper or 0) + 7)
    relays = (replace(stage().relays[0], poles=2 * stage().relays[0].all_poles, com=None), stage().relays[1])
    assert cost_of(replace(found, design=replace(found.design, relays=relays))).relays == 11  # type: ignore[union-attr]
    assert cost_of(rated(stage())) is None
    unknown = cost_of(rated(stage(prices=prices, core=replace(CORE, grade=None))))
    assert unknown is not None
    assert (unknown.iron, unknown.total) == (None, None)


def test_thick_currents_take_strands() -> None:
    """Where one wire is not thick enough, or none so thick is wanted, several run side by side."""
    free = tuple(replace(one, wire_mm=None) for one in stage().windings)
    heavy = stage(windings=free, copper=Copper(thickest_mm=F("0.8")), output=replace(LOAD, load_va=F(500)))
    found = rated(heavy)
    strands = {one.name: one.wire for one in found.sections}
    for one in found.sections:
        assert one.wire is not None
        assert one.density is not None
        assert one.density <= 3 * (1 + 1e-9)
    assert strands["high"] is not None
    assert strands["high"].strands > 1
    assert strands["aux"] is not None
    assert strands["aux"].strands == 1
    assert isinstance(found.coil, Coil)
    assert found.coil.of("high") is not None
