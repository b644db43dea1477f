"""Every sentence of README and guide that claims a number is tried here; one that only sets a scene is named as such.

A sentence that is changed, added or taken away fails the first test until its claim stands here again. The numbers
are those the code works by, or what a run of it answers.
"""

from __future__ import annotations

import io
import json
import re
from collections.abc import Callable, Iterator
from contextlib import redirect_stderr, redirect_stdout
from dataclasses import replace
from fractions import Fraction
from functools import cache
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pytest

from tapplan.bench.continuity import contacts
from tapplan.bench.copper import COPPER_SHARE, LEAKAGE_SHARE, SPREAD
from tapplan.bench.dictionary import _bits
from tapplan.bench.isolation import MOST_PAIRED, Isolation, Reading, Setup
from tapplan.bench.joined import JOINED_OHM
from tapplan.bench.measures import EFFORT, Condition, Measure
from tapplan.bench.offered import MOST_FORETOLD, forced_states
from tapplan.bench.phrase import Names
from tapplan.bench.predictions import WORN_OHM
from tapplan.bench.ratings import MAGNETISING_SHARE
from tapplan.bench.readings import reading_of
from tapplan.bench.safety import TOUCH_V, highest
from tapplan.bench.smallsource import INNER_OHM
from tapplan.bench.supplies import CLOSED, COIL_OHM
from tapplan.bench.tree import LEAST_SHARE
from tapplan.bench.values import MOST, OPEN_FROM
from tapplan.checks.review import Review, review
from tapplan.checks.rules import CODES
from tapplan.cli.main import main
from tapplan.control.choice import MOST_RUNGS
from tapplan.control.equations import MOST_CASES
from tapplan.control.misreading import SCALED_BY
from tapplan.control.moves import MOST_MIXTURES, MOST_MOVERS
from tapplan.control.reading import blur_of
from tapplan.control.sudden import MOST_DETOURED
from tapplan.design.file import load, load_request
from tapplan.design.model import (
    DEFAULT_BOUNCE_MS,
    DEFAULT_OPERATE_MS,
    DEFAULT_RELEASE_MS,
    DEFAULT_TRANSFER_MS,
    Relay,
)
from tapplan.exact import Span
from tapplan.logs.recipe import MOST_READINGS
from tapplan.network.states import BULK_FROM_RELAYS, MOST_CIRCUITS, MOST_RELAYS_EACH
from tapplan.replay.clock import DAY
from tapplan.study.arrangements import _sections, wirings
from tapplan.study.cores import LARGER
from tapplan.study.fitting import BOXES, PROGRAMS, fitted
from tapplan.study.free import MOST_RELAYS as MOST_FREE
from tapplan.study.free import TAPS as FREE_TAPS
from tapplan.study.logged import MOST_PLANS
from tapplan.study.recording import LEAST_CHOSEN, LEAST_HELD_OUT, MOST_SAMPLES
from tapplan.study.relaxing import TRIES
from tapplan.study.request import request_of
from tapplan.study.sensitivity import MOST as MOST_CHANGE
from tapplan.study.trees import MOST_RELAYS as MOST_TREE
from tests.examples import ROOT
from tests.guide import measured
from tests.guide.generated import MADE
from tests.guide.shown import DOCUMENTS
from tests.guide.test_guide import prose

F = Fraction
NUMBER = re.compile(r"\d|\b(two|three|four|five|six|seven|eight|nine|ten|twice|half|hundred)\b")
DESIGNS = ROOT / "designs"
GENERATED = {*MADE, "words"}


def sentences(name: str) -> Iterator[str]:
    """The sentences of a document outside its blocks, tables and headings, each on one line."""
    for paragraph in re.split(r"\n\s*\n|\n(?=- )|\n(?=\d+\. )", prose(DOCUMENTS[name].text)):
        if not paragraph.lstrip().startswith(("#", "|")):
            yield from re.split(r"(?<=[.:;]) ", " ".join(paragraph.split()))


def run(*words: str) -> int:
    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        return main(words)


def told(*words: str) -> Any:
    out = io.StringIO()
    with redirect_stdout(out):
        main((*words, "--json"))
    return json.loads(out.getvalue())


def file(name: str) -> str:
    return str(DESIGNS / f"{name}.toml")


@cache
def reviewed(name: str) -> Review:
    return review(load(file(name)))


