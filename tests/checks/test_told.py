"""Sentences word for word, each from a witness made by hand; where a sentence has two ways to go, both."""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest

from tapplan.checks.sentences import sentence
from tapplan.checks.sentences.words import short_volts
from tapplan.checks.witnesses import carried, coverage, moving, states, table
from tapplan.network.circuit import Position
from tapplan.network.turns import Kind

F = Fraction


def overlap(by: str, noise: str) -> table.Overlap:
    return table.Overlap(bands=("a", "b"), input_v=F(200), from_v=F(196), to_v=F(200), overlap_v=F(by),
                         noise_v=F(noise), noise_input_v=F(noise), wanted_v=F(5))  # fmt: skip


def outside(output: str, limit: str, course: tuple[int, ...] | None) -> table.HeldOutside:
    steps = None if course is None else tuple(F(one) for one in course)
    return table.HeldOutside(bands=("a",), energised=("K",), ratio=F(5, 4), input_v=F(200), reading_v=F("198.5"),
                             course_v=steps, output_v=F(output), limit_v=F(limit))  # fmt: skip


def unserved(*, below: bool, above: bool) -> coverage.Unserved:
    low = coverage.Stretched(energised=("K",), ratio=F(1), wanted_ratio=F("0.98765"))
    high = coverage.Stretched(energised=(), ratio=F(9, 8), wanted_ratio=F("1.15"))
    return coverage.Unserved(from_v=F(150), to_v=F("160.5"), input_v=F(150), energised=None, ratio=None,
                             output_v=None, below=low if below else None, above=high if above else None)  # fmt: skip


def no_return(reading: int, end: int) -> coverage.NoReturn:
    return coverage.NoReturn(input_v=F(170), reading_v=F(reading), limit_v=F(end), least_v=F(reading))


def backup_round(side: Any) -> moving.BackupRound:
    return moving.BackupRound(bands=("a", "backup"), side=side, reading_v=F(172), limit_v=F(170), least_v=F(172),
                              noise_v=F(1))  # fmt: skip


def idle(count: int) -> states.IdleStates:
    return states.IdleStates(kind=Kind.SHORTED, energised=("K1", "K2"), states=(("K1", "K2"),), count=count)


def step(allowed: str, count: int) -> moving.SuddenStep:
    return moving.SuddenStep(bands=("a", "b"), side="over", curve="iti-2000", input_v=F(240), output_v=F("309.6"),
                             factor=F("1.346"), lasts_ms=F("50.4"), limit_ms=F(allowed), allowed_pct=F("119.6"),
                             count=count)  # fmt: skip


def passed(output: int, limit: int) -> moving.RatioPassed:
    return moving.RatioPassed(energised=(), states=(("K1", "K2"),), movers=("K1", "K2"),
                              positions=(Position.FLIGHT, Position.DRIVEN), ratio=F(5, 4), input_v=F(200),
                              output_v=F(output), limit_v=F(limit), factor=F(1), lasts_ms=F(15))  # fmt: skip


def open_output(*assumed: moving.AssumedTime) -> moving.OpenOutput:
    return moving.OpenOutput(energised=(), states=(("K1",),), movers=("K1", "K2"), lasts_ms=F(30), assumed=assumed)


def backfed(*, pin: bool, safe: tuple[str, ...] | None) -> carried.Backfed:
    return carried.Backfed(energised=("K",), from_v=F(190) if pin else None, to_v=F(268) if pin else None,
                           output_v=None, safe=safe)  # fmt: skip


def reach(needed: int, *enough: F | None) -> carried.ChargerReach:
    return carried.ChargerReach(
        bands=("a", "b"), charge="float", output_v=F("10.5"), most_v=F(15), limit_v=F(needed), enough_v=enough
    )


def fed_low() -> carried.FedOutput:
    return carried.FedOutput(energised=(), least_v=F(190), most_v=F(230), output_v=F(190), limit_v=F(198))


def permitted(*, stated: bool) -> carried.LoadPermitted:
    return carried.LoadPermitted(
        bands=("a",),
        input_v=F(200),
        permitted_va=F(425),
        load_va=F(500),
        worst_pct=F(18),
        limited_by="winding body",
        stated=stated,
    )


def wire(name: str | None, *, stated: bool) -> carried.WireCurrent:
    return carried.WireCurrent(bands=("a",), input_v=F(170), current_a=F("2.1"), limit_a=F(2), wire=name,
                               density_a_mm2=F("3.25"), limit_a_mm2=F("2.5"), stated=stated)  # fmt: skip


def fill(*, stated: bool) -> carried.WindowFill:
    return carried.WindowFill(copper_mm2=F("181.6"), worst_pct=F("45.4"), limit_pct=F(35), stated=stated)


