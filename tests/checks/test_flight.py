"""Relay flight: worked examples, the count of mixtures, and witnesses computed again."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.rules import findings
from tapplan.control.moves import Mixtures, Move, orders, safest_order
from tapplan.design.model import Backup, Design, Relay, Sensing
from tapplan.network.circuit import circuit_of
from tapplan.network.turns import Kind
from tests.examples import design
from tests.published.test_six_plans import PLANS, design_of

CLINIC = (("common", "N", "T1", 516), ("lower", "T1", "T2", 62), ("upper", "T2", "T3", 62))
LINKS = {"K1": ("OUT", "T3", "T1"), "K2": ("LINE", "T3", "T2")}


def clinic(**changes: object) -> Design:
    """Two relays, 516/578/640 turns: the middle step moves both relays (own derivation)."""
    bands = [("boost", ["K2"], 176, 210), ("direct", [], 206, 234),
             ("buck 1", ["K1", "K2"], 230, 260), ("buck 2", ["K1"], 256, 305)]  # fmt: skip
    settings = {"mains": (220, 180, 300), "window": (220, 198, 242), "bands": bands,
                "sensing": Sensing(error_pct=Fraction(1))} | changes  # fmt: skip
    return design(CLINIC, LINKS, **settings)  # type: ignore[arg-type]


def found(made: Design, code: str) -> dict[str, Finding]:
    return {one.where: one for one in findings(made) if one.code == code}


MIDDLE = Move("direct to buck 1", frozenset(), frozenset({"K1", "K2"}), None)


def test_two_movers_meet_in_seven_mixtures() -> None:
    """3 positions a mover, less wholly old and wholly new; two of them are settled states."""
    met = Mixtures(circuit_of(clinic())).passages(MIDDLE)
    assert len(met) == 3**2 - 2
    assert sorted(one.ratio for one in met if not one.flying and one.ratio) == [
        Fraction(129, 160),
        Fraction(320, 289),
    ]


def test_the_worked_example_surge_one_way_and_dip_the_other() -> None:
    """At 232 V in: moving K2 first passes 320/289, 256.9 V; moving K1 first passes 129/160, 187.05 V."""
    mixtures = Mixtures(circuit_of(clinic()))
    by_first = {order.relays[0]: order.settled[0].ratio for order in orders(mixtures, MIDDLE)}
    assert round(float(232 * (by_first["K2"] or 0)), 1) == 256.9
    assert round(float(232 * (by_first["K1"] or 0)), 2) == 187.05
    best = safest_order(mixtures, MIDDLE, (Fraction(1), Fraction(258, 289)))
    assert best.relays == ("K1", "K2")


def test_overvoltage_and_dip_of_the_middle_step() -> None:
    over = found(clinic(), "race-overvoltage")['"direct" to "buck 1"']
    assert over.severity is Severity.WARNING
    assert over.witness.ratio == Fraction(320, 289)
    assert over.witness.input_v == 260 / Fraction(99, 100)
    assert over.witness.output_v == Fraction(320, 289) * 260 / Fraction(99, 100)
    assert "the safest order is K1, then K2" in over.message
    dip = found(clinic(), "race-dip")['"direct" to "buck 1"']
    assert dip.witness.output_v == Fraction(129, 160) * 230 / Fraction(101, 100)
    assert '"boost" to "direct"' not in found(clinic(), "race-overvoltage")


@pytest.mark.parametrize(
    ("name", "low", "high"), [("S1", Fraction(7, 8), Fraction(64, 49)), ("S4", Fraction(71, 90), Fraction(9, 5))]
)
def test_corners_of_the_double_steps_of_the_plans(name: str, low: Fraction, high: Fraction) -> None:
    """Computed elsewhere: S1 step 2-3 has corners 7/8 and 64/49; S4 step 4-5 has 0.789 and 1.8 (343 V at 190 V)."""
    plan = PLANS[name]
    step = {"S1": ("11", "00"), "S4": ("001", "010")}[name]
    old, new = (
        frozenset(r for r, bit in zip(plan["drives_order"], code, strict=True) if bit == "1") for code in step
    )
    met = Mixtures(circuit_of(design_of(plan))).passages(Move("step", old, new, None))
    ratios = {one.ratio for one in met if not one.flying}
    assert ratios == {low, high}


def test_triple_moves_of_plan_six_have_27_mixtures_and_no_short() -> None:
    """Computed elsewhere: steps 3-4 move three relays, 27 mixtures, 0 shorts, 19 open."""
    mixtures = Mixtures(circuit_of(design_of(PLANS["S6"])))
    met = mixtures.passages(Move("3 to 4", frozenset({"P1", "Q3"}), frozenset({"Q1"}), None))
    assert len(met) + 2 == 27
    assert not any(one.outcome.kind is Kind.SHORTED for one in met)
    assert sum(one.ratio is None for one in met) == 19


def commons_on_the_section(**changes: object) -> Design:
    """A reversing pair with its commons on the section's ends: boost to buck must cross a short (own derivation)."""
    sections = (("exciter", "N", "LINE", 150), ("section", "S", "F", 24))
    links = {"KS": ("S", "LINE", "OUT"), "KF": ("F", "LINE", "OUT")}
    bands = [("boost", ["KF"], 180, 225), ("buck", ["KS"], 220, 270)]
    return design(sections, links, bands=bands, **changes)  # type: ignore[arg-type]


