"""Made traces: what a seed means, what the formulas say, held against plain loops and against their statistics."""

from __future__ import annotations

import itertools
import math
import tracemalloc
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from fractions import Fraction
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.random import PCG64, Generator, SeedSequence

from tapplan.errors import UsageError
from tapplan.exact import Span
from tapplan.logs import madevolts, scenarios
from tapplan.logs.happenings import happenings
from tapplan.logs.made import MadeRows, blocks
from tapplan.logs.recipe import MOST_READINGS, PART, SPOILT, Recipe, Spoilt, TraceClock, clock_for, moment, told
from tapplan.logs.samples import RowFault
from tapplan.logs.scenarios import (
    APPLIANCES,
    DAY_US,
    HOUR_US,
    KINDS,
    SAGS,
    SECOND_US,
    Evening,
    Quiet,
    Rough,
    Sags,
    moved,
    scenario_of,
)
from tests.logs.drawn import MadeLog

F = Fraction
MAINS = Span(F(190), F(270))
START_US = int(datetime(2024, 3, 5, 7, 21, tzinfo=UTC).timestamp()) * SECOND_US
FLAT = Quiet(around_v=230, swing_v=0, drift_v=0, noise_v=0)


def recipe_of(kind: str, readings: int = 70_000, step_us: int = 10 * SECOND_US, **other: Any) -> Recipe:
    clock = TraceClock(start_us=START_US, step_us=step_us, readings=readings)
    return Recipe(scenario=scenario_of(kind, MAINS), clock=clock, **other)


def asked(scenario: scenarios.Scenario, days: float, step_s: float, **other: Any) -> Recipe:
    """A trace of so many days from a midnight on."""
    clock = clock_for(datetime(2024, 1, 1), F(str(step_s)), F(str(days)))
    return Recipe(scenario=scenario, clock=clock, **{"digits": 6, **other})


def all_of(recipe: Recipe, most: int = 1 << 30) -> MadeRows:
    (rows,) = blocks(recipe, most)
    return rows


def same(one: MadeRows, other: MadeRows) -> bool:
    columns = ((one.times, other.times), (one.counts, other.counts), (one.spoilt, other.spoilt))
    return all(np.array_equal(a, b) for a, b in columns) and one.digits == other.digits


def joined(parts: list[MadeRows]) -> MadeRows:
    columns = [np.concatenate([getattr(one, name) for one in parts]) for name in ("times", "counts", "spoilt")]
    return MadeRows(*columns, parts[0].digits)


# --- what a seed means ---


@pytest.mark.parametrize("kind", KINDS)
def test_a_seed_gives_the_same_rows_again_and_another_gives_others(kind: str) -> None:
    recipe = recipe_of(kind, seed=11, gaps=0.02, bad=0.02)
    assert same(all_of(recipe), all_of(recipe))
    other = all_of(replace(recipe, seed=12, gaps=0.0))
    plain = all_of(replace(recipe, gaps=0.0))
    assert np.mean(other.counts == plain.counts) < 0.2
    assert np.any(other.spoilt != plain.spoilt)


@settings(max_examples=40)
@given(
    kind=st.sampled_from(list(KINDS)),
    most=st.integers(5_000, 250_000),
    readings=st.integers(1, 3 * PART),
    step_us=st.sampled_from([1, 20_000, SECOND_US, 7_300_000, 600 * SECOND_US]),
    seed=st.integers(0, 10**18 - 1),
    shares=st.sampled_from([(0.0, 0.0), (0.3, 0.0), (0.0, 0.3), (0.1, 0.5)]),
)
def test_blocks_of_any_size_hold_the_same_rows(
    kind: str, most: int, readings: int, step_us: int, seed: int, shares: tuple[float, float]
) -> None:
    recipe = recipe_of(kind, readings, step_us, seed=seed, gaps=shares[0], bad=shares[1])
    parts = list(blocks(recipe, most))
    assert {len(one) for one in parts[:-1]} <= {most}
    assert 1 <= len(parts[-1]) <= most
    assert same(joined(parts), all_of(recipe))


def test_blocks_of_one_row() -> None:
    recipe = recipe_of("sags", 2_000, DAY_US, gaps=0.2, bad=0.2)
    parts = list(blocks(recipe, 1))
    assert {len(one) for one in parts} == {1}
    assert same(joined(parts), all_of(recipe))