def codes(name: str, severity: str) -> list[str]:
    return [one["code"] for one in told("check", file(name))["findings"] if one["severity"] == severity]


def throws(relays: tuple[Relay, ...]) -> set[str | None]:
    return {end for one in relays for pole in one.all_poles for end in (pole.com, pole.nc, pole.no)}


def coils_of(name: str) -> int:
    return len(reviewed(name).design.relays)


# --- README ---


def two_relays_on_three_points() -> bool:
    design = reviewed("ridge-dispensary").design
    wound = {end for one in design.windings for end in one.ends} - {design.terminals.neutral}
    return len(design.relays) == 2 and len(throws(design.relays) & wound) == 3


def boost_1(key: str, volts: int) -> Callable[[], bool]:
    def claim() -> bool:
        (row,) = (one for one in told("table", file("ridge-dispensary"))["bands"] if one["name"] == "boost 1")
        return round(row[key]) == volts

    return claim


def two_bands_at_190() -> bool:
    found = told("at", file("ridge-dispensary"), "190")
    point = found["points"][0] if "points" in found else found
    return len({one["band"] for one in _bands(point)}) == 2


def _bands(value: Any) -> Iterator[dict[str, Any]]:
    if isinstance(value, dict):
        if "band" in value and "energised" in value:
            yield value
        value = list(value.values())
    if isinstance(value, list):
        for one in value:
            yield from _bands(one)


def exit_codes() -> bool:
    """70 is held by `tests/cli/test_failures.py`."""
    sound, faulty, missing = (run("check", file(name)) for name in ("ridge-dispensary", "hostel-review", "nowhere"))
    return (sound, faulty, missing) == (0, 1, 2)


def output_over_two_lines() -> bool:
    """The cells of the output: the output as calculated, then at worst, each with its two ends."""
    out = io.StringIO()
    with redirect_stdout(out):
        main(("table", file("ridge-dispensary")))
    lines = out.getvalue().splitlines()
    bands = told("table", file("ridge-dispensary"))["bands"]
    return all(
        any(_ends(row["output_v"]) in one and _ends(row["worst_output_v"]) in two for one, two in pairwise(lines))
        for row in bands
    )


def _ends(span: list[float]) -> str:
    return " - ".join(f"{round(one, 1):g}" for one in span)


# --- designer ---


def crane() -> bool:
    return coils_of("harbour-crane") == 4 and "duplicate-state" in codes("harbour-crane", "note")


def kiosk() -> bool:
    design = reviewed("river-kiosk").design
    ratios = {one["ratio"] for one in told("states", file("river-kiosk"))["states"]} - {None}
    return len(design.relays) == 3 and len(ratios) == 8 and any(len(one.all_poles) == 2 for one in design.relays)


def mains_and_inverter_add() -> bool:
    """The widest gap of the hut is its line's and its inverter's highest volts together, by peak values apart."""
    bands = told("rate", file("shepherds-hut"))["contacts"]
    return max(one["gap_v"] for one in bands) > float(reviewed("shepherds-hut").design.mains.span.high)


# --- repairer ---


def never_above_50() -> bool:
    """With every single fault, in every coil state the sheet asks for, fed as the sheet says."""
    isolation = Isolation(reviewed("ridge-dispensary").table)
    bench = isolation.bench
    line, neutral, _ = (bench.circuit.points[end] for end in bench.circuit.terminals)
    most = max(
        highest(bench, one, Condition("low", coils, (line, neutral), isolation.low_volts))
        for one in isolation.hypotheses
        for coils in forced_states(bench.table)
    )
    return 0 < most <= TOUCH_V == 50


def a_bit_halves() -> bool:
    """The unit that the choice of a measurement is worked out in: two likely alike are one bit, four are two."""
    return [float(_bits(np.full((1, count), 1 / count)).sum()) for count in (1, 2, 4)] == [0, 1, 2]


def efforts() -> bool:
    return min(EFFORT.values()) == EFFORT["off"] == 1 and max(EFFORT.values()) == EFFORT["line"] == 4


def pairs_are_two() -> bool:
    table = reviewed("ridge-dispensary").table
    one, two = Isolation(table), Isolation(table, replace(Setup(), two=True))
    return max(map(len, one.hypotheses)) == 1 and max(map(len, two.hypotheses)) == 2


# --- reviewer ---