def test_a_move_that_must_cross_a_short_is_a_fault() -> None:
    races = found(commons_on_the_section(), "race-short")
    assert races['"boost" to "buck"'].severity is Severity.FAULT
    assert "every order" in races['"boost" to "buck"'].message


def test_a_move_with_a_safe_order_names_it() -> None:
    """One make-only relay a tap: opening before closing is safe, closing first shorts."""
    sections = (("base", "N", "A", 200), ("one", "A", "B", 30))
    links = {"KA": ("OUT", None, "A"), "KB": ("OUT", None, "B")}
    made = design(sections, links, terminals=("A", "N", "OUT"),
                  bands=[("boost", ["KB"], 180, 220), ("direct", ["KA"], 215, 260)])  # fmt: skip
    race = found(made, "race-short")['"boost" to "direct"']
    assert race.severity is Severity.WARNING
    assert "a safe order: KB, then KA" in race.message


def test_dropout_in_an_unknown_order() -> None:
    """All coils off from buck 1: K1 may fall first and leave 320/289 on up to 262.6 V."""
    drop = found(clinic(), "dropout-unsafe")
    assert list(drop) == ['coil supply lost in "buck 1"']
    assert drop['coil supply lost in "buck 1"'].witness.ratio == Fraction(320, 289)


def test_gap_and_inrush_times() -> None:
    """Defaults 15/10/10/5 ms: two relays together, one driven and one released: 15 + 15 - 10 = 20 ms.

    The line relay alone flies 15 ms; at 50 Hz reclosing after 10 ms or more reaches the limit of 3.
    """
    gap = next(iter(found(clinic(), "move-gap").values()))
    assert gap.witness.lasts_ms == 20
    assert "common practice, no source" in gap.message
    inrush = next(iter(found(clinic(), "flight-inrush").values()))
    assert (inrush.witness.lasts_ms, inrush.witness.factor) == (15, 3)


def test_stated_times_are_used_and_said() -> None:
    """Transfer 3 and bounce 2 ms: 5 ms off the winding at 50 Hz is a quarter of a cycle, 1 + 2 sin 45 degrees."""
    made = clinic()
    from dataclasses import replace

    quick: tuple[Relay, ...] = tuple(
        replace(relay, operate_ms=Fraction(8), release_ms=Fraction(5), transfer_ms=Fraction(3), bounce_ms=Fraction(2))
        for relay in made.relays
    )
    inrush = next(iter(found(replace(made, relays=quick), "flight-inrush").values()))
    assert inrush.witness.lasts_ms == 5
    assert inrush.witness.factor == Fraction(2414, 1000)
    assert "times as the file gives them" in inrush.message


def test_output_side_moves_leave_the_core_excited() -> None:
    """A chain on the output: the line never leaves the winding, so no inrush."""
    made = design(CLINIC, {"K": ("OUT", "T2", "T3")}, terminals=("T2", "N", "OUT"),
                  bands=[("boost", ["K"], 180, 220), ("direct", [], 215, 260)])  # fmt: skip
    assert found(made, "flight-inrush") == {}
    assert next(iter(found(made, "move-gap").values())).witness.lasts_ms == 15


def test_moves_to_backup_are_judged_for_shorts_only() -> None:
    backup = Backup(
        leave_v=(Fraction(170), Fraction(280)), return_v=(Fraction(180), Fraction(270)), energised=("KS",)
    )
    made = commons_on_the_section(backup=backup)
    assert '"boost" to backup' in found(made, "race-short")
    assert not any("backup" in where for where in found(made, "race-dip"))


def test_a_move_of_too_many_relays_is_said_to_be_unexamined() -> None:
    links = {f"K{n}": (f"X{n}" if n else "OUT", f"X{n + 1}" if n < 8 else "T2", "T3") for n in range(9)}
    bands = [("up", [f"K{n}" for n in range(9)], 180, 220), ("direct", [], 215, 260)]
    made = design(CLINIC, links, terminals=("T2", "N", "OUT"), bands=bands)
    assert '"up" to "direct"' in found(made, "race-unexamined")