@settings(max_examples=25)
@given(
    kind=st.sampled_from(list(KINDS)),
    short=st.integers(1, 2 * PART),
    more=st.integers(1, PART),
    shares=st.sampled_from([(0.0, 0.0), (0.1, 0.2)]),
)
def test_a_shorter_trace_is_the_beginning_of_a_longer_one(
    kind: str, short: int, more: int, shares: tuple[float, float]
) -> None:
    long = recipe_of(kind, short + more, gaps=shares[0], bad=shares[1])
    few = all_of(replace(long, clock=replace(long.clock, readings=short)))
    assert same(few, all_of(long).where(slice(0, len(few))))


@pytest.mark.parametrize("kind", KINDS)
def test_what_is_lost_or_spoilt_leaves_the_other_samples_alone(kind: str) -> None:
    recipe = recipe_of(kind, 200_000)
    plain, spoilt = all_of(recipe), all_of(replace(recipe, gaps=0.05, bad=0.05))
    good = spoilt.where(spoilt.good)
    assert 0.8 < len(good) / len(plain) < 0.99
    places = np.searchsorted(plain.times, good.times)
    assert np.array_equal(plain.times[places], good.times)
    assert np.array_equal(plain.counts[places], good.counts)


def test_a_trace_of_a_thousand_million_readings_begins_at_once_and_stays_small() -> None:
    endless = recipe_of("evening", 10**9, SECOND_US, gaps=0.01, bad=0.01)
    rows, peaks = blocks(endless), []
    tracemalloc.start()
    try:
        for _ in range(2):
            last = list(itertools.islice((one.times[-1] for one in rows), 12))[-1]
            peaks.append(tracemalloc.get_traced_memory()[1])
    finally:
        tracemalloc.stop()
    assert last > START_US + 22 * PART * SECOND_US
    assert peaks[0] < 30_000_000  # of 65536 rows, each of some arrays of 8 bytes
    assert peaks[1] < 1.1 * peaks[0]


# --- against plain loops ---


def stream(seed: int, number: int) -> Generator:
    return Generator(PCG64(SeedSequence(seed, spawn_key=(number,))))


def slow_volts(quiet: Quiet, clock: TraceClock, seed: int) -> Iterator[float]:
    """Swing and drift, knot by knot and sample by sample."""
    drawn = stream(seed, 0)
    keep = math.exp(-300 / (3600 * quiet.drift_h))

    def swing(number: int) -> float:
        hour = (clock.start_us / 3.6e9 + number / 12) % 24
        return quiet.around_v + quiet.swing_v * math.cos(2 * math.pi * (hour - 3.5) / 24)

    drift, number = quiet.drift_v * drawn.standard_normal(), 0
    following = keep * drift + quiet.drift_v * math.sqrt(1 - keep**2) * drawn.standard_normal()
    for sample in range(clock.readings):
        past = sample * clock.step_us / 3e8
        while past >= number + 1:
            drift, number = following, number + 1
            following = keep * drift + quiet.drift_v * math.sqrt(1 - keep**2) * drawn.standard_normal()
        share = past - number
        yield (1 - share) * (swing(number) + drift) + share * (swing(number + 1) + following)


@pytest.mark.parametrize("step_us", [500_000, 7 * SECOND_US, 300 * SECOND_US, HOUR_US])
def test_quiet_volts_are_those_of_a_plain_loop(step_us: int) -> None:
    recipe = recipe_of("quiet", PART + 5_000, step_us, seed=5, digits=6)
    quiet = recipe.scenario
    assert isinstance(quiet, Quiet)
    noise = stream(5, 1)
    plain = [slow + quiet.noise_v * noise.standard_normal() for slow in slow_volts(quiet, recipe.clock, 5)]
    assert np.max(np.abs(all_of(recipe).volts - plain)) < 2e-6


