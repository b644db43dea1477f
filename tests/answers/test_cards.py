"""The cards of a report: each is worked out again from the other answers or by hand, and so is its tone."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import cache
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers import cards as parts
from tapplan.answers.cards import Card, CardSources, Tone, cards, examined
from tapplan.checks.finding import Severity
from tapplan.checks.flight import flights_of
from tapplan.checks.recovery import StepVerdict, curve_of, verdicts, worst_each
from tapplan.checks.review import Review, review
from tapplan.checks.rules import findings_in
from tapplan.design.file import parse
from tapplan.exact import Span
from tapplan.network.turns import Kind
from tests.examples import ROOT, SHIPPED

F = Fraction
NAMES = [file.stem for file in SHIPPED]
RIDGE, HOSTEL, SPRING = "ridge-dispensary", "hostel-review", "spring-pump"


def text_of(name: str) -> str:
    return (ROOT / "designs" / f"{name}.toml").read_text(encoding="utf-8")


@cache
def looked_at(text: str) -> CardSources:
    return examined(review(parse(text)))


def card(heading: str, text: str) -> Card:
    (found,) = (one for one in cards(looked_at(text)) if one.heading == heading)
    return found


def test_the_cards_stand_in_the_order_of_the_report() -> None:
    assert [(one.heading, one.anchor) for one in cards(looked_at(text_of(RIDGE)))] == [
        ("Promised", "promises"),
        ("Verdict", "promises"),
        ("Sudden steps", "steps"),
        ("Moves", "moves"),
        ("Single faults", "faults"),
        ("With all coils off", "traits"),
        ("Findings", "findings"),
    ]


def test_what_is_promised_is_the_files_window_and_range() -> None:
    assert "window_v     = [207, 253]" in text_of(RIDGE)
    assert "range_v      = [168, 274]" in text_of(RIDGE)
    assert card("Promised", text_of(RIDGE)).told == "207 - 253 V out for 168 - 274 V in"


@pytest.mark.parametrize("name", NAMES)
def test_promises_are_bad_only_where_one_is_broken(name: str) -> None:
    found = looked_at(text_of(name))
    broken = any(not one.held for one in found.verdict.promises)
    wanted = Tone.BAD if broken else Tone.GOOD
    assert card("Promised", text_of(name)).tone is card("Verdict", text_of(name)).tone is wanted
    assert card("Verdict", text_of(name)).told == found.verdict.told
    assert broken is (name == HOSTEL)


@pytest.mark.parametrize("name", NAMES)
def test_a_card_is_short_enough_to_be_read_on_paper(name: str) -> None:
    """The hostel's dead zones make its longest."""
    assert max(len(one.told) for one in cards(looked_at(text_of(name)))) <= (120 if name == HOSTEL else 110)


# --- sudden steps ---


@pytest.mark.parametrize("name", NAMES)
def test_the_steps_that_leave_the_curve_are_counted_and_the_worst_on_either_side_is_told(name: str) -> None:
    one = looked_at(text_of(name)).review
    every = worst_each(verdicts(one, curve_of(one)))
    left = [each for each in every if each.allowed_ms is not None and each.lasts_ms > each.allowed_ms]
    assert left
    shown = card("Sudden steps", text_of(name))
    verb = "leaves" if len(left) == 1 else "leave"
    count, _, worst = shown.told.partition(";")[0].partition(", worst ")
    assert count == f"{len(left)} of {len(every)} {verb} the curve ITI (CBEMA)"
    sides = [[each for each in left if each.side == side] for side in ("over", "under")]
    assert worst == ", ".join(borne(max(side, key=lambda each: each.harm)) for side in sides if side)
    assert shown.tone is Tone.MIND


def borne(one: StepVerdict) -> str:
    """In volts and ms, to a tenth; what is borne to three figures."""
    assert one.allowed_ms is not None
    volts, lasts = (f"{float(value):.1f}".removesuffix(".0") for value in (one.output_v, one.lasts_ms))
    return f"{volts} V for {lasts} ms ({float(one.allowed_ms):.3g} borne)"


