"""A made trace told: its volts from counts, its times, and the seeds of several files."""

from __future__ import annotations

from fractions import Fraction

import pytest

from tapplan.answers.trace import MadeFile, made_file, made_trace
from tapplan.exact import Span
from tapplan.logs.recipe import Recipe, TraceClock, told
from tapplan.logs.scenarios import scenario_of
from tapplan.logs.written import TraceTally

F = Fraction
MAINS = Span(F(190), F(270))
RECIPE = Recipe(scenario=scenario_of("quiet", MAINS), clock=TraceClock(start_us=0, step_us=10**6, readings=4), seed=7)
TALLY = TraceTally(digits=1, samples=4, bad=2, first_us=0, last_us=3_000_000, least=2290, most=2331, total=9242)


def file(seed: int) -> MadeFile:
    return made_file(f"{seed}.csv", 99, Recipe(scenario=RECIPE.scenario, clock=RECIPE.clock, seed=seed), TALLY)


def test_a_file_has_its_seed_its_size_and_what_was_written_into_it() -> None:
    """Counts of a tenth of a volt: 229 to 233.1 V, and 924.2 V in four readings."""
    one = file(7)
    assert (one.file, one.seed, one.bytes, one.samples, one.bad) == ("7.csv", 7, 99, 4, 2)
    assert (one.least_v, one.mean_v, one.most_v) == (229, F("231.05"), F("233.1"))


def test_a_trace_tells_from_when_to_when_it_goes() -> None:
    one = made_trace(RECIPE, TALLY, text="time,volts\n")
    assert (one.kind, one.seed, one.samples, one.bad, one.text, one.files) == ("quiet", 7, 4, 2, "time,volts\n", ())
    assert (one.begins, one.ends) == ("1970-01-01T00:00:00Z", "1970-01-01T00:00:03Z")
    assert (one.least_v, one.mean_v, one.most_v) == (229, F("231.05"), F("233.1"))
    assert one.headline == f"Made up, not measured: {one.made}"


@pytest.mark.parametrize(("seeds", "last"), [((), None), ((7,), None), ((7, 8), 8), ((7, 8, 9), 9)])
def test_of_several_files_the_last_seed_is_told_too(seeds: tuple[int, ...], last: int | None) -> None:
    one = made_trace(RECIPE, TALLY, [file(seed) for seed in seeds])
    assert one.made == told(RECIPE, last)
    assert [each.seed for each in one.files] == list(seeds)
    assert ("seed 7:" in one.made) is (last is None)