def test_the_load_of_an_evening_is_what_stands_switched_on() -> None:
    """Appliance by appliance: each sample asks every one whether it is on."""
    evening = Evening(emf=replace(FLAT, around_v=1000), fall_v=100, switched_h=20)
    recipe = asked(evening, 1.2, 97, seed=3)
    volts = all_of(recipe).volts
    begin, drawn = recipe.clock.start_us - 6 * HOUR_US, stream(3, 2)
    rates = [20 * scenarios.busy((begin + hour * HOUR_US + HOUR_US // 2) % DAY_US / HOUR_US) for hour in range(24)]
    standing: list[tuple[int, int, int]] = []
    for day in range(3):
        many = [int(one) for one in drawn.poisson(rates)]
        hours = [begin + day * DAY_US + hour * HOUR_US for hour in range(24) for _ in range(many[hour])]
        on = [hour + int(HOUR_US * drawn.random()) for hour in hours]
        kinds = [drawn.random() for _ in hours]
        for at, draw in zip(on, kinds, strict=True):
            ends = itertools.accumulate(one.share for one in APPLIANCES)
            which = next((one for one, end in zip(APPLIANCES, ends, strict=True) if draw < end), APPLIANCES[-1])
            lasts = min(60e6 * which.minutes * drawn.standard_exponential(), 6 * 3600e6)
            standing.append((at, at + int(lasts), which.milliampere))
    for place in range(0, len(volts), 13):
        now = recipe.clock.start_us + 97 * SECOND_US * place
        ampere = sum(draws for on_at, off_at, draws in standing if on_at <= now < off_at) / 1000
        assert volts[place] == pytest.approx(1000 - evening.source_ohm * ampere, abs=2e-6)


def test_an_event_takes_its_share_of_quiet_volts_while_it_lasts_and_nothing_besides() -> None:
    quiet = scenario_of("quiet", MAINS)
    assert isinstance(quiet, Quiet)
    recipe = asked(Sags(quiet=quiet, rate_y=50_000), 2, 0.5, seed=8)
    calm, torn = all_of(replace(recipe, scenario=quiet)), all_of(recipe)
    expected = calm.volts.copy()
    seen = 0
    for one in happenings(recipe):
        if one.begin_us > calm.times[-1]:
            break
        during = (calm.times >= one.begin_us) & (calm.times < one.end_us)
        expected[during] *= one.left
        seen += int(during.any())
    assert seen > 60
    assert np.max(np.abs(torn.volts - expected)) < 2e-6
    assert np.any(torn.counts != calm.counts)


# --- statistics ---


def test_the_daily_swing_has_its_height_and_its_hour() -> None:
    recipe = asked(replace(FLAT, swing_v=12, noise_v=0.5), 20, 60)
    rows = all_of(recipe)
    hours = rows.times % DAY_US / HOUR_US
    along = 2 * np.mean((rows.volts - 230) * np.cos(2 * np.pi * (hours - 3.5) / 24))
    across = 2 * np.mean((rows.volts - 230) * np.sin(2 * np.pi * (hours - 3.5) / 24))
    error = 5 * 0.5 * math.sqrt(2 / len(rows))
    assert abs(along - 12) < error + 12e-4  # straight lines between knots flatten it by less than 1e-4
    assert abs(across) < error
    assert abs(np.mean(rows.volts) - 230) < error


def test_the_noise_is_white_normal_and_as_wide_as_it_says() -> None:
    rows = all_of(asked(replace(FLAT, noise_v=2.5), 4, 1))
    noise = (rows.volts - 230) / 2.5
    many = len(noise)
    assert many == 4 * 86400
    assert abs(np.mean(noise)) < 5 / math.sqrt(many)
    assert abs(np.mean(noise**2) - 1) < 5 * math.sqrt(2 / many)
    assert abs(np.mean(noise**4) - 3) < 5 * math.sqrt(96 / many)
    for lag in (1, 2, PART):
        assert abs(np.mean(noise[lag:] * noise[:-lag])) < 5 / math.sqrt(many - lag)


def test_the_drift_forgets_by_e_in_its_time_constant() -> None:
    rows = all_of(asked(replace(FLAT, around_v=500, drift_v=10, drift_h=2.0), 5000, 300))
    drift = (rows.volts - 500) / 10
    keep = math.exp(-1 / 24)
    loose = math.sqrt((1 + keep**2) / (1 - keep**2) / len(drift))  # Bartlett, for variances of such a process
    assert abs(np.mean(drift**2) - 1) < 5 * math.sqrt(2) * loose
    for knots, expected in ((1, keep), (24, math.exp(-1)), (48, math.exp(-2))):
        assert abs(np.mean(drift[knots:] * drift[:-knots]) - expected) < 5 * math.sqrt(2) * loose
    fresh = (drift[1:] - keep * drift[:-1]) / math.sqrt(1 - keep**2)
    assert abs(np.mean(fresh**2) - 1) < 5 * math.sqrt(2 / len(fresh))
    assert abs(np.mean(fresh[1:] * fresh[:-1])) < 5 / math.sqrt(len(fresh))
    assert abs(np.mean(fresh * drift[:-1])) < 5 / math.sqrt(len(fresh))


def test_between_knots_the_drift_is_a_straight_line() -> None:
    """Of a time constant of one knot the variance is (1 + a) / 2 halfway, and (2 + a) / 3 over all times."""
    rows = all_of(asked(replace(FLAT, around_v=500, drift_v=10, drift_h=1 / 12), 400, 15))
    drift = (rows.volts - 500).reshape(-1, 20) / 10
    keep, error = math.exp(-1), 5 * math.sqrt(2 * 1.3 / len(drift))
    assert abs(np.mean(drift[:, 0] ** 2) - 1) < error
    assert abs(np.mean(drift[:, 10] ** 2) - (1 + keep) / 2) < error
    assert abs(np.mean(drift**2) - (2 + keep) / 3) < error + 1 / 20**2
    assert np.max(np.abs(np.diff(drift, n=2, axis=1))) < 1e-6


def mean_load(evening: Evening, hour: float) -> float:
    """The mean current at an hour of the day: all that was switched on up to 6 h before and is still on."""
    ampere, small = 0.0, 1 / 240
    for part in range(6 * 240):
        before = (part + 0.5) * small
        rate = evening.switched_h * scenarios.busy(math.floor((hour - before) % 24) + 0.5)
        for one in APPLIANCES:
            ampere += rate * small * one.share * one.milliampere / 1000 * math.exp(-before * 60 / one.minutes)
    return ampere


def test_the_load_follows_the_hours_of_the_day_and_varies_as_its_appliances_do() -> None:
    evening = Evening(emf=replace(FLAT, around_v=10_000), fall_v=1000, switched_h=30)
    days = 1500
    rows = all_of(asked(evening, days, 1800))
    ampere = ((10_000 - rows.volts) / evening.source_ohm).reshape(days, 48)
    for hour in (0, 4, 7.5, 13, 19.5, 20, 22.5):
        column = ampere[:, int(2 * hour)]
        expected = mean_load(evening, hour)
        assert abs(np.mean(column) - expected) < 5 * np.std(column) / math.sqrt(days) + 0.01 * expected
    assert np.mean(ampere[:, 40]) > 4 * np.mean(ampere[:, 8])
    steps = np.rint(1000 * ampere)
    assert np.max(np.abs(1000 * ampere - steps)) < 1  # whole milliampere, within the rounding of the volts
    assert np.all(np.rint(steps / 500) * 500 == np.rint(steps / 10) * 10)  # sums of those in the list


def test_at_the_height_of_the_evening_the_volts_fall_by_what_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(madevolts, "busy", lambda hour: 1.0)
    evening = Evening(emf=replace(FLAT, around_v=1000), fall_v=60)
    fallen = 1000 - all_of(asked(evening, 600, 1800)).volts
    assert np.mean(fallen) == pytest.approx(60, rel=0.01)
    assert evening.height_a * evening.source_ohm == pytest.approx(60)


def test_events_come_as_often_and_as_deep_and_long_as_the_classes_say() -> None:
    recipe = asked(Sags(quiet=FLAT, rate_y=10_000), 365, 60)
    some = list(itertools.takewhile(lambda one: one.begin_us < START_US, happenings(recipe)))
    assert 1500 < len(some) < 2000  # 64 days of 365, less what long interruptions take
    some = list(itertools.islice(happenings(recipe), 30_000))
    apart = [after.begin_us - before.end_us for before, after in itertools.pairwise(some)]
    assert min(apart) > 0
    assert np.mean(apart) == pytest.approx(365 * DAY_US / 10_000, rel=0.03)
    assert np.std(apart) == pytest.approx(365 * DAY_US / 10_000, rel=0.05)
    lasts = np.array([(one.end_us - one.begin_us) / SECOND_US for one in some])
    left = np.array([one.left for one in some])
    assert sum(one.share for one in SAGS) == pytest.approx(1)
    for low, high, share in ((0.0, 0.05, 0.08), (0.05, 0.9, 0.80), (1.1, 1.2, 0.10), (1.2, 1.3, 0.02)):
        within = (left >= low) & (left <= high)
        assert abs(np.mean(within) - share) < 5 * math.sqrt(share / len(some))
    assert np.all((left <= 0.9) | (left >= 1.1))
    long = (lasts > 181) & (left <= 0.05)
    assert abs(np.mean(long) - 0.04) < 5 * math.sqrt(0.04 / len(some))
    assert np.mean(np.log(lasts[long])) == pytest.approx((math.log(180) + math.log(14400)) / 2, rel=0.02)
    assert np.all(lasts[left > 0.05] <= 60)


def test_rough_volts_lie_evenly_around_a_centre_and_stay_there_for_ten_minutes() -> None:
    rows = all_of(asked(Rough(centres_v=(150, 200, 250), swing_v=3), 30, 5))
    volts = rows.volts.reshape(-1, 120)
    centre = 150 + 50 * np.rint((volts - 150) / 50)
    assert np.all(centre == centre[:, :1])
    assert {150, 200, 250} == set(centre[:, 0].tolist())
    for one in (150, 200, 250):
        assert abs(np.mean(centre[:, 0] == one) - 1 / 3) < 5 * math.sqrt(2 / 9 / len(centre))
    noise = (volts - centre).ravel() / 3
    assert np.max(np.abs(noise)) <= 1 + 1e-6
    assert abs(np.mean(noise)) < 5 / math.sqrt(3 * len(noise))
    assert np.mean(noise**2) == pytest.approx(1 / 3, rel=0.01)
    assert abs(np.mean(noise[1:] * noise[:-1])) < 5 / 3 / math.sqrt(len(noise))


@pytest.mark.parametrize("step_s", [10, 1800])
def test_gaps_take_about_the_share_of_the_time_asked_for(step_s: int) -> None:
    recipe = asked(FLAT, 2000, step_s, gaps=0.2, digits=0)
    rows = all_of(recipe)
    assert 1 - len(rows) / recipe.clock.readings == pytest.approx(0.2, rel=0.1)
    apart = np.diff(rows.times) // recipe.clock.step_us - 1
    assert np.mean(apart[apart > 0]) * step_s == pytest.approx(max(1200, 10 * step_s), rel=0.1)
    assert rows.times[0] == recipe.clock.start_us


def test_rows_are_spoilt_in_every_way_as_often_as_asked_and_never_two_on_end() -> None:
    rows = all_of(recipe_of("quiet", 400_000, bad=0.05, gaps=0.02))
    assert np.mean(~rows.good) == pytest.approx(0.05, rel=0.05)
    for number in range(1, len(SPOILT) + 1):
        assert np.mean(rows.spoilt == number) == pytest.approx(0.01, rel=0.1)
    assert rows.good[0]
    assert not np.any(~rows.good[1:] & ~rows.good[:-1])
    assert np.all(np.diff(rows.times[rows.good]) > 0)
    for how, back in ((Spoilt.TWICE, 0), (Spoilt.BACKWARDS, 10 * SECOND_US)):
        places = np.flatnonzero(rows.spoilt == 1 + SPOILT.index(how))
        assert np.all(rows.times[places - 1] - rows.times[places] == back)
    elsewhere = ~np.isin(rows.spoilt, [1 + SPOILT.index(how) for how in (Spoilt.TWICE, Spoilt.BACKWARDS)])
    assert np.all(np.diff(rows.times[elsewhere]) > 0)


def test_the_most_that_can_be_spoilt_is_every_second_row() -> None:
    rows = all_of(recipe_of("quiet", PART + 101, bad=0.5))
    assert not rows.good[1::2].any()
    assert rows.good[::2].all()


# --- as a log ---


def test_a_log_of_a_trace_gives_its_samples_and_counts_what_is_spoilt() -> None:
    recipe = recipe_of("evening", 150_000, seed=4, digits=2, gaps=0.01, bad=0.01)
    log, rows = MadeLog(recipe), all_of(recipe)
    assert (log.name, log.scale, log.made) == ("evening-4", F(1, 100), told(recipe))
    chunks = list(log.chunks())
    assert len(chunks) == 3
    assert np.array_equal(np.concatenate([one.times for one in chunks]), rows.times[rows.good])
    assert np.array_equal(np.concatenate([one.readings for one in chunks]), rows.counts[rows.good])
    bad = chunks[0].bad.joined(chunks[1].bad).joined(chunks[2].bad)
    counts = {
        fault: sum(np.sum(rows.spoilt == n) for n, how in enumerate(SPOILT, 1) if how.fault is fault)
        for fault in RowFault
    }
    assert dict(bad.counts) == {fault: count for fault, count in counts.items() if count}
    assert [one.row for one in bad.told] == (1 + np.flatnonzero(rows.spoilt)[:20]).tolist()
    assert [one.fault for one in bad.told] == [SPOILT[rows.spoilt[one.row - 1] - 1].fault for one in bad.told]
    last = list(MadeLog(replace(recipe, gaps=0.0), "own").chunks())[1]
    assert last.bad.told[0].row > PART
    assert last.bad.told[0].file == "own"


def test_volts_are_the_doubles_nearest_to_their_decimal_numbers() -> None:
    rows = all_of(recipe_of("quiet", 5_000, digits=3))
    written = [f"{count // 1000}.{count % 1000:03d}" for count in rows.counts.tolist()]
    assert rows.volts.tolist() == [float(one) for one in written]


def test_no_volts_are_below_nought() -> None:
    rows = all_of(asked(replace(FLAT, around_v=1, noise_v=5), 0.2, 1))
    assert rows.counts.min() == 0
    assert np.mean(rows.counts == 0) == pytest.approx(0.42, abs=0.02)  # a normal number below -1/5


# --- words, and what is refused ---


@pytest.mark.parametrize("kind", KINDS)
def test_the_sentence_names_kind_seed_and_parameters(kind: str) -> None:
    recipe = recipe_of(kind, seed=77, gaps=0.02, bad=0.01, digits=2)
    sentence = told(recipe)
    assert sentence.startswith(f"{kind}, seed 77: ")
    assert sentence.endswith("; invented, not measured")
    assert "70000 readings to 0.01 V, one every 10 s from 2024-03-05T07:21:00Z" in sentence
    assert "about 2 % of the time lost in gaps; about 1 % of the rows spoilt" in sentence
    assert "\n" not in sentence
    assert sentence.isascii()
    assert "seeds 77 to 80, one a file" in told(recipe, 80)
    assert recipe.kind == kind


def test_the_sentence_of_each_scenario() -> None:
    quiet = Quiet(around_v=231.5, swing_v=7, drift_v=2, noise_v=0.25, drift_h=3)
    words = "around 231.5 V, daily swing 7 V up and down (highest at 03:30), drift 2 V (standard deviation) over 3 h"
    assert words in quiet.told()
    assert "noise 0.25 V" in quiet.told()
    evening = Evening(emf=quiet, fall_v=28, switched_h=40)
    assert words in evening.told()
    assert f"behind {evening.source_ohm:.3g} ohm" in evening.told()
    assert "lower the volts by 28 V" in evening.told()
    assert "1234 sags, swells and interruptions a year" in Sags(quiet=quiet, rate_y=1234).told()
    assert "from memory" in Sags(quiet=quiet).told()
    assert "around 200, 231.25 V, one of them drawn" in Rough(centres_v=(200, 231.25), swing_v=2).told()
    assert Rough(centres_v=(200,), swing_v=2).told() == "white noise up to 2 V either way around 200 V"


def test_a_range_sets_the_parameters() -> None:
    assert scenario_of("quiet", MAINS) == Quiet(around_v=230, swing_v=13.3, drift_v=4, noise_v=0.4)
    evening = scenario_of("evening", MAINS)
    assert evening == Evening(emf=Quiet(around_v=243, swing_v=6.67, drift_v=4, noise_v=0.4), fall_v=32)
    assert scenario_of("rough", MAINS) == Rough(centres_v=(230,), swing_v=2.67)
    for kind in ("quiet", "evening", "sags"):
        volts = all_of(Recipe(scenario=scenario_of(kind, MAINS), clock=recipe_of("quiet", 100_000).clock)).volts
        assert np.mean((volts > 190) & (volts < 270)) > 0.97
        assert np.ptp(volts) > 35


def test_another_centre_and_another_swing() -> None:
    for kind in ("quiet", "evening", "sags"):
        other = moved(scenario_of(kind, MAINS), (111,), 9.0)
        inner = other if isinstance(other, Quiet) else other.emf if isinstance(other, Evening) else other.quiet
        assert (inner.around_v, inner.swing_v) == (111, 9)
        assert moved(scenario_of(kind, MAINS)) == scenario_of(kind, MAINS)
        with pytest.raises(UsageError, match="found 2 centres; accepted: one, or kind rough"):
            moved(scenario_of(kind, MAINS), (111, 112))
    assert moved(Rough(centres_v=(1,), swing_v=2), (3, 4)) == Rough(centres_v=(3, 4), swing_v=2)
    assert moved(Rough(centres_v=(1,), swing_v=2), (), 0.5) == Rough(centres_v=(1,), swing_v=0.5)


def test_a_clock_for_days() -> None:
    east = datetime(2024, 1, 1, 5, 30, tzinfo=timezone(timedelta(hours=5, minutes=30)))
    clock = clock_for(east, F(1, 50), F(1, 2))
    assert clock == TraceClock(
        start_us=clock_for(datetime(2024, 1, 1), F(1), F(1)).start_us, step_us=20_000, readings=43_200 * 50
    )
    assert clock_for(datetime(2024, 1, 1), F(7), F(1, 86400) * 20).readings == 2
    assert clock_for(datetime(1970, 1, 1), F(1, 10**6), F(1, 86400)) == TraceClock(
        start_us=0, step_us=1, readings=SECOND_US
    )
    assert replace(clock, readings=MOST_READINGS).readings == 10**10
    assert moment(clock.start_us) == "2024-01-01T00:00:00Z"
    assert moment(clock.start_us + 20_000) == "2024-01-01T00:00:00.020Z"
    assert moment(clock.start_us + 1) == "2024-01-01T00:00:00.000001Z"


CLOCK = TraceClock(start_us=0, step_us=1, readings=1)


@pytest.mark.parametrize(
    ("wrong", "said"),
    [
        (lambda: scenario_of("calm", MAINS), 'found kind "calm"; accepted: quiet, evening, sags, rough'),
        (lambda: replace(FLAT, swing_v=-1), "found swing -1 V; accepted: volts from 0 to 1e+06"),
        (lambda: replace(FLAT, around_v=2e6), "found around 2e+06 V"),
        (lambda: replace(FLAT, noise_v=math.nan), "found noise nan V"),
        (lambda: replace(FLAT, drift_h=0), "found a time constant of 0 h; accepted: hours above 0"),
        (lambda: Evening(emf=FLAT, fall_v=-2), "found fall -2 V"),
        (lambda: Evening(emf=FLAT, fall_v=2, switched_h=0), "found 0 appliances an hour; accepted: above 0"),
        (lambda: Sags(quiet=FLAT, rate_y=0), "found 0 events a year; accepted: above 0, at most 1e7"),
        (lambda: Rough(centres_v=(), swing_v=1), "found no centre; accepted: at least one"),
        (lambda: Rough(centres_v=(1, -1), swing_v=1), "found centre -1 V"),
        (lambda: replace(CLOCK, step_us=0), "found a step of 0 us"),
        (lambda: replace(CLOCK, readings=0), "found 0 readings; accepted: from 1 to 10000000000"),
        (lambda: replace(CLOCK, readings=10**10 + 1), "found 10000000001 readings"),
        (lambda: clock_for(datetime(2024, 1, 1), F(1, 3), F(1)), "found a step of 0.333333 s; accepted: a whole"),
        (lambda: clock_for(datetime(2024, 1, 1), F(86400), F(1, 2)), "found 0.5 days with a step of 86400 s"),
        (lambda: Recipe(scenario=FLAT, clock=CLOCK, seed=-1), "found seed -1"),
        (lambda: Recipe(scenario=FLAT, clock=CLOCK, digits=7), "found 7 digits; accepted: from 0 to 6"),
        (lambda: Recipe(scenario=FLAT, clock=CLOCK, gaps=0.91), "found gaps 0.91; accepted: a share from 0 to 0.9"),
        (lambda: Recipe(scenario=FLAT, clock=CLOCK, bad=0.51), "found bad 0.51; accepted: a share from 0 to 0.5"),
        (lambda: blocks(Recipe(scenario=FLAT, clock=CLOCK), 0), "found blocks of 0 rows"),
    ],
)
def test_what_cannot_be_made_is_refused_at_the_call(wrong: Callable[[], object], said: str) -> None:
    with pytest.raises(UsageError) as caught:
        wrong()
    assert str(caught.value).startswith(said)
    assert "accepted: " in str(caught.value)
