"""What is advised as a number: tried on the design, and never a cure worse than the disease."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from random import Random

import pytest

from tapplan.checks import advice, recovery
from tapplan.checks.advice import advised, tried_cure
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review, review
from tapplan.checks.rules import findings
from tapplan.checks.witnesses.states import LoosePoint
from tapplan.control.table import control_table, derived_table
from tapplan.design.file import load
from tapplan.design.model import Backup, Band, Design, Sensing
from tests.checks.test_hunting import pump
from tests.checks.test_margins import stage
from tests.examples import ROOT, SHIPPED, TAPPED, design

F = Fraction

QUICK = {key: (F(0), F(1)) for key in ("operate_ms", "release_ms", "transfer_ms", "bounce_ms")}


def faults(made: Design) -> set[tuple[str, str]]:
    return {(one.code, one.where) for one in findings(made) if one.severity is Severity.FAULT}


def with_hold(made: Design, name: str, ends: tuple[Fraction, Fraction]) -> Design:
    return replace(made, bands=tuple(replace(one, hold_v=ends) if one.name == name else one for one in made.bands))


def end_told(finding: Finding) -> Fraction:
    return F(finding.advice.split(" V ")[0].rpartition(" ")[2])


def test_every_end_advised_mends_its_finding_and_nothing_else_breaks() -> None:
    """Random tables whose holds reach too far: each advice, taken, leaves that finding out and adds no fault."""
    chance = Random(5)
    given = tried = 0
    for _ in range(60):
        shift = [chance.randint(-2, 7) for _ in range(4)]
        made = stage(bands=[("boost 2", ["KO"], 164, 190 + shift[0]), ("boost 1", [], 187 - shift[1], 215 + shift[2]),
                            ("direct", ["KL", "KO"], 212 - shift[3], 244)])  # fmt: skip
        before = faults(made)
        for one in findings(made):
            if one.code != "out-of-window":
                continue
            tried += 1
            if not one.advice:
                continue
            given += 1
            name = (one.witness.bands or ("",))[0]
            low, high = next(band.hold_v for band in made.bands if band.name == name) or (F(0), F(0))
            ends = (low, end_told(one)) if "up to" in one.advice else (end_told(one), high)
            after = faults(with_hold(made, name, ends))
            assert (one.code, one.where) not in after or len([b for b in before if b == (one.code, one.where)]) > 1
            assert after <= before
    assert tried >= 60
    assert given >= 40


def test_the_return_advised_against_cycling_and_against_being_stranded() -> None:
    cycling = pump("170.4", noise=1)
    (found,) = [one for one in findings(cycling) if one.code == "backup-cycling"]
    assert found.advice == ""  # so far in that it does not cycle, the load could be stranded at 171 V
    wide = replace(cycling, mains=replace(cycling.mains, range_v=(F(185), F(235))))
    (found,) = [one for one in findings(wide) if one.code == "backup-cycling"]
    low, high = (F(end) for end in found.advice.split("[")[1].split("]")[0].split(", "))
    assert faults(replace(wide, backup=replace(wide.backup, return_v=(low, high)))) == set()  # type: ignore[type-var]
    backup = Backup(leave_v=(F(160), F(250)), return_v=(F(170), F(243)))
    (found,) = [one for one in findings(stage(backup=backup)) if one.code == "stranded"]
    assert found.advice == "return_v = [165.82, 243] mends it"
    assert faults(stage(backup=replace(backup, return_v=(F("165.82"), F(243))))) == set()


def test_no_window_of_other_than_half_cycles_is_ever_advised() -> None:
    """A window of 0.39 cycle would be quick enough, and read a steady 200 V as 172 to 224.5 V."""
    made = load(ROOT / "designs" / "signal-box.toml")
    reviewed = review(made)
    curve = recovery.curve_of(reviewed)
    found = [cure for side in ("over", "under") for cure in recovery.cures(reviewed, curve, side)]  # type: ignore[arg-type]
    assert all(cure.window_cycles is None or (2 * cure.window_cycles).denominator == 1 for cure in found)
    assert [one.advice for one in findings(made, ["slow-recovery"])] == ["", ""]
    hasty = replace(made, controller=None, sensing=replace(made.sensing, window_cycles=F(39, 100), confirm_ms=F(0)))
    assert {"dead-zone", "out-of-window", "ripple-in-reading"} <= {one.code for one in findings(hasty)}


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_a_cure_keeps_every_step_to_the_curve_and_every_promise(file) -> None:  # type: ignore[no-untyped-def]
    """Waiting less cures what long waiting does, where the relays are quick enough."""
    shipped = load(file)
    sensing = replace(shipped.sensing, confirm_ms=F(600), confirm_up_ms=None, confirm_down_ms=None)
    slow = replace(shipped, relays=tuple(replace(one, **QUICK) for one in shipped.relays), sensing=sensing)
    reviewed, cured = review(slow), 0
    for curve in recovery.standards.CURVES:
        for side in ("over", "under"):
            cure = tried_cure(reviewed, curve, side)  # type: ignore[arg-type]
            if cure is None:
                continue
            cured += 1
            made = replace(slow, sensing=cure.applied(slow.sensing))
            changed = review(made)
            left = [one for one in recovery.verdicts(changed, curve) if one.side == side and not one.kept]
            assert left == []
            assert faults(made) <= faults(slow)
    assert cured


def test_a_cure_exists_where_waiting_is_what_is_wrong() -> None:
    """Relays of a millisecond and a confirmation of 600 ms: the curve lets a sag of 70 % stand for half a second."""
    made = stage(window=(230, 200, 260), sensing=Sensing(error_pct=F(1), noise_v=F(1), confirm_ms=F(600)))
    made = replace(made, relays=tuple(replace(one, **QUICK) for one in made.relays))
    reviewed = review(made)
    curve = recovery.curve_of(reviewed)
    assert any(not one.kept and one.side == "under" for one in recovery.verdicts(reviewed, curve))
    cure = tried_cure(reviewed, curve, "under")
    assert cure is not None
    assert (cure.window_cycles, cure.confirm_ms < 600) == (None, True)
    slower = replace(cure, confirm_ms=cure.confirm_ms + 1)
    changed = review(replace(made, sensing=slower.applied(made.sensing)))
    assert any(not one.kept and one.side == "under" for one in recovery.verdicts(changed, curve))


def test_a_code_without_an_adviser_is_left_as_it_is() -> None:
    reviewed = review(stage())
    plain = Finding("loose-end", Severity.WARNING, "here", LoosePoint(points=("X",)))
    assert advised(reviewed, plain) is plain


def test_the_advice_on_a_sudden_step_is_the_cure_tried_and_is_proven_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Of two sides over the curve by waiting alone: the present design is gone through once, each cure once."""
    made = stage(window=(230, 200, 260), sensing=Sensing(error_pct=F(1), noise_v=F(1), confirm_ms=F(600)))
    made = replace(made, relays=tuple(replace(one, **QUICK) for one in made.relays))
    ran: list[Review] = []
    run = advice._run
    monkeypatch.setattr(advice, "_run", lambda reviewed: ran.append(reviewed) or run(reviewed))
    reviewed = review(made)
    found = [one for one in recovery.slow_recovery(reviewed) if one.witness.side == "under"]
    (under,) = [advised(reviewed, one) for one in found]
    assert under.mend == tried_cure(review(made), recovery.curve_of(reviewed), "under")
    proven = ran[: len(ran) // 2]  # the rest is the trial just made to compare with
    assert [one.design.sensing.confirm_ms for one in proven] == [600, under.mend.confirm_ms]


# --- what noise at the outer ends once let through ---


def hostel(noise: object = 2) -> Design:
    """The table under review with the bands that tapplan derives for its wiring."""
    made = load(ROOT / "designs" / "hostel-review.toml")
    made = replace(made, sensing=replace(made.sensing, noise_v=F(str(noise))))
    rows = derived_table(made).rows
    return replace(made, bands=tuple(
        Band(name=row.name, energised=row.energised, hold_v=(row.hold.low, row.hold.high)) for row in rows
    ))  # fmt: skip


@pytest.mark.parametrize("noise", [0, 1, 2, "3.9"])
def test_a_derived_table_holds_every_reading_of_every_promised_input(noise: object) -> None:
    """At 200 V read 1 % low with the noise below it, and at 282 V read 1 % high with the noise above it."""
    made = hostel(noise)
    half = F(str(noise)) / 2
    rows = control_table(made).rows
    assert rows[0].hold.low <= F("0.99") * 200 - half
    assert rows[-1].hold.high >= F("1.01") * 282 + half
    assert [code for code, _ in faults(made) if code == "dead-zone"] == []


def test_the_same_table_with_its_lowest_end_a_volt_higher_has_a_dead_zone() -> None:
    made = hostel()
    low, high = made.bands[0].hold_v or (F(0), F(0))
    assert low == 197
    assert ("dead-zone", 'below band "boost"') in faults(with_hold(made, "boost", (low + 1, high)))


def test_a_derived_band_really_ends_inside_the_window() -> None:
    """Error 0.5 %, noise 2 V, window top 253 V: a direct band up to 251 V would really hold 252/0.995 = 253.3 V."""
    made = replace(stage(), sensing=Sensing(error_pct=F(1, 2), noise_v=F(2), hysteresis_v=F(4)), bands=())
    made = replace(made, mains=replace(made.mains, range_v=(F(190), F(270))))
    (direct,) = [row for row in derived_table(made).rows if row.ratio == 1]
    assert (direct.hold.high + 1) / F("0.995") <= 253
    assert direct.hold.high < 251


@pytest.mark.parametrize("file", [one for one in SHIPPED if one.stem != "hostel-review"], ids=lambda file: file.stem)
def test_no_shipped_design_has_a_fault_it_is_not_meant_to_show(file) -> None:  # type: ignore[no-untyped-def]
    assert faults(load(file)) == set()


def test_every_overlap_advised_mends_the_hand_over_and_keeps_the_output_inside_the_window() -> None:
    """Random tables whose neighbours part, touch or overlap too little: each advice, taken, leaves nothing there."""
    chance = Random(11)
    given = tried = 0
    for _ in range(60):
        shift = [chance.randint(-6, 4) for _ in range(4)]
        made = stage(bands=[("boost 2", ["KO"], 164, 190 + shift[0]), ("boost 1", [], 187 - shift[1], 215 + shift[2]),
                            ("direct", ["KL", "KO"], 212 - shift[3], 244)])  # fmt: skip
        before = faults(made)
        for one in findings(made):
            if one.code not in ("dead-zone", "chatter", "thin-hysteresis") or len(one.witness.bands) != 2:
                continue
            tried += 1
            if not one.advice:
                continue
            given += 1
            name = one.advice.split('"')[1]
            low, high = next(band.hold_v for band in made.bands if band.name == name) or (F(0), F(0))
            ends = (low, end_told(one)) if "up to" in one.advice else (end_told(one), high)
            changed = with_hold(made, name, ends)
            there = [each.code for each in findings(changed) if each.where == one.where]
            assert not {"dead-zone", "chatter", "thin-hysteresis"} & set(there), (one.told, there)
            assert faults(changed) <= before
    assert tried > 60
    assert given > 40


@pytest.mark.parametrize("bands", [[("off", ["KO"], 165, 191), ("on", [], 195, 216)],
                                   [("on", [], 165, 191), ("off", ["KO"], 195, 216)]])  # fmt: skip
def test_no_overlap_is_advised_beside_a_band_whose_output_is_open(bands: list[tuple[object, ...]]) -> None:
    """Held to the volt by no window, for it has no output: neither band is told to be held farther."""
    made = design(TAPPED, {"KL": ("LINE", "A", "C"), "KO": ("OUT", "B", "X")}, mains=(230, 168, 240), bands=bands)
    (found,) = [one for one in findings(made, ["dead-zone"]) if len(one.witness.bands) == 2]
    assert found.advice == ""
