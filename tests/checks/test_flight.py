"""Relay flight: worked examples, the count of mixtures, and witnesses computed again."""

from __future__ import annotations

from copy import copy
from dataclasses import replace
from fractions import Fraction

import pytest

from tapplan.checks.finding import Finding, Severity
from tapplan.checks.flight import (
    Extreme,
    Flight,
    dropout_unsafe,
    flight_inrush,
    flights_of,
    move_gap,
    race_short,
    wrong_ratios,
)
from tapplan.checks.mends import MilderOrder
from tapplan.checks.review import review
from tapplan.checks.rules import findings
from tapplan.control.moves import Mixtures, Move, move_between, orders, safest_order
from tapplan.control.standing import InRow
from tapplan.control.table import control_table
from tapplan.design.model import Backup, Design, Relay, Sensing, Sequence
from tapplan.network.circuit import circuit_of
from tapplan.network.states import State
from tapplan.network.turns import Gain, Kind, NoGain
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
    return {one.where: one for one in findings(made, [code]) if one.code == code}


def told(finding: Finding) -> str:
    """The message and the advice."""
    return f"{finding.message}; {finding.advice}"


def step(made: Design, old: set[str], new: set[str]) -> Move:
    """The move from the band that drives these relays to the one that drives those."""
    table = control_table(made)
    start, end = (
        InRow(next(n for n, row in enumerate(table.rows) if set(row.energised) == driven)) for driven in (old, new)
    )
    return move_between(table, start, end)


MIDDLE = step(clinic(), set(), {"K1", "K2"})


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
    best = safest_order(mixtures, MIDDLE)
    assert best.relays == ("K1", "K2")


def test_overvoltage_and_dip_of_the_middle_step() -> None:
    over = found(clinic(), "race-overvoltage")['"direct" to "buck 1"']
    assert over.severity is Severity.WARNING
    assert over.witness.ratio == Fraction(320, 289)
    assert over.witness.input_v == 260 / Fraction(99, 100)
    assert over.witness.output_v == Fraction(320, 289) * 260 / Fraction(99, 100)
    assert over.witness.lasts_ms == 15  # K2 has touched at once, K1 opens after 15 ms
    assert "the safest order is K1, then K2" in told(over)
    dip = found(clinic(), "race-dip")['"direct" to "buck 1"']
    assert dip.witness.output_v == Fraction(129, 160) * 230 / Fraction(101, 100)
    assert "safest order" not in told(dip)  # which passes just this dip
    assert '"boost" to "direct"' not in found(clinic(), "race-overvoltage")


@pytest.mark.parametrize(
    ("name", "low", "high"), [("S1", Fraction(7, 8), Fraction(64, 49)), ("S4", Fraction(71, 90), Fraction(9, 5))]
)
def test_corners_of_the_double_steps_of_the_plans(name: str, low: Fraction, high: Fraction) -> None:
    """Computed elsewhere: S1 step 2-3 has corners 7/8 and 64/49; S4 step 4-5 has 0.789 and 1.8 (343 V at 190 V)."""
    plan = PLANS[name]
    codes = {"S1": ("11", "00"), "S4": ("001", "010")}[name]
    old, new = ({r for r, bit in zip(plan["drives_order"], code, strict=True) if bit == "1"} for code in codes)
    made = design_of(plan, bands=True)
    met = Mixtures(circuit_of(made)).passages(step(made, old, new))
    ratios = {one.ratio for one in met if not one.flying}
    assert ratios == {low, high}


def test_triple_moves_of_plan_six_have_27_mixtures_and_no_short() -> None:
    """Computed elsewhere: steps 3-4 move three relays, 27 mixtures, 0 shorts, 19 open."""
    made = design_of(PLANS["S6"], bands=True)
    met = Mixtures(circuit_of(made)).passages(step(made, {"P1", "Q3"}, {"Q1"}))
    assert sum(one.count for one in met) + 2 == 27
    assert not any(one.outcome.kind is Kind.SHORTED for one in met)
    assert sum(one.count for one in met if one.ratio is None) == 19