def dead_zone() -> bool:
    """The hostel's "boost" is held up to 228 V; it is read 1 % high with half of 2 V on top: (228 - 1)/1.01."""
    sensing, (boost, *_) = reviewed("hostel-review").design.sensing, reviewed("hostel-review").design.bands
    (found,) = (one for one in told("check", file("hostel-review"))["findings"] if one["code"] == "dead-zone")
    edge = (boost.hold_v[1] - sensing.noise_v / 2) / (1 + sensing.error)
    return edge == F(22700, 101) and round(float(edge), 3) == 224.752 and "224.752" in found["message"]


def draws_as_many() -> bool:
    """Cheaper with fewer; the count asked for is the count of the bands and of what none holds."""
    found = told("margins", file("hostel-review"), "--samples", "1000")["samples"]
    return bool(sum(one["count"] for one in found["bands"]) + found["unheld"] == found["count"] == 1000)


def unnoticed() -> bool:
    design = reviewed("hostel-review").design
    window_ms = design.sensing.window_cycles * 1000 / design.mains.frequency_hz[0]
    return window_ms == 20 and design.sensing.confirm_ms == 0


def middle_moves_both() -> bool:
    steps = reviewed("ridge-dispensary").table.rows
    moved = [set(one.energised) ^ set(two.energised) for one, two in pairwise(steps)]
    return coils_of("ridge-dispensary") == 2 and [len(one) for one in moved] == [1, 2, 1]


# --- method and limits ---


def half_of_the_noise() -> bool:
    sensing = reviewed("hostel-review").design.sensing
    read = blur_of(replace(sensing, error_pct=F(0))).readings(Span(F(200), F(200)), Span(F(1), F(1)))
    return read == Span(200 - sensing.noise_v / 2, 200 + sensing.noise_v / 2)


def read_between_the_shares() -> bool:
    """m = (1 + eps) q V + nu at its two ends, by hand for 200 V, 1 % and 2 V, q from 0.9 to 1."""
    sensing = replace(reviewed("hostel-review").design.sensing, error_pct=F(1), noise_v=F(2))
    found = blur_of(sensing).readings(Span(F(200), F(200)), Span(F(9, 10), F(1)))
    return found == Span(F(99, 100) * F(9, 10) * 200 - 1, F(101, 100) * 200 + 1)


def input_reads_one() -> bool:
    return all(row.read == Span(F(1), F(1)) for row in reviewed("ridge-dispensary").table.rows)


def default_times() -> bool:
    times = (DEFAULT_OPERATE_MS, DEFAULT_RELEASE_MS, DEFAULT_TRANSFER_MS, DEFAULT_BOUNCE_MS)
    return times == (15, 10, 10, 5) and reviewed("hostel-review").design.relays[0].operate_ms is None


def closed_contacts() -> bool:
    return (Span(F(0), F(1, 2)),) == CLOSED and JOINED_OHM == 1 and F(3, 2) == WORN_OHM


def three_poles_are_not_known() -> bool:
    """A relay driven that parts or joins one, two or three pairs of points that share none."""
    pairs = [("A", "B"), ("C", "D"), ("E", "F")]

    def known(poles: int) -> bool:
        points = [end for pair in pairs[:poles] for end in pair]
        readings = [
            Reading(Measure(Condition("off", coils), "ohms", ends), F(0) if ends in pairs and coils else F(10**6))
            for coils in (frozenset(), frozenset({"K"}))
            for ends in combinations(points, 2)
        ]
        return bool(contacts(readings, ("K",)).wirings)

    return [known(poles) for poles in (1, 2, 3)] == [True, True, False]


def open_and_coil_ohms() -> bool:
    return OPEN_FROM == 1000 and F(20, 100) == SPREAD and Span(F(10), F(50_000)) == COIL_OHM


def as_people_write() -> bool:
    """Open twice, twelve hundred ohm, a fifth of one, a buzzer's beep, and volts with what they are of."""
    names = Names.of(reviewed("ridge-dispensary").table)
    ohms = [
        reading_of(f"off: ohms KL.com KL.nc = {one}", names).value for one in ("OL", "open", "1k2", "0R2", "beep")
    ]
    volts = reading_of("low 3 V AC on LINE NEUTRAL: output = 3 V AC", names)
    return ohms == [MOST, MOST, 1200, F(1, 5), 0] and volts.value == 3