def test_the_worst_steps_of_the_dispensary_by_hand() -> None:
    """Its highest ratio, 599 to 469 turns, on 274 V, or 152.15 % of 230 V, for a cycle and 10 ms of the relay.

    The curve falls from 200 % at 1 ms to 140 % at 3 ms in log time. Under it: from the highest ratio to the backup,
    which has nothing to give at 0 V, for a cycle, 10 ms and 15 ms more until the contact stands.
    """
    volts = 274 * 599 / 469
    borne_ms = 3 ** ((200 - 100 * volts / 230) / 60)
    told = card("Sudden steps", text_of(RIDGE)).told
    assert told.endswith(f", worst {volts:.1f} V for 30 ms ({borne_ms:.3g} borne), 0 V for 45 ms (20 borne)")


def test_a_curve_without_an_upper_part_has_no_worst_over_it() -> None:
    told = card("Sudden steps", with_curve(RIDGE, "semi-f47")).told
    assert " the curve SEMI F47-0706, worst 0 V for 45 ms (16.7 borne)" in told  # a cycle of 60 Hz
    assert told.count("borne") == 1


def with_curve(name: str, key: str) -> str:
    return text_of(name).replace("[output]\n", f'[output]\ntolerance_curve = "{key}"\n')


def test_steps_off_the_very_curve_that_the_file_states_are_bad() -> None:
    assert card("Sudden steps", with_curve(RIDGE, "iti-2000")).tone is Tone.BAD
    assert card("Sudden steps", text_of(RIDGE)).tone is Tone.MIND


def test_steps_that_all_stay_inside_are_good_unless_some_are_not_followed() -> None:
    found = looked_at(text_of(RIDGE))
    every = tuple(replace(one, kept=True) for one in found.steps.steps)
    kept = replace(found, steps=replace(found.steps, steps=every))
    shown = cards(kept)[2]
    assert (shown.told, shown.tone) == (
        f"none of {len(found.steps.steps)} leave the curve ITI (CBEMA)",
        Tone.GOOD,
    )
    unheld = replace(kept, steps=replace(kept.steps, unheld_inputs=True))
    assert cards(unheld)[2].told.endswith("; dead zones left out")
    assert cards(unheld)[2].tone is Tone.MIND
    none = replace(found, steps=replace(found.steps, steps=()))
    assert cards(none)[2].told == "none leaves the steady levels of ITI (CBEMA)"
    other = replace(found, steps=replace(found.steps, curve="of-no-book"))
    assert " the curve of-no-book, " in cards(other)[2].told


def test_the_hostels_dead_zone_is_told_beside_its_steps() -> None:
    assert card("Sudden steps", text_of(HOSTEL)).told.endswith("; dead zones left out")


# --- moves ---


def volts_outside(one: Review) -> list[str]:
    """The highest and the lowest output that a move under load meets beyond both its ends and the window."""
    high, low = one.window.high, one.window.low
    for each in flights_of(one):
        inputs = each.move.inputs
        if each.promised and each.ends and each.met and inputs is not None:
            high = max(high, inputs.high * max(each.met)) if max(each.met) > max(each.ends) else high
            low = min(low, inputs.low * min(each.met)) if min(each.met) < min(each.ends) else low
    beyond = [volts for volts, end in ((high, one.window.high), (low, one.window.low)) if volts != end]
    return [f"{float(volts):.4g} V" for volts in beyond]


@pytest.mark.parametrize("name", NAMES)
def test_the_longest_gap_is_that_of_the_flights_and_beside_it_stand_the_volts_outside_the_window(name: str) -> None:
    one = looked_at(text_of(name)).review
    worst = max(flights_of(one), key=lambda each: each.gap_ms)
    shown = card("Moves", text_of(name)).told
    assert f"for up to {float(worst.gap_ms):g} ms, " in shown
    outside = volts_outside(one)
    if outside:
        assert re.sub(r" for [0-9.]+ ms", "", shown.partition("; moves can pass ")[2]) == ", ".join(outside)
        assert "ratio" not in shown
        return
    ends = [f"{float(end):.4g}" for end in (min(worst.met), max(worst.met))] if worst.met else []
    met = " to ".join(dict.fromkeys(ends))
    assert (f"ratios met in between {met}" if ends else "no ratio met in between") in shown


def test_the_volts_that_the_dispensarys_moves_pass_by_hand() -> None:
    """Up: both coils driven, 599 to 469 turns, on the highest line that is read as the end of the direct band.

    That lasts as long as the first relay takes to let go, 10 ms. Down: none driven, 530 to 599, on the lowest line
    that is read as the beginning of the first boost, for the 15 ms that the other takes to pick up. The reading is
    within 1 % and half of the 1 V of noise.
    """
    surge, dip = (245 + 0.5) / 0.99 * 599 / 469, (189 - 0.5) / 1.01 * 530 / 599
    told = card("Moves", text_of(RIDGE)).told
    assert told.endswith(f"; moves can pass {surge:.4g} V for 10 ms, {dip:.4g} V for 15 ms")


