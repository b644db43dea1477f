"""Refined thresholds told: each figure against a replay, each outcome in its sentence."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from types import SimpleNamespace
from typing import Any

import pytest

from tapplan.answers.logfigures import figures_of
from tapplan.answers.refined import (
    CHOSEN,
    HELD_OUT,
    Refined,
    _exact_told,
    _fewer,
    _kept_told,
    _no_longer,
    _verdict,
    refined_answer,
)
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.pages.screens import refined as screen
from tapplan.replay.machine import machine
from tapplan.replay.replayed import Running, replayed
from tapplan.replay.zone import Zone
from tapplan.study.recording import parted
from tapplan.study.refined import Refinement, Refining, refined
from tests.examples import ROOT
from tests.pages.screens.test_screens import shown, squeezed
from tests.study.test_refined import ONE, around, log, table_of

F = Fraction
RIDGE = control_table(load(ROOT / "designs" / "ridge-dispensary.toml"))


@pytest.fixture(scope="module")
def found() -> Refinement:
    return refined(RIDGE, [log(6, around(1, 3, 215.5))])


@pytest.fixture(scope="module")
def answer(found: Refinement) -> Refined:
    return refined_answer(found)


def test_thresholds_before_and_found(found: Refinement, answer: Refined) -> None:
    assert [(row.below, row.above) for row in answer.thresholds] == [
        ("boost 2", "boost 1"),
        ("boost 1", "direct"),
        ("direct", "buck"),
    ]
    middle = answer.thresholds[1]
    assert (middle.up_before_v, middle.down_before_v, middle.overlap_before_v) == (217, 214, 3)
    assert (middle.up_v, middle.down_v) == (found.found[1].upper_end, found.found[1].lower_end)
    assert middle.overlap_v == middle.up_v - middle.down_v > 3
    # By hand: 0.99 * 253/g - 0.5 of boost 1, 1.01 * 207/1 + 0.5 of direct.
    assert middle.most_overlap_v == F(99, 100) * 253 / RIDGE.rows[1].ratio - F(1, 2) - F(101, 100) * 207 - F(1, 2)
    assert [(one.name, one.hold_v) for one in answer.bands] == [(row.name, row.hold) for row in found.table.rows]
    assert answer.near_v == F(1, 2)


def test_the_trials_are_replays_of_the_parts(found: Refinement, answer: Refined) -> None:
    parts = parted(log(6, around(1, 3, 215.5)), Zone())
    rows = iter(answer.trials)
    for name, part in ((CHOSEN, parts.chosen), (HELD_OUT, parts.held_out)):
        for which, table in (("before", RIDGE), ("found", found.table)):
            made = machine(table)
            told = figures_of(made, replayed(part, [made], Running(max_gap=part.gap)), 0)
            row = next(rows)
            assert (row.part, row.thresholds) == (name, which)
            assert (row.changes, row.moves) == (told.changed, sum(told.moves.values()))
            assert (row.outside_s, row.deviation_v, row.observed_s) == (
                told.outside_s,
                told.deviation_v,
                told.observed_s,
            )
    assert [(one.part, one.first, one.samples, one.log) for one in answer.spans] == [
        (CHOSEN, "1970-01-01T00:00:00", 288, None),
        (HELD_OUT, "1970-01-05T00:00:00", 144, None),
    ]


def test_the_verdict_comes_first_and_says_by_how_much(answer: Refined) -> None:
    assert answer.kept
    assert answer.outcome == "kept"
    held = {row.thresholds: row.changes for row in answer.trials if row.part == HELD_OUT}
    share = f"{100 * (1 - held['found'] / held['before']):.1f} % fewer"
    assert answer.told[0].startswith(
        f"Refined: on the part held out the band changes {held['found']} times in place of {held['before']} ({share})"
    )
    assert "no promise is broken that was held; the least margin is" in answer.told[1]
    assert answer.told[2].startswith("Exact on the part chosen on")


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        (Refining.NOT_FEWER, "which is no fewer"),
        (Refining.LONGER_OUTSIDE, "outside its window for longer"),
        (Refining.NONE_BETTER, "within the room none make fewer changes than the"),
        (Refining.TOO_SHORT, "too short for a day of it to be held out"),
        (Refining.NO_ROOM, "do the promises leave room for others"),
    ],
)
def test_what_is_not_kept_says_so_and_why(found: Refinement, outcome: Refining, said: str) -> None:
    told = refined_answer(replace(found, outcome=outcome, table=found.before.table))
    assert told.told[0].startswith("Not refined, the thresholds stay: ")
    assert said in told.told[0]
    assert (told.kept, told.outcome) == (False, outcome.value)
    assert [one.hold_v for one in told.bands] == [row.hold for row in RIDGE.rows]


def test_what_was_left_out_made_up_or_not_proven_is_said(found: Refinement) -> None:
    parts = tuple(
        replace(part, sites=tuple(replace(one, cut=True, made="drawn") for one in part.sites)) for part in found.parts
    )
    told = refined_answer(replace(found, parts=parts, partial=True, proven=False, every_pair=False)).told
    assert told[0] == "Stopped before the search was over: what follows is the best so far."
    assert told[1] == "The log is made up (drawn): nothing here was measured."
    assert told[4] == "Not proven: other thresholds near these may do better."
    assert told[5].startswith("Only the first 432 samples were used; the rest was not read")
    whole = refined_answer(replace(found, every_pair=True)).told
    assert (
        whole[-1]
        == "Exact on the part chosen on: of all thresholds of one handover in steps of 0.1 V none do better."
    )


def test_several_logs_are_named_with_their_parts() -> None:
    told = refined_answer(refined(table_of(ONE), [log(4, around(1, 2.5), "a"), log(4, around(2, 2.5), "b")]))
    assert told.log == "2 logs"
    assert [(one.log, one.part) for one in told.spans] == [
        ("a", CHOSEN),
        ("b", CHOSEN),
        ("a", HELD_OUT),
        ("b", HELD_OUT),
    ]


def test_the_screen_tells_all_of_it(answer: Refined) -> None:
    told = squeezed(shown(screen.screen, answer))
    for sentence in answer.told:
        assert squeezed(sentence) in told
    for row in answer.trials:
        assert f"{row.part} {row.thresholds} {row.changes} {row.moves}" in told
    assert f"217 -> {float(answer.thresholds[1].up_v):g}" in told
    assert "The holds to be used: band" in told
    stays = squeezed(shown(screen.screen, replace(answer, kept=False)))
    assert "The holds as they stay: band" in stays


def test_scripts_get_numbers_and_no_sentences(answer: Refined) -> None:
    told = answer.as_json()
    assert "told" not in told
    assert told["thresholds"][0]["up_before_v"] == 192
    assert told["trials"][0].keys() == {
        *("part", "thresholds", "observed_s", "changes", "moves", "outside_s", "deviation_v")
    }
    assert told["bands"][0] == {"name": "boost 2", "hold_v": [166, 192]}


# --- of figures made by hand ---


def judged(before: int, after: int, *, outside: tuple[Any, Any] = (0, 0)) -> Any:
    first, last = (
        SimpleNamespace(changed=count, outside_s=F(seconds))
        for count, seconds in zip((before, after), outside, strict=True)
    )
    return SimpleNamespace(before=first, after=last)


@pytest.mark.parametrize(
    ("before", "after", "share"),
    [(4000, 3000, " (25.0 % fewer)"), (4, 1, " (75.0 % fewer)"), (4, 0, ""), (4, 4, ""), (4, 5, ""), (0, 0, "")],
)
def test_fewer_changes_have_their_share_where_some_are_left(before: int, after: int, share: str) -> None:
    assert _fewer(judged(before, after)) == f"the band changes {after:,} times in place of {before:,}{share}"


@pytest.mark.parametrize(("before", "after", "longer"), [(5, 5, False), (5, 4, False), (5, "5.5", True)])
def test_the_time_outside_is_no_longer_or_less_than_a_step_longer(before: Any, after: Any, longer: bool) -> None:
    told = _no_longer(judged(1, 1, outside=(before, after)))
    assert told.endswith("grows by less than a step of the log" if longer else "outside its window for no longer")


def outcome(one: Refining) -> str:
    made: Any = SimpleNamespace(outcome=one)
    return _verdict(made, [judged(40, 30), judged(20, 10, outside=(60, 180))])


def test_the_verdict_tells_of_the_part_held_out_and_then_of_the_part_chosen_on() -> None:
    chosen = "On the part that thresholds were chosen on the band changes 30 times in place of 40 (25.0 % fewer)."
    held = "the band changes 10 times in place of 20 (50.0 % fewer)"
    stays = "Not refined, the thresholds stay"
    assert outcome(Refining.KEPT) == (
        f"Refined: on the part held out {held}, and the time with the output outside its window grows by less than a "
        f"step of the log. {chosen}"
    )
    assert outcome(Refining.NOT_FEWER) == f"{stays}: on the part held out {held}, which is no fewer. {chosen}"
    assert outcome(Refining.LONGER_OUTSIDE) == (
        f"{stays}: on the part held out the output is outside its window for longer, 3 minutes in place of 60 s. "
        f"{chosen}"
    )
    assert "On all of it the band changes 30 times in place of 40 (25.0 % fewer);" in outcome(Refining.TOO_SHORT)
    assert outcome(Refining.NONE_BETTER) == (
        f"{stays}: within the room none make fewer changes than the 40 there are."
    )


def test_the_least_margin_is_told_where_both_are_known() -> None:
    def told(before: Any, after: Any) -> str:
        made: Any = SimpleNamespace(margin_before=before, margin=after)
        return _kept_told(made)

    bare = "Reviewed with the thresholds found: no promise is broken that was held."
    assert told(None, F(1)) == told(F(1), None) == bare
    assert told(F("1.5"), F(0)) == f"{bare[:-1]}; the least margin is 0 V, before 1.5 V."
    assert told(F(0), F(2)).endswith("is 2 V, before 0 V.")


def test_what_was_proven_is_told_with_the_steps_of_the_grid() -> None:
    def told(*steps: str, every: bool = False, proven: bool = True) -> str:
        rooms = [SimpleNamespace(step=F(one)) for one in steps]
        made: Any = SimpleNamespace(
            before=SimpleNamespace(rooms=rooms), every_pair=every, proven=proven, near_steps=5
        )
        return _exact_told(made)

    near = (
        "Exact on the part chosen on: of all thresholds of one handover up to {} V away, in steps of {} V, none do "
        "better."
    )
    assert told("0.1", "0.1") == near.format("0.5", "0.1")
    assert told("0.5", "0.1") == near.format("0.5 or 2.5", "0.1 or 0.5")
    assert told("0.1", every=True).endswith("in steps of 0.1 V none do better.")
    assert told("0.1", proven=False) == "Not proven: other thresholds near these may do better."
