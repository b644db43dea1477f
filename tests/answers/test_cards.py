"""The cards of a report: each is worked out again from the other answers or by hand, and so is its tone."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest

from tapplan.answers.cards import Card, CardSources, Tone, cards, examined
from tapplan.checks.flight import flights_of
from tapplan.checks.recovery import curve_of, verdicts, worst_each
from tapplan.checks.review import review
from tapplan.checks.rules import findings_in
from tapplan.design.file import parse
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


# --- sudden steps ---


@pytest.mark.parametrize("name", NAMES)
def test_the_steps_that_leave_the_curve_are_counted(name: str) -> None:
    one = looked_at(text_of(name)).review
    against = curve_of(one)
    every = worst_each(verdicts(one, against))
    left = [each for each in every if each.allowed_ms is not None and each.lasts_ms > each.allowed_ms]
    assert left
    shown = card("Sudden steps", text_of(name))
    verb = "leaves" if len(left) == 1 else "leave"
    assert shown.told.partition(";")[0] == f"{len(left)} of {len(every)} {verb} the curve {against.key}"
    assert shown.tone is Tone.MIND


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
    assert (shown.told, shown.tone) == (f"none of {len(found.steps.steps)} leave the curve iti-2000", Tone.GOOD)
    unheld = replace(kept, steps=replace(kept.steps, unheld_inputs=True))
    assert cards(unheld)[2].told.endswith("; steps to inputs that no band holds are not followed")
    assert cards(unheld)[2].tone is Tone.MIND
    none = replace(found, steps=replace(found.steps, steps=()))
    assert cards(none)[2].told == "none leaves the steady levels of the curve iti-2000"


def test_the_hostels_dead_zone_is_told_beside_its_steps() -> None:
    assert "no band holds" in card("Sudden steps", text_of(HOSTEL)).told


# --- moves ---


@pytest.mark.parametrize("name", NAMES)
def test_the_longest_gap_is_that_of_the_flights(name: str) -> None:
    one = looked_at(text_of(name)).review
    worst = max(flights_of(one), key=lambda each: each.gap_ms)
    shown = card("Moves", text_of(name)).told
    assert f"for up to {float(worst.gap_ms):g} ms, " in shown
    ends = [f"{float(end):.4g}" for end in (min(worst.met), max(worst.met))] if worst.met else []
    met = " to ".join(dict.fromkeys(ends))
    assert (f"ratios met in between {met}" if ends else "no ratio met in between") in shown


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
    assert shown.told == "18 of 30 fault-band pairs leave the window, 2 short turns"
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
        f"{len(left)} of {every} fault-band pairs leave the window, {len(shorts)} short turns"
    )


def test_more_faults_that_short_than_the_file_allows_are_bad() -> None:
    assert card("Single faults", limited(SPRING, "stuck_shorts = 0")).tone is Tone.BAD
    assert card("Single faults", limited(SPRING, "stuck_shorts = 1")).tone is Tone.MIND


def test_without_a_harmful_fault_there_is_nothing_to_weigh() -> None:
    found = looked_at(text_of(SPRING))
    mild = tuple(one for one in found.faults.faults if one.harmless)
    bare = replace(found, faults=replace(found.faults, faults=mild), verdict=replace(found.verdict, traits=()))
    assert cards(bare)[4].told == f"none of {len(mild)} fault-band pairs leave the window, none short turns"
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