def test_the_volts_over_the_window_come_before_those_under_it() -> None:
    found = looked_at(text_of(RIDGE))
    turned = replace(found, verdict=replace(found.verdict, traits=found.verdict.traits[::-1]))
    assert cards(turned)[3].told == cards(found)[3].told


def test_the_orchards_longest_gap_follows_from_the_usual_times() -> None:
    """With no times stated a relay operates within 15 ms, transfers within 10 and bounces up to 5.

    Alone it leaves the output on nothing for the last two; of two told together one may come 15 ms later.
    """
    assert "for up to 30 ms" in card("Moves", text_of("orchard-cold-room")).told
    assert "for up to 15 ms" in card("Moves", text_of(SPRING)).told  # one relay: 10 + 5


def limited(name: str, limits: str) -> str:
    return f"{text_of(name)}\n[limits]\n{limits}\n"


def test_moves_are_good_within_every_limit_bad_beyond_one_and_to_be_weighed_without() -> None:
    assert card("Moves", text_of(SPRING)).tone is Tone.MIND
    assert card("Moves", limited(SPRING, "move_gap_ms = 15")).tone is Tone.GOOD
    assert card("Moves", limited(SPRING, "move_gap_ms = 14")).tone is Tone.BAD


def test_a_surge_beyond_its_limit_is_bad_and_no_other_cards_affair() -> None:
    text = limited(RIDGE, "surge_v = 254")
    assert card("Moves", text).tone is Tone.BAD
    assert card("With all coils off", text).tone is Tone.MIND


def test_moves_that_can_pass_a_short_are_counted() -> None:
    found = looked_at(text_of(RIDGE))
    first, *others = found.moves.moves
    made = replace(found, moves=replace(found.moves, moves=(replace(first, shorted=2), *others)))
    assert cards(made)[3].told.endswith(f"; 1 of {len(others) + 1} moves can pass a short")
    assert "short" not in cards(found)[3].told


def test_a_stage_that_never_moves_says_so() -> None:
    found = looked_at(text_of(SPRING))
    still = replace(found, moves=replace(found.moves, moves=()), verdict=replace(found.verdict, traits=()))
    assert (cards(still)[3].told, cards(still)[3].tone) == ("no relay ever moves", Tone.GOOD)
    make_first = replace(found.moves.moves[0], gap_ms=F(0))
    quick = replace(found, moves=replace(found.moves, moves=(make_first,)))
    assert "the output is never on nothing" in cards(quick)[3].told


# --- single faults ---


def test_the_spring_pumps_faults_are_counted_by_hand() -> None:
    """Fifteen faults in two bands; only the bridged relay shorts turns, in both."""
    shown = card("Single faults", text_of(SPRING))
    assert shown.told == "in 18 of 30 cases (a fault in a band) the output leaves the window; 2 short turns"
    assert shown.tone is Tone.MIND


@pytest.mark.parametrize("name", NAMES)
def test_faults_are_those_whose_output_leaves_the_window(name: str) -> None:
    found = looked_at(text_of(name))
    window = found.review.window
    left = [
        one
        for one in found.faults.faults
        if not one.away and (one.output_v is None or one.output_v.low < window.low or one.output_v.high > window.high)
    ]
    shorts = [one for one in left if one.kind == "shorted"]
    every = len(found.faults.faults)
    assert card("Single faults", text_of(name)).told == (
        f"in {len(left)} of {every} cases (a fault in a band) the output leaves the window; {len(shorts)} short turns"
    )


def test_more_faults_that_short_than_the_file_allows_are_bad() -> None:
    assert card("Single faults", limited(SPRING, "stuck_shorts = 0")).tone is Tone.BAD
    assert card("Single faults", limited(SPRING, "stuck_shorts = 1")).tone is Tone.MIND


def test_without_a_harmful_fault_there_is_nothing_to_weigh() -> None:
    found = looked_at(text_of(SPRING))
    mild = tuple(one for one in found.faults.faults if one.harmless)
    bare = replace(found, faults=replace(found.faults, faults=mild), verdict=replace(found.verdict, traits=()))
    assert cards(bare)[4].told == (
        f"in none of {len(mild)} cases (a fault in a band) does the output leave the window; none short turns"
    )
    assert cards(bare)[4].tone is Tone.GOOD