def copper_and_iron() -> bool:
    return (
        Span(F(1, 1000), F(12, 100)) == COPPER_SHARE
        and F(5, 100) == LEAKAGE_SHARE
        and F(15, 100) == MAGNETISING_SHARE
    )


def offered_poles() -> int:
    """The most poles of two relays in trees, where the request does not say how many have two."""
    asked = load_request(ROOT / "designs" / "requests" / "coast-road.toml")
    request = replace(request_of(asked.design, asked.fit), arrangements=("trees",), relays_max=2)
    return max(len(one.poles) for one in wirings(request))


def sections(count: int, *, turned: bool) -> Callable[[], bool]:
    return lambda: max(len(one.sections) for one in _sections(6, turned=turned)) == count


def finest_relaxation() -> bool:
    return F(1, 2) / 2**TRIES == F(1, 128)


def shown_commands(topic: str, words: str) -> int:
    """How many commands of tapplan the block has that holds these words."""
    text = DOCUMENTS[topic].text
    block = next(part for part in text.split("```")[1::2] if words in part)
    return block.count("$ tapplan ")


def hysteresis_saves_a_relay() -> bool:
    """The coast road with 3.3 V of hysteresis takes three relays; with 0.28 V less, two."""
    asked = load_request(ROOT / "designs" / "requests" / "coast-road.toml")
    request = request_of(asked.design, asked.fit)

    def relays(hysteresis: str) -> int:
        return min(plan.relays for plan in fitted(replace(request, hysteresis=F(hysteresis))).plans)

    return relays("3.3") == 3 and relays("3.02") == 2 and F("3.3") - F("3.02") == F("0.28")


# --- ci, firmware ---


def stands_guard() -> bool:
    return all(run(verb, file("hostel-review"), *more) == 1 for verb, more in (("check", ()), ("table", ()))) and all(
        run(verb, file("ridge-dispensary")) == 0 for verb in ("check", "table", "margins", "rate")
    )


def isolate_guards() -> bool:
    asked = ("isolate", file("ridge-dispensary"), "--reading")
    return [run(*asked, f"line 200 V rising: output = {volts}") for volts in (20, 177)] == [1, 1]


def warnings_leave_0() -> bool:
    return bool(codes("signal-box", "warning")) and run("check", file("signal-box")) == 0


def judged_or_not() -> bool:
    return run("check", file("ridge-dispensary"), file("nowhere")) == 2


def sarif() -> bool:
    out = io.StringIO()
    with redirect_stdout(out):
        main(("check", file("ridge-dispensary"), "--format", "sarif"))
    return bool(json.loads(out.getvalue())["version"] == "2.1.0")


def worse_is_1() -> bool:
    old, new = file("ridge-dispensary"), file("hostel-review")
    return run("compare", old, new) == 1 and run("compare", old, old) == 0


def at_least_threshold() -> bool:
    """The export says so of itself; `tests/engines/test_exports` works the equations out with this meaning."""
    out = io.StringIO()
    with redirect_stdout(out):
        main(("export", file("ridge-dispensary"), "--to", "logic"))
    return "1 where the reading is at least\n#   cmp_1: 164000 mV" in out.getvalue()


def is_one(constant: object, value: object) -> Callable[[], bool]:
    return lambda: constant == value


WINDER = ("requests", "--to winding -o island.html")


def most_states() -> bool:
    return (MOST_RELAYS_EACH, MOST_CIRCUITS) == (20, 50_000)