def commons_on_the_section(**changes: object) -> Design:
    """A reversing pair with its commons on the section's ends: boost to buck must cross a short (own derivation)."""
    sections = (("exciter", "N", "LINE", 150), ("section", "S", "F", 24))
    links = {"KS": ("S", "LINE", "OUT"), "KF": ("F", "LINE", "OUT")}
    bands = [("boost", ["KF"], 180, 225), ("buck", ["KS"], 220, 270)]
    return design(sections, links, bands=bands, **changes)  # type: ignore[arg-type]


def test_a_move_that_must_cross_a_short_is_a_fault() -> None:
    races = found(commons_on_the_section(), "race-short")
    assert races['"boost" to "buck"'].severity is Severity.FAULT
    assert "every order" in told(races['"boost" to "buck"'])


def test_a_move_with_a_safe_order_names_it() -> None:
    """One make-only relay a tap: opening before closing is safe, closing first shorts."""
    sections = (("base", "N", "A", 200), ("one", "A", "B", 30))
    links = {"KA": ("OUT", None, "A"), "KB": ("OUT", None, "B")}
    made = design(sections, links, terminals=("A", "N", "OUT"),
                  bands=[("boost", ["KB"], 180, 220), ("direct", ["KA"], 215, 260)])  # fmt: skip
    race = found(made, "race-short")['"boost" to "direct"']
    assert race.severity is Severity.WARNING
    assert "a safe order: KB, then KA" in told(race)


def test_dropout_in_an_unknown_order() -> None:
    """All coils off from buck 1: K1 may fall first and leave 320/289 on up to 262.6 V."""
    drop = found(clinic(), "dropout-unsafe")
    assert list(drop) == ['coil supply lost in "buck 1"']
    witness = drop['coil supply lost in "buck 1"'].witness
    assert (witness.ratio, witness.lasts_ms) == (Fraction(320, 289), 10)  # until K2 lets go


def test_gap_and_inrush_times() -> None:
    """Defaults: up to 15 (10) ms to operate (release), up to 10 of transfer and 5 of bounce, and at least nothing.

    So a relay is off its throws for up to 15 ms, and when two move together one may open just as the other comes to
    rest: 30 ms. The line relay alone flies 15 ms; at 50 Hz reclosing after 10 ms or more reaches the limit of 3.
    """
    gap = next(iter(found(clinic(), "move-gap").values()))
    assert gap.where == '"boost" to "buck 2"'
    assert gap.witness.lasts_ms == 30
    assert "common practice, no source" in gap.message
    inrush = next(iter(found(clinic(), "flight-inrush").values()))
    assert (inrush.witness.lasts_ms, inrush.witness.factor) == (15, 3)


def quick(made: Design) -> Design:
    """The same with relays of 8 ms to operate, 5 to release, 3 of transfer and 2 of bounce, at most."""
    times = {"operate_ms": 8, "release_ms": 5, "transfer_ms": 3, "bounce_ms": 2}
    spans = {key: (Fraction(0), Fraction(most)) for key, most in times.items()}
    relays: tuple[Relay, ...] = tuple(replace(relay, **spans) for relay in made.relays)
    return replace(made, relays=relays)


def test_stated_times_are_used_and_said() -> None:
    """Transfer 3 and bounce 2 ms: 5 ms off the winding at 50 Hz is a quarter of a cycle, 1 + 2 sin 45 degrees."""
    inrush = next(iter(found(quick(clinic()), "flight-inrush").values()))
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
    every = findings(made)  # of all codes: no rule may go through 3**9 mixtures, which takes minutes
    assert '"up" to "direct"' in {one.where for one in every if one.code == "race-unexamined"}


def flight(made: Design, where: str) -> Flight:
    return next(one for one in flights_of(review(made)) if one.move.name == where)