# --- all coils off ---


@pytest.mark.parametrize(
    ("name", "kind", "ratio"),
    [(RIDGE, "buck", F(530, 599)), ("harbour-crane", "direct", F(1)), ("signal-box", "buck", F(230.9) / 262)],
)
def test_at_rest_the_load_gets_the_rest_states_share_of_the_mains(name: str, kind: str, ratio: F) -> None:
    found = looked_at(text_of(name)).review
    shown = card("With all coils off", text_of(name)).told
    assert shown.startswith(f"{kind}: ")
    low, _, high = shown.removeprefix(f"{kind}: ").split(" V")[0].partition(" - ")
    assert float(high) == pytest.approx(float(ratio * found.mains.high), abs=0.06)
    assert float(low) <= float(ratio * found.mains.low) + 0.06
    assert float(low) == pytest.approx(float(ratio * found.mains.low), rel=0.02)


def test_at_rest_on_nothing_is_told_by_its_kind() -> None:
    assert card("With all coils off", text_of("shepherds-hut")).told == "no output: unfed"


def test_rest_is_good_inside_the_window_and_within_its_limit_bad_beyond_it() -> None:
    plain = text_of(SPRING)
    assert card("With all coils off", plain).tone is Tone.MIND
    near = plain.replace("[178, 250]", "[206, 250]").replace("source_ohm   = 1.1\n", "")
    shown = card("With all coils off", near)
    assert shown.told.endswith("V, inside the window")
    assert shown.tone is Tone.GOOD


def test_turns_shorted_at_rest_are_bad() -> None:
    """A second relay whose resting throw ties the line to neutral."""
    text = text_of(SPRING) + '\n[[relay]]\nname = "S"\ncom = "IN"\nnc = "N"\n'
    shown = card("With all coils off", text)
    assert (shown.told, shown.tone) == ("turns shorted or line tied to neutral", Tone.BAD)


# --- findings ---


@pytest.mark.parametrize("name", NAMES)
def test_findings_are_counted_and_the_first_of_the_worst_is_named(name: str) -> None:
    found = looked_at(text_of(name))
    known = found.verdict.findings
    shown = card("Findings", text_of(name))
    worst = next(each for each in ("fault", "warning", "note") if any(one.severity == each for one in known))
    first = next(one for one in known if one.severity == worst)
    count = sum(one.severity == worst for one in known)
    assert shown.told.startswith(f"{count} {worst}")
    assert shown.told.endswith(f"; first: {first.code}, {first.where}")
    assert shown.tone is {"fault": Tone.BAD, "warning": Tone.MIND, "note": Tone.GOOD}[worst]
    assert first.code in {one.code for one in findings_in(found.review)}


def test_nothing_found_is_good() -> None:
    found = looked_at(text_of(SPRING))
    shown = cards(replace(found, verdict=replace(found.verdict, findings=())))[-1]
    assert (shown.told, shown.tone) == ("none", Tone.GOOD)


# --- sentences by hand ---


@pytest.mark.parametrize(("count", "told"), [(0, "none short turns"), (1, "1 shorts turns"), (2, "2 short turns")])
def test_faults_that_short_are_counted(count: int, told: str) -> None:
    assert parts._shorting(count) == told


def met(low: F | None, high: F | None, gap: int = 15) -> Any:
    return SimpleNamespace(lowest=SimpleNamespace(ratio=low), highest=SimpleNamespace(ratio=high), gap_ms=F(gap),
                           between="a > b", shorted=0)  # fmt: skip


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (F(1), F(5, 4), "ratios met in between 1 to 1.25"),
        (F(5, 4), F(5, 4), "ratios met in between 1.25"),
        (F(1), None, "no ratio met in between"),
        (None, F(1), "no ratio met in between"),
        (None, None, "no ratio met in between"),
    ],
)
def test_ratios_that_the_longest_gap_passes(low: F | None, high: F | None, told: str) -> None:
    assert parts._passed(met(low, high)) == told


def test_a_gap_is_told_in_milliseconds_or_not_at_all() -> None:
    assert parts._gap(met(None, None)) == "output on nothing for up to 15 ms, a > b"
    assert parts._gap(met(None, None, 0)) == "a > b: the output is never on nothing"


def step(side: str, harm: int, *, kept: bool = False) -> Any:
    return SimpleNamespace(side=side, harm=[float(not kept), harm], kept=kept, output_v=F(harm), lasts_ms=F("30.04"),
                           allowed_told="20")  # fmt: skip


