"""The screen of `margins` by its parts: what stands on it where there is a converter, a backup, none of them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

from tapplan.answers.findings import FindingRow
from tapplan.answers.margins import Draws, Margins, margins
from tapplan.checks.finding import Severity
from tapplan.checks.review import review
from tapplan.checks.witnesses.states import Undriven
from tapplan.pages.screens.margins import LEAST, screen
from tests.pages.firmware.stages import stage
from tests.pages.screens.test_verdict import lines

SHARED = "How the input volts that neighbours could share are used"


@cache
def answer() -> Margins:
    """Without what is broken: that has a test of its own."""
    return replace(margins(review(stage(counted=True))), findings=())


def shown(one: Margins) -> list[str]:
    return lines(screen(one, 100))


def test_the_error_budget_and_the_thresholds_in_counts_stand_together_or_not_at_all() -> None:
    """Either says nothing of a converter without the other."""
    whole = answer()
    assert whole.budget is not None
    assert whole.counts is not None
    told, names = whole.counts.told, [row.name for row in whole.budget.with_sum]
    text = shown(whole)
    assert told in text
    assert all(any(line.startswith(one) for line in text) for one in names)
    for alone in ({"counts": None}, {"budget": None}, {"counts": None, "budget": None}):
        bare = shown(replace(whole, **alone))
        assert bare == text[: len(bare)]
        assert told not in bare
        assert not any(line.startswith(names[0]) for line in bare)


def test_what_neighbours_share_is_told_where_there_are_neighbours() -> None:
    text = shown(answer())
    assert text[0].startswith("Margins: Mill, 230 V")
    assert LEAST[:40] in text[1]
    assert any(line.startswith(SHARED) for line in text)
    single = shown(replace(answer(), handovers=()))
    assert not any(line.startswith((SHARED, "Load L,")) for line in single)
    assert any(line.startswith("How far each may go") for line in single)


def test_random_draws_and_last_what_is_broken_follow() -> None:
    text, drawn = shown(answer()), Draws(count=3, seed=5, unheld=1, bands=())
    with_draws = shown(replace(answer(), samples=drawn))
    assert with_draws[: len(text)] == text
    assert with_draws[len(text) : len(text) + 2] == ["", drawn.drawn_told]
    assert with_draws[-1] == drawn.told
    found = FindingRow(Severity.FAULT, "chatter", "here", "so it is", Undriven(energised=()))
    broken = shown(replace(answer(), samples=drawn, findings=(found,)))
    assert broken[: len(with_draws)] == with_draws
    assert broken[len(with_draws) :] == ["", "Promises broken", "fault  chatter", "    here: so it is", "1 fault"]