CLAIMS: dict[tuple[str, str], Callable[[], bool]] = {
    ("README", "two relays on three points"): two_relays_on_three_points,
    ("README", '"boost 1" is entered at 192 V'): boost_1("enter_rising_v", 192),
    ("README", "going down it is left at 189 V"): boost_1("leave_falling_v", 189),
    ("README", "The output stands over two lines"): output_over_two_lines,
    ("README", "with 190 V on the line, two bands"): two_bands_at_190,
    ("README", "0 nothing wrong found, 1 at least one fault, 2"): exit_codes,
    ("designer", "four relays and duplicate states"): crane,
    ("designer", "a two-pole relay, eight ratios from three coils"): kiosk,
    ("designer", "The output stands over two lines"): output_over_two_lines,
    ("designer", "the two add"): mains_and_inverter_add,
    ("repairer", "no two points come above 50 V"): never_above_50,
    ("repairer", "*Bits* count how much a measurement tells (1"): a_bit_halves,
    ("repairer", "from 1 with the power off to 4 on the line"): efforts,
    ("repairer", "thinks of two faults at once"): pairs_are_two,
    ("repairer", "two right answers"): two_bands_at_190,
    ("repairer", "mean what they mean on the bench"): as_people_write,
    ("reviewer", "read 1 % high, with half of the 2 V of noise"): dead_zone,
    ("reviewer", "`(228 - 1)/1.01`, which is 224.752 V"): dead_zone,
    ("reviewer", "`--samples 100000` draws that many"): draws_as_many,
    ("reviewer", "averaging window of 20 ms"): unnoticed,
    ("reviewer", "15 ms to operate or 10 to release"): default_times,
    ("reviewer", "Exit code 1 says that something got worse"): worse_is_1,
    ("reviewer", "wrong on purpose in three ways"): lambda: len(codes("hostel-review", "fault")) == 3,
    ("reviewer", "two relays whose middle step moves both"): middle_moves_both,
    ("method", "`m = (1 + eps) q V + nu`"): read_between_the_shares,
    ("method", "up to half of `noise_v` either way"): half_of_the_noise,
    ("method", "1 at the input"): input_reads_one,
    ("method", "at most 15, 10, 10 and 5 ms"): default_times,
    ("method", "no whole number of half cycles"): lambda: "ripple-in-reading" in CODES,
    ("limits", "Beyond 8 relays"): is_one(BULK_FROM_RELAYS - 1, 8),
    ("limits", "beyond 20, among"): is_one(MOST_RELAYS_EACH, 20),
    ("limits", "Beyond 200 different ratios"): is_one(MOST_RUNGS, 200),
    ("limits", "more than seven relays at once"): is_one(MOST_MOVERS, 7),
    ("limits", "in tables of more than 40 rows"): is_one(MOST_DETOURED, 40),
    ("limits", "whole half cycles"): lambda: "ripple-in-reading" in CODES,
    ("limits", "off by 10 %"): is_one(SCALED_BY, F(10, 100)),
    ("limits", "with `--pairs` two"): pairs_are_two,
    ("limits", "a contact (closed up to 0.5 ohm"): closed_contacts,
    ("limits", "worn from 1.5"): closed_contacts,
    ("limits", "10 ohm to 50 kohm"): open_and_coil_ohms,
    ("limits", "copper that loses 0.1 to 12 % at full load, up to 5 % of leakage"): copper_and_iron,
    ("limits", "Shorted turns that take no more than iron may (15 % of the rating)"): copper_and_iron,
    ("limits", "with up to 10 ohm of its own"): lambda: INNER_OHM == 10,
    ("limits", "once in a hundred"): is_one(LEAST_SHARE, 0.01),
    ("limits", "up to two poles a relay"): three_poles_are_not_known,
    ("limits", "changeovers of up to three relays"): is_one(MOST_TREE, 3),
    ("limits", "relay with two poles"): lambda: offered_poles() == 3,
    ("limits", "up to four sections added or skipped"): sections(4, turned=False),
    ("limits", "up to two reversed"): sections(2, turned=True),
    ("limits", "up to three changeovers on up to five taps"): is_one((MOST_FREE, FREE_TAPS), (3, 5)),
    ("limits", "the least within 1/128"): finest_relaxation,
    ("designer", "goes there from a request in three commands"): lambda: shown_commands(*WINDER) == 3,
    ("requests", "From the request to the winder it takes three commands"): lambda: shown_commands(*WINDER) == 3,
    ("requests", "with a little more hysteresis than two relays leave room for"): hysteresis_saves_a_relay,
    ("requests", "0.28 V less hysteresis saves a relay"): hysteresis_saves_a_relay,
    ("limits", "larger cores that are offered are three steps of iron"): lambda: len(LARGER) == 3,
    ("limits", "changes one wish at a time, by a half at most"): lambda: F(1, 2) == MOST_CHANGE,
    ("ci", "exit with 1 when a promise is broken"): stands_guard,
    ("ci", "exits with 1 when a sound stage"): isolate_guards,
    ("ci", "leave the code at 0"): warnings_leave_0,
    ("ci", "makes the code 2"): judged_or_not,
    ("ci", "SARIF 2.1.0"): sarif,
    ("ci", "exits with 1 when anything got worse"): worse_is_1,
    ("firmware", "is 1 where the reading is at least threshold N"): at_least_threshold,
    ("logs", "four weeks of measured minutes of a household"): measured.four_weeks_of_minutes,
    ("logs", "Berard, CC BY 4.0;"): measured.four_weeks_of_minutes,
    ("logs", "twice the years remain"): measured.twice_the_years_in_cycles,
    (
        "logs",
        "the root of the mean of squares of all that the log has in ten minutes",
    ): measured.means_are_of_ten_minutes,
    ("logs", "95 % of each week's within 10 % of nominal"): measured.limits_of_en_50160,
    ("logs", "longer distance than three usual steps"): measured.three_usual_steps,
    ("logs", "245.0 in a file is at the end of a hold that ends at 245"): measured.the_end_of_a_hold_is_inside,
    ("logs", "seconds, milliseconds, microseconds since 1970"): measured.epochs_and_dates,
    ("logs", "which way round 05/06/2024 is meant"): measured.epochs_and_dates,
    ("logs", "refused with the names of the three columns"): measured.a_column_is_asked_for,
    ("logs", "the least, the tenth, half, nine tenths and the most of the sites"): measured.sites_are_spanned,
    ("logs", "the others go on, and the exit code is 2"): measured.others_go_on_and_the_code_is_2,
    ("logs", "chosen on the first two thirds of the time"): measured.two_thirds_are_chosen_on,
    ("logs", "what each of the first ten would have done on it"): lambda: MOST_PLANS == 10,
    ("limits", "from the first 20 million samples of its logs"): lambda: MOST_SAMPLES == 20_000_000,
    ("limits", "of less than three days is too short"): lambda: LEAST_CHOSEN + LEAST_HELD_OUT == 3 * DAY,
    ("limits", "0.01 V for the usual mains"): measured.volts_to_a_hundredth,
    ("limits", "Of more than 220 single faults `--pairs` pairs"): lambda: MOST_PAIRED == 220,
    ("limits", "up to 20 relays state by state, and with `--grouped` up to 50000"): most_states,
    ("limits", "look through all states of up to 20 relays"): most_states,
    ("limits", "Of more than 20, and where resistances"): most_states,
    ("limits", "up to 60000 mixtures of positions"): is_one(MOST_MIXTURES, 60_000),
    ("limits", "up to 600 cases of state and reading (some 15 bands)"): is_one(MOST_CASES, 600),
    ("limits", "every single fault, up to a million of them"): is_one(MOST_FORETOLD, 1_000_000),
    ("limits", "up to 1.5 million boxes of turns, or 25000"): is_one((BOXES, PROGRAMS), (1_500_000, 25_000)),
    ("limits", "up to ten thousand million readings"): is_one(MOST_READINGS, 10**10),
}