def stepped(*rows: Any, wrong: bool = False, unheld: bool = False) -> Card:
    made: Any = SimpleNamespace(steps=rows, wrong=wrong, unheld_inputs=unheld, curve="iti-2000")
    return parts._stepped(made)


def test_one_step_leaves_and_several_leave_the_worst_on_each_side_told() -> None:
    one = stepped(step("over", 300), step("over", 310, kept=True))
    assert (one.told, one.tone) == (
        "1 of 2 leaves the curve ITI (CBEMA), worst 300 V for 30 ms (20 borne)", Tone.MIND,
    )  # fmt: skip
    both = stepped(step("under", 3), step("under", 7), step("over", 300), step("over", 299))
    assert both.told == (
        "4 of 4 leave the curve ITI (CBEMA), worst 300 V for 30 ms (20 borne), 7 V for 30 ms (20 borne)"
    )
    assert stepped(step("over", 300), wrong=True).tone is Tone.BAD
    assert stepped(step("over", 300, kept=True)).tone is Tone.GOOD
    assert stepped(unheld=True).tone is Tone.MIND
    assert stepped(unheld=True).told == "none leaves the steady levels of ITI (CBEMA); dead zones left out"


def of_traits(*limits: F | None, severity: Severity | None = None) -> Any:
    findings = () if severity is None else (SimpleNamespace(code="move-gap", severity=severity),)
    return SimpleNamespace(findings=findings, traits=[SimpleNamespace(code="move-gap", limit=one) for one in limits])


@pytest.mark.parametrize(
    ("found", "tone"),
    [
        (of_traits(), Tone.GOOD),
        (of_traits(F(15)), Tone.GOOD),
        (of_traits(None), Tone.MIND),
        (of_traits(F(15), None), Tone.MIND),
        (of_traits(F(15), severity=Severity.FAULT), Tone.BAD),
        (of_traits(None, severity=Severity.FAULT), Tone.BAD),
        (of_traits(F(15), severity=Severity.WARNING), Tone.MIND),
        (of_traits(F(15), severity=Severity.NOTE), Tone.GOOD),
    ],
)
def test_a_tone_is_the_worse_of_findings_and_of_traits_without_a_limit(found: Any, tone: Tone) -> None:
    assert parts._tone(found, ["move-gap"]) is tone
    assert parts._tone(found, ["stuck-short"]) is Tone.GOOD


def test_of_two_tones_the_worse_counts() -> None:
    ordered = [Tone.GOOD, Tone.MIND, Tone.BAD]
    for place, one in enumerate(ordered):
        for other in ordered[: place + 1]:
            assert parts._worse(one, other) is parts._worse(other, one) is one
    assert parts._weighed(0) is Tone.GOOD
    assert parts._weighed(1) is Tone.MIND


def resting(
    ratio: F | None, full: F | None = None, kind: str = "direct", window: tuple[int, int] = (180, 280)
) -> str:
    serving = [] if full is None else [
        SimpleNamespace(full=F(9), state=SimpleNamespace(energised=("K",))),
        SimpleNamespace(full=full, state=SimpleNamespace(energised=())),
    ]  # fmt: skip
    made: Any = SimpleNamespace(rest=SimpleNamespace(ratio=ratio, kind=kind), serving=serving,
                                mains=Span(F(200), F(250)), window=Span(F(window[0]), F(window[1])))  # fmt: skip
    return parts._rest_told(made)


def test_at_rest_the_lowest_mains_count_at_full_load_and_the_highest_without() -> None:
    """0.95 of 200 V at full load, the ratio itself of 250 V without."""
    assert resting(F(1), F("0.95")) == "direct: 190 - 250 V, inside the window"
    assert resting(F(1)) == "direct: 200 - 250 V, inside the window"
    assert resting(F(1), window=(200, 250)) == "direct: 200 - 250 V, inside the window"
    assert resting(F(1), window=(201, 250)) == "direct: 200 - 250 V, against 201 - 250 V promised"
    assert resting(F(1), window=(200, 249)) == "direct: 200 - 250 V, against 200 - 249 V promised"
    assert resting(F(-1), kind="reversed").startswith("reversed: -250 - -200 V, against ")
    assert resting(None, kind="floating") == "no output: floating"
    assert resting(None, kind=Kind.SHORTED) == "turns shorted or line tied to neutral"