def test_one_relay_after_the_other_meets_only_what_their_order_lets_it_meet() -> None:
    """Safest: K1, and K2 once K1 has settled, 15 + 10 + 5 ms later. No surge is left, and gaps no longer join.

    The dip of 129/160 stands from K1's first touch until K2 opens: 30 + 15 ms at most.
    """
    made = replace(clinic(), sequence=Sequence(order="safest"))
    assert found(made, "race-overvoltage") == {}
    dip = found(made, "race-dip")['"direct" to "buck 1"'].witness
    assert (dip.ratio, dip.lasts_ms) == (Fraction(129, 160), 45)
    assert next(iter(found(made, "move-gap").values())).witness.lasts_ms == 15
    assert list(found(made, "dropout-unsafe")) == ['coil supply lost in "buck 1"']  # nobody orders that


def test_the_times_of_a_move_by_hand() -> None:
    """Together all is over after 30 ms; in the safest order, each settled before the next, after 60."""
    one = flight(clinic(), '"direct" to "buck 1"')
    assert (one.takes_ms, one.best_ms, one.gap_ms, one.unfed_ms) == (30, 60, 30, 15)
    assert (one.at_least_ms(Fraction(320, 289)), one.at_most_ms(Fraction(129, 160))) == (15, 15)
    assert one.best is not None
    assert one.best.relays == ("K1", "K2")
    ordered = flight(replace(clinic(), sequence=Sequence(order="safest")), '"direct" to "buck 1"')
    assert (ordered.takes_ms, ordered.best_ms, ordered.gap_ms) == (60, 60, 15)
    alone = flight(clinic(), '"boost" to "direct"')
    assert (alone.best, alone.best_ms, alone.takes_ms, alone.gap_ms, alone.unfed_ms) == (None, None, 25, 15, 15)
    assert (len(one.passages), one.shorts, one.without_ratio) == (7, 0, 5)
    assert one.ends == (1, Fraction(258, 289))


def test_a_pause_too_short_to_keep_an_order_is_proven_with_what_it_lets_meet() -> None:
    """K1 flies until 30 ms at the latest: a K2 that may open before joins its gap to it; at a pause of 30 not."""
    for pause, gap in ((10, 30), (29, 30), (30, 15)):
        made = replace(clinic(), sequence=Sequence(order="safest", pause_ms=Fraction(pause)))
        assert flight(made, '"direct" to "buck 1"').gap_ms == gap, pause


def test_how_long_a_ratio_or_more_or_less_can_stand() -> None:
    """In the safest order only 129/160 is met, for 45 ms: so long the output is there or below, there or above."""
    one = flight(replace(clinic(), sequence=Sequence(order="safest")), '"direct" to "buck 1"')
    assert one.met == [Fraction(129, 160)]
    for ratio, least, most in (("1/2", 45, 0), ("129/160", 45, 45), ("1", 0, 45)):
        assert (one.at_least_ms(Fraction(ratio)), one.at_most_ms(Fraction(ratio))) == (least, most), ratio


WITH_BACKUP = clinic(backup=Backup(leave_v=(Fraction(170), Fraction(310)), return_v=(Fraction(180), Fraction(300))))


def test_a_move_without_the_load_is_passed_over_and_those_after_it_are_not() -> None:
    reviewed = review(WITH_BACKUP)
    by_name = {one.move.name: one for one in flights_of(reviewed)}
    away, middle = by_name['"buck 1" to backup'], by_name['"direct" to "buck 1"']
    assert not away.promised
    assert away.met
    assert away.gap_ms > 0
    alone = [(one.code, one.where) for one in wrong_ratios([middle])]
    assert alone == [("race-overvoltage", middle.move.name), ("race-dip", middle.move.name)]
    assert [(one.code, one.where) for one in wrong_ratios([away, middle])] == alone
    assert list(wrong_ratios([away])) == list(move_gap(reviewed, [away])) == []
    assert [one.where for one in move_gap(reviewed, [away, middle])] == [middle.move.name]