def coils(limit: str | None, power: str | None) -> carried.CoilVolts:
    needed, taken = (None if one is None else F(one) for one in (limit, power))
    return carried.CoilVolts(bands=("a",), energised=("K",), output_v=F("8.4"), limit_v=needed, power_w=taken)


def sight(limit: int | None, melts: str | None) -> carried.FuseSight:
    rated, seconds = (None if one is None else F(one) for one in (limit, melts))
    return carried.FuseSight(bands=("a",), input_v=F(168), section_a=F(33), current_a=F("9.89"), limit_a=rated,
                             melts_s=seconds)  # fmt: skip


HOT = carried.Hotness(bands=None, rise_k=F("83.6"), ambient_c=F(40), reached_c=F("123.6"), limit_c=F(110))
TOLD = [
    ("chatter", overlap("4", "4.5"), "they overlap by 4 V of input, no more than the reading's noise of 4.5 V: the "
     "relays can move back and forth at one steady input"),
    ("chatter", overlap("4", "4"), "they overlap by 4 V of input, no more than the reading's noise of 4 V: no margin "
     "is left, and the least more noise moves the relays back and forth at one steady input"),
    ("ripple-in-reading", table.Wandering(window_cycles=F("0.7"), factor=F("0.9"), least_factor=F("0.9"),
                                          most_factor=F("1.05")),
     "a window of 0.7 cycles is no whole number of half cycles: a steady line is read anywhere from -10.00 % to "
     "+5.00 % of what it is, and every promise is proven with that"),
    ("thin-hysteresis", overlap("4", "1"), "they overlap by 4 V of input; hysteresis_v asks for 5 V"),
    ("out-of-window", outside("250", "242", (180, 200)), "at 200 V in, read as 198.5 V, which the band holds, the "
     "output is 250 V, above the window's 242 V (shortest course: on at 180 V, then 200 V)"),
    ("out-of-window", outside("241.99999", "242", None), "at 200 V in, read as 198.5 V, which the band holds, the "
     "output is 241.99999 V, below the window's 242 V (no course of readings without noise leads there inside the "
     "range)"),
    ("uncovered-range", unserved(below=True, above=True), "inputs 150 V to 160.5 V: no usable relay state keeps the "
     "output inside the window; K energised would have to reach 10.5 V higher (ratio 0.9877 instead of 1.0000), or "
     "all relays at rest would have to begin 10.5 V lower (ratio 1.1500 instead of 1.1250)"),
    ("uncovered-range", unserved(below=False, above=False), "inputs 150 V to 160.5 V: no usable relay state keeps "
     "the output inside the window"),
    ("stranded", no_return(165, 168), "away at a steady 170 V in, a promised input, the reading can stay at 165 V, "
     "where return_v begins at 168 V: the load need never come back"),
    ("stranded", no_return(171, 168), "away at a steady 170 V in, a promised input, the reading can stay at 171 V, "
     "where return_v ends at 168 V: the load need never come back"),
    ("backup-cycling", backup_round("low"), "on the low side the load goes to the backup and comes back without end "
     "at one steady source: just gone, it can be read at 172 V, and return_v lets it back at 170 V; it must begin "
     "above that"),
    ("backup-cycling", backup_round("high"), "on the high side the load goes to the backup and comes back without "
     "end at one steady source: just gone, it can be read at 172 V, and return_v lets it back at 170 V; it must end "
     "below that"),
    ("shorted-state", idle(1), "one relay state no band uses, such as K1 + K2 energised: closed contacts bridge "
     "turns or tie the line to neutral"),
    ("shorted-state", idle(2), "2 relay states no band uses, such as K1 + K2 energised: closed contacts bridge "
     "turns or tie the line to neutral"),
    ("slow-recovery", step("0", 1), "a sudden change of the line to 240 V puts 309.6 V, 135 % of nominal, on the "
     "load for up to 50 ms; iti-2000 allows no time at all at that level, and 120 % for so long. The worst of 1 such "
     "step"),
    ("slow-recovery", step("3", 2), "a sudden change of the line to 240 V puts 309.6 V, 135 % of nominal, on the "
     "load for up to 50 ms; iti-2000 allows 3 ms at that level, and 120 % for so long. The worst of 2 such steps"),
    ("race-overvoltage", passed(250, 242), "with K1 in flight, K2 driven, 200 V in gives 250 V, above the window's "
     "242 V, for up to 15 ms"),
    ("race-dip", passed(250, 260), "with K1 in flight, K2 driven, 200 V in gives 250 V, below the window's 260 V, "
     "for up to 15 ms"),
    ("move-gap", open_output(), "while K1, K2 fly, the output can be on nothing for up to 30 ms, the longest of all "
     "moves (times as the file gives them)"),
    ("move-gap", open_output(moving.AssumedTime(key="operate", most_ms=F(15)), moving.AssumedTime(
        key="bounce", most_ms=F(5))), "while K1, K2 fly, the output can be on nothing for up to 30 ms, the longest "
     "of all moves (by default, common practice, no source: at most operate 15, bounce 5 ms)"),
    ("backfeed", backfed(pin=True, safe=()), "while it runs with K energised, the inlet's line pin stands at 190 V "
     "to 268 V against neutral; with all relays at rest the inlet would be dead"),
    ("backfeed", backfed(pin=False, safe=None), "while it runs with K energised, the inlet's line pin is joined to a "
     "live winding, and nothing fixes its volts against neutral; no relay state takes the inlet off, so another "
     "contact must"),
    ("charger-reach", reach(14, None, F(180)), "the charger gets 10.5 to 15.0 V and only steps down: it does not "
     'make float, 14 V, everywhere; too little in "a", in "b" below 180.0 V in'),
    ("charger-reach", reach(16, None, None), "the charger gets 10.5 to 15.0 V over the whole range and only steps "
     "down: it never makes float, 16 V"),
    ("feed-out-of-window", fed_low(), "over its range it puts 190.0 to 230.0 V on the output, with "
     "the load and without it: below the window's 198 V"),
    ("over-load", permitted(stated=True), "at 200.0 V in, winding body permits 425 VA; load_va is 500"),
    ("over-load", permitted(stated=False), "at 200.0 V in, winding body permits 425 VA; load_va is 500 (common "
     "practice, no source)"),
    ("over-current", wire("0.9 mm", stated=True), "it carries 2.100 A in 0.9 mm, 3.25 A/mm2, above 2.5 A/mm2"),
    ("over-current", wire(None, stated=False), "it carries 2.100 A in its wire, 3.25 A/mm2, above 2.5 A/mm2 (common "
     "practice, no source)"),
    (
        "window-full",
        carried.BuildUp(layers=5, flat_mm=F("6.445"), build_mm=F("7.26"), width_mm=F(7)),
        "5 layers build up to 6.4 mm, but 7.3 mm with their bulge; the window is 7.0 mm wide",
    ),
    (
        "window-full",
        carried.BuildUp(layers=5, flat_mm=F("6.445"), build_mm=F("7.26"), width_mm=F("6.4")),
        "5 layers build up to 6.4 mm, 7.3 mm with their bulge; the window is 6.4 mm wide",
    ),
    (
        "window-full",
        carried.TurnTooWide(turn_mm=F("5.17"), width_mm=F(4)),
        "a turn takes 5.2 mm along the limb; between flanges and margins there are 4.0 mm",
    ),
    ("window-full", fill(stated=True), "bare copper of 182 mm2 takes 45% of the window, more than 35%"),
    ("window-full", fill(stated=False), "bare copper of 182 mm2 takes 45% of the window, more than 35% (common "
     "practice, no source)"),
    ("hot", HOT, "estimated at 124 C in 40 C of air, above 110 C; an estimate from losses and thermal resistance, "
     "not a type test"),
    ("cutout-trips", HOT, "estimated at 124 C; the cut-out of 110 C opens in normal service"),
    ("coil-starved", coils("18", "0.5"), "at its lowest input the coil supply gives 8.40 V; K energised needs 18.00 "
     "V to pull in, 0.50 W of coils"),
    ("coil-starved", coils(None, None), "at its lowest input the coil supply gives 8.40 V; K energised needs an "
     "unstated voltage"),
    ("fuse-blind", sight(10, None), "at 168.0 V in, the shorted turns carry 33 A while the inlet carries 9.9 A: the "
     "fuse of 10 A sees less than twice its rating and blows late or never, and the section burns"),
    ("fuse-blind", sight(None, "0.512"), "at 168.0 V in, the shorted turns carry 33 A while the inlet carries 9.9 A: "
     "the fuse melts after 0.51 s at the earliest, and the section burns"),
]  # fmt: skip


@pytest.mark.parametrize(("code", "witness", "told"), TOLD, ids=[f"{code} {n}" for n, (code, *_) in enumerate(TOLD)])
def test_a_sentence_word_for_word(code: str, witness: Any, told: str) -> None:
    assert sentence(code, witness) == told


def test_volts_in_a_verdict_are_told_to_a_hundredth() -> None:
    assert (short_volts(F("1.239")), short_volts(F("-0.504")), short_volts(F(3))) == ("1.24 V", "-0.5 V", "3 V")