SCENES = {
    ("README", "Python 3.11 or newer"),
    ("designer", "The feeder wanders from 145 to 285 V"),
    ("designer", '`standard = "iec-60038-230"` under'),
    ("repairer", "A *changeover relay* joins its common"),
    ("repairer", "The line is at 190 V."),
    ("repairer", "it halves what is left"),
    ("repairer", "with 24 turns wound on between X and Y"),
    ("repairer", "Now go back to section 1"),
    ("requests", "The hut, promised 170 to 290 V"),
    ("notebook", "text is taken exactly"),
    ("logs", "among the workers of a Dask cluster"),
    ("logs", "a made region of a thousand million samples, 32 sites"),
    ("logs", "a thousand sites for 32 years of seconds"),
    ("logs", "on 64 cores under four minutes"),
}


def test_every_number_in_the_prose_is_claimed_here_and_nothing_else_is() -> None:
    told_of = {*CLAIMS, *SCENES}
    used = set()
    for name in DOCUMENTS:
        if name in GENERATED:
            continue
        for sentence in filter(NUMBER.search, sentences(name)):
            found = {one for one in told_of if one[0] == name and one[1] in sentence}
            assert found, f"{name}: {sentence}"
            used |= found
    assert used == told_of


@pytest.mark.parametrize(("name", "words"), CLAIMS, ids=lambda one: one[:40])
def test_what_the_prose_claims_holds(name: str, words: str) -> None:
    assert CLAIMS[name, words]()