def test_a_move_is_promised_with_its_load_by_command_and_with_a_ratio_at_both_ends() -> None:
    by_name = {one.move.name: one for one in flights_of(review(WITH_BACKUP))}
    middle = by_name['"direct" to "buck 1"']
    open_output = State((), NoGain(Kind.FLOATING, "nothing feeds it"))
    assert middle.promised
    assert not replace(middle, before=open_output).promised
    assert not replace(middle, after=open_output).promised
    assert not by_name['backup to "boost"'].promised
    assert not by_name['coil supply lost in "buck 1"'].promised


def settled(ratio: Fraction) -> State:
    return State((), Gain(Kind.BOOST, ratio, None, None))


def test_a_surge_or_a_dip_lies_beyond_both_ends() -> None:
    """Met are 320/289 and 129/160: an end that goes as far itself makes neither of them worth telling."""
    middle = flight(clinic(), '"direct" to "buck 1"')
    top, bottom, little = Fraction(320, 289), Fraction(129, 160), Fraction(1, 1000)

    def told_with(end: Fraction) -> list[list[str]]:
        ends = (replace(middle, before=settled(end)), replace(middle, after=settled(end)))
        return [[one.code for one in wrong_ratios([changed])] for changed in ends]

    assert told_with(top - little) == [["race-overvoltage", "race-dip"]] * 2
    assert told_with(top) == [["race-dip"]] * 2
    assert told_with(bottom) == [["race-overvoltage"]] * 2
    assert told_with(bottom + little) == [["race-overvoltage", "race-dip"]] * 2


def test_a_surge_or_a_dip_to_the_very_edge_of_the_window_stays_inside() -> None:
    """The middle step happens up to 260/0.99 V and, as "buck 1" is held from 230 V, from 230/1.01 V on."""
    top, bottom = Fraction(320, 289) * 260 / Fraction(99, 100), Fraction(129, 160) * 230 / Fraction(101, 100)
    little, where = Fraction(1, 1000), '"direct" to "buck 1"'
    for low, high, codes in (
        (bottom, top, []),
        (bottom, top - little, ["race-overvoltage"]),
        (bottom + little, top, ["race-dip"]),
    ):
        middle = flight(clinic(window=(220, low, high)), where)
        assert [one.code for one in wrong_ratios([middle])] == codes


def test_how_far_a_ratio_goes_by_hand() -> None:
    """1.1 of 230 V is 253 V, 0.9 of it 207 V."""
    passage = flight(clinic(), '"direct" to "buck 1"').passages[0]
    surge = Extreme(passage, Fraction(11, 10), Fraction(230), Fraction(253), low=False)
    dip = Extreme(passage, Fraction(9, 10), Fraction(230), Fraction(207), low=True)
    assert (surge.output, surge.leaves, dip.output, dip.leaves) == (253, False, 207, False)
    assert replace(surge, limit=Fraction(252)).leaves
    assert not replace(surge, limit=Fraction(254)).leaves
    assert replace(dip, limit=Fraction(208)).leaves
    assert not replace(dip, limit=Fraction(206)).leaves
    reached = [(surge.reached_by(Fraction(one, 10)), dip.reached_by(Fraction(one, 10))) for one in (8, 9, 10, 11, 12)]
    assert reached == [(False, True), (False, True), (False, False), (True, False), (True, False)]


def test_the_safest_order_mends_a_surge_that_it_avoids_and_no_dip_that_it_passes() -> None:
    """K1 first passes 129/160 and nothing above the ends; once it is commanded so, there is nothing left to tell."""
    where = '"direct" to "buck 1"'
    assert found(clinic(), "race-overvoltage")[where].mend == MilderOrder(("K1", "K2"), (Fraction(129, 160),))
    assert found(clinic(), "race-dip")[where].mend is None
    ordered = found(replace(clinic(), sequence=Sequence(order="safest")), "race-dip")
    assert where in ordered
    assert {one.mend for one in ordered.values()} == {None}


def test_a_short_is_told_of_a_move_by_command_between_states_that_are_not_shorted() -> None:
    """A reversing pair that boosts at rest: whichever relay of the two changes over first shorts the section."""
    sections = (("exciter", "N", "LINE", 150), ("section", "S", "F", 24))
    links = {"KS": ("S", "LINE", "OUT"), "KF": ("F", "OUT", "LINE")}
    bands = [("boost", [], 180, 225), ("buck", ["KS", "KF"], 220, 270)]
    reviewed = review(design(sections, links, bands=bands))
    every = flights_of(reviewed)
    commanded = [one for one in every if one.shorts and one.move.chosen]
    dropped = [one for one in every if one.shorts and not one.move.chosen]
    assert commanded
    assert dropped
    shorted = State((), NoGain(Kind.SHORTED, "turns are shorted"))
    assert [one.where for one in race_short(reviewed, every)] == [one.move.name for one in commanded]
    assert [one.where for one in dropout_unsafe(dropped)] == [one.move.name for one in dropped]
    assert list(race_short(reviewed, dropped)) == list(dropout_unsafe(commanded)) == []
    for end in ("before", "after"):
        assert list(race_short(reviewed, [replace(one, **{end: shorted}) for one in commanded])) == []
        assert list(dropout_unsafe([replace(one, **{end: shorted}) for one in dropped])) == []


def test_nothing_is_told_of_a_gap_or_an_inrush_where_no_relay_moves_by_command() -> None:
    """The coil supply lost in "buck 1" takes the line off the winding too, but is no move of the controller."""
    reviewed = review(WITH_BACKUP)
    lost = [one for one in flights_of(reviewed) if not one.move.chosen]
    assert any(one.unfed_ms for one in lost)
    assert list(flight_inrush(reviewed, lost)) == list(flight_inrush(reviewed, [])) == []
    assert list(move_gap(reviewed, lost)) == list(move_gap(reviewed, [])) == []


def test_an_inrush_after_a_move_without_the_load_counts_for_the_core_is_fed_all_the_same() -> None:
    reviewed = review(WITH_BACKUP)
    away = next(one for one in flights_of(reviewed) if one.move.name == '"buck 1" to backup')
    (inrush,) = flight_inrush(reviewed, [away])
    assert (inrush.where, inrush.witness.lasts_ms, inrush.witness.factor) == (away.move.name, 15, 3)


def test_a_move_that_no_promised_input_brings_about_passes_no_wrong_ratio() -> None:
    middle = flight(clinic(), '"direct" to "buck 1"')
    never = copy(middle.flown)
    never.move = replace(middle.move, inputs=None)
    assert list(wrong_ratios([middle]))
    assert list(wrong_ratios([replace(middle, flown=never)])) == []


def test_coils_that_drop_out_of_or_into_a_state_without_a_ratio_surge_above_nothing() -> None:
    lost = flight(clinic(), 'coil supply lost in "buck 1"')
    open_output = State((), NoGain(Kind.FLOATING, "nothing feeds it"))
    assert [one.where for one in dropout_unsafe([lost])] == [lost.move.name]
    assert list(dropout_unsafe([replace(lost, before=open_output), replace(lost, after=open_output)])) == []


def test_an_order_that_its_pause_does_not_keep_is_not_advised_again() -> None:
    """K1 may fly for 15 + 10 + 5 ms: with K2 10 ms behind it the surge is met though the order is the safest."""
    where, hasty = '"direct" to "buck 1"', Sequence(order="safest", pause_ms=Fraction(10))
    surge = found(replace(clinic(), sequence=hasty), "race-overvoltage")[where]
    assert (surge.witness.ratio, surge.mend) == (Fraction(320, 289), None)
