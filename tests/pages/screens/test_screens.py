"""The screens: every row of an answer stands in its own line, under its headings, and every sentence is said."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest
from rich.console import Console

from tapplan.answers.answer import Answer
from tapplan.answers.at import relays_at
from tapplan.answers.bands import bands_of, derived
from tapplan.answers.compare import compared
from tapplan.answers.faults import faults
from tapplan.answers.findings import explained, findings_of
from tapplan.answers.fit import plans
from tapplan.answers.forms import cells
from tapplan.answers.guide import guide_topic, guide_topics
from tapplan.answers.margins import margins, with_samples
from tapplan.answers.moves import moves
from tapplan.answers.rate import rated
from tapplan.answers.sheet import bench_sheet
from tapplan.answers.standards import standards
from tapplan.answers.states import groups_of, states_of
from tapplan.answers.steps import steps
from tapplan.answers.sweep import swept_both_ways
from tapplan.answers.table import truth_table
from tapplan.answers.verdict import verdict
from tapplan.bench.meter import Meter
from tapplan.checks.review import Review, review
from tapplan.design.file import load, load_request, parse
from tapplan.pages.screens import at as at_screen
from tapplan.pages.screens import (
    bandmap,
    bands,
    compare,
    fit,
    guide,
    isolate,
    rate,
    sheet,
    table,
)
from tapplan.pages.screens import faults as faults_screen
from tapplan.pages.screens import findings as findings_screen
from tapplan.pages.screens import margins as margins_screen
from tapplan.pages.screens import moves as moves_screen
from tapplan.pages.screens import standards as standards_screen
from tapplan.pages.screens import states as states_screen
from tapplan.pages.screens import steps as steps_screen
from tapplan.pages.screens import sweep as sweep_screen
from tapplan.pages.screens import verdict as verdict_screen
from tapplan.study.fitting import fitted
from tapplan.study.loaded import LoadedFit
from tapplan.study.request import request_of
from tests.examples import ROOT

F = Fraction
WIDE = 400
Screen = Callable[[Any, int], Any]


@cache
def reviewed(name: str) -> Review:
    return review(load(ROOT / "designs" / f"{name}.toml"))


def shown(screen: Screen, answer: Answer, width: int = WIDE) -> str:
    console = Console(width=width, no_color=True)
    with console.capture() as captured:
        console.print(screen(answer, width))
    return captured.get()


def squeezed(text: str) -> str:
    return " ".join(text.split())


def stand(text: str, rows: Sequence[Any], heads: Sequence[str]) -> None:
    """Each row in a line of its own: the cells under these headings, in this order."""
    made = cells(rows)
    assert set(heads) <= set(made.heads)
    places = [made.heads.index(head) for head in heads]
    lines = [squeezed(line) for line in text.splitlines()]
    assert any(re.search(r"\s+".join(re.escape(squeezed(head)) for head in heads), line) for line in lines), heads
    for row in made.rows:
        wanted = squeezed(" ".join(row[place] for place in places))
        assert any(wanted in line for line in lines), wanted


RIDGE, HOSTEL, HUT, BOX = "ridge-dispensary", "hostel-review", "shepherds-hut", "signal-box"


def test_states() -> None:
    answer = states_of(load(ROOT / "designs" / f"{RIDGE}.toml"))
    text = shown(states_screen.screen, answer)
    stand(text, answer.states, ("energised", "kind", "ratio", "path"))
    assert text.endswith("4 relay states\n")
    many = groups_of(load(ROOT / "designs" / "river-kiosk.toml"))
    one = replace(many, states=(replace(many.states[0], any=tuple("ABCDEFGH"), count=256),))
    assert "A, B, C, D, E, ... H (8)" in squeezed(shown(states_screen.screen, one))
    few = replace(many, states=(replace(many.states[0], any=tuple("ABCDEF"), count=64),))
    assert "A, B, C, D, E, F" in squeezed(shown(states_screen.screen, few))


def test_table() -> None:
    answer = truth_table(reviewed(RIDGE))
    text = shown(table.screen, answer, 120)
    lines = text.splitlines()
    heads = "band KL KO ratio in > out in > out at worst"
    assert squeezed(lines[2]) == heads
    assert squeezed(lines[3]) == "boost 2 energised energised 599/469 - > 192 189 > 164 214.6 - 245.2"
    assert squeezed(lines[4]) == "1.2772 214.6 - 248.3"
    assert "NO: coil energised" not in text
    assert "Coverage: no gap" in text
    assert "The file leaves them out" not in text
    narrow = shown(table.screen, answer, 70)
    assert "NO: coil energised" in narrow
    assert "boost 2 NO NO 599/469 - > 192 189 > 164 214.6 - 245.2" in map(squeezed, narrow.splitlines())
    many = replace(answer, relays=tuple(f"K{number}" for number in range(20)))
    assert any(
        squeezed(line).startswith("band energised ratio") for line in shown(table.screen, many, 80).splitlines()
    )


def test_a_table_says_what_tapplan_chose() -> None:
    text = (ROOT / "designs" / f"{RIDGE}.toml").read_text(encoding="utf-8")
    open_holds = re.sub(r"^hold_v.*\n", "", text, flags=re.MULTILINE)
    told = shown(table.screen, truth_table(review(parse(open_holds))))
    assert "The file leaves them out: missing thresholds placed by tapplan." in told
    bare = re.sub(r"\[\[band\]\]\n(?:.+\n)+", "", text)
    told = shown(table.screen, truth_table(review(parse(bare))))
    assert "The file leaves them out: bands chosen and thresholds placed by tapplan." in told


def test_the_map_shows_a_gap() -> None:
    text = shown(table.screen, truth_table(reviewed(HOSTEL)), 100)
    line = next(line for line in text.splitlines() if line.startswith("dead-zone"))
    assert re.fullmatch(r"dead-zone\s+x+\s+224.8 - 234.3 V", line.rstrip())
    mains = next(line for line in text.splitlines() if line.startswith("mains range"))
    assert mains.index("|") < line.index("x") < line.rindex("x") < mains.rindex("|")


def test_the_map_shows_every_band_from_where_it_is_left_falling_to_where_it_is_left_rising() -> None:
    for name in (RIDGE, HOSTEL, BOX):
        answer = truth_table(reviewed(name))
        lines = bandmap.band_map(answer, 100)
        drawn = [line for line in lines if "[" in line]
        assert len(drawn) == len(answer.bands)
        starts = [line.index("[") for line in drawn]
        assert starts == sorted(starts)
        for line, row in zip(drawn, answer.bands, strict=True):
            assert line.startswith(row.band)
            low, high = re.search(r"([\d.]+) - ([\d.]+) V$", line).groups()
            assert float(low) == round(float(row.leave_falling_v), 1)
            assert float(high) == round(float(row.leave_rising_v), 1)
            assert line[line.index("[") + 1 : line.index("]")].strip("=") == ""


def test_a_band_without_thresholds_holds_no_inputs() -> None:
    row = truth_table(reviewed(RIDGE)).bands[0]
    assert row.input_hold is not None
    assert replace(row, leave_falling_v=None).input_hold is None
    assert replace(row, leave_rising_v=None).input_hold is None


def test_bands() -> None:
    answer = bands_of(derived(reviewed(RIDGE).design))
    text = shown(bands.screen, answer)
    stand(text, answer.bands, ("band", "energised", "ratio", "hold (readings, V)", "room to the next (V)"))
    assert "No choice of states" not in text


def test_verdict_folds_and_all_tells_everything() -> None:
    answer = verdict(reviewed("river-kiosk"))
    text = shown(verdict_screen.screen, answer)
    assert text.splitlines()[1] == answer.told
    stand(text, answer.measured, ("promise", "kept", "margin (V)", "least at"))
    stand(text, answer.traits, ("trait", "at worst", "where", "more in"))
    assert f"and {len(answer.also_held)} that have no margin, held" in text
    alike = [one for one in answer.urgent if one.code == answer.urgent[0].code]
    assert len(alike) > 4
    assert f"{len(alike)} times, among them at {', '.join(one.where for one in alike[:4])}" in text
    everything = shown(verdict_screen.everything, answer)
    assert all(one.told in everything for one in answer.findings)
    assert f"also held: {', '.join(answer.also_held)}" in everything
    assert "times, among" not in everything
    broken = shown(verdict_screen.screen, verdict(reviewed(HOSTEL)))
    assert "notes (--all shows them): holds-beyond-range, duplicate-state" in broken
    assert "BROKEN" in broken


def test_a_broken_promise_without_a_margin_is_named() -> None:
    text = (ROOT / "designs" / f"{RIDGE}.toml").read_text(encoding="utf-8")
    swapped = text.replace('"boost 1"\nenergised = ["KL"]', '"boost 1"\nenergised = ["KO"]')
    swapped = swapped.replace('"direct"\nenergised = ["KO"]', '"direct"\nenergised = ["KL"]')
    answer = verdict(review(parse(swapped)))
    assert "BROKEN: wrong-way" in shown(verdict_screen.screen, answer)
    assert answer.broken_told.split(", ")[0] == "wrong-way"


def test_limits_and_acceptances_are_shown() -> None:
    text = (ROOT / "designs" / f"{RIDGE}.toml").read_text(encoding="utf-8")
    stated = text + '\n[limits]\nmove_gap_ms = 100\n\n[[accept]]\ncode = "race-overvoltage"\nreason = "lamps only"\n'
    answer = verdict(review(parse(stated)))
    told = shown(verdict_screen.screen, answer)
    stand(told, answer.traits, ("trait", "at worst", "limit", "where", "more in"))
    assert sum("lamps only" in line for line in told.splitlines()) == len(answer.accepted) == 2
    assert 'accepted  race-overvoltage ("boost 1" to "direct"): lamps only' in told


def test_findings_and_an_explanation() -> None:
    answer = findings_of(reviewed(HOSTEL), ["dead-zone", "holds-beyond-range"])
    text = shown(findings_screen.screen, answer)
    assert all(one.told in text for one in answer.findings)
    assert text.endswith("1 fault, 2 notes\n")
    assert shown(findings_screen.screen, findings_of(reviewed(RIDGE), ["dead-zone"])).endswith("Nothing found.\n")
    meaning = explained(reviewed(HOSTEL), "chatter")
    told = shown(findings_screen.explained, meaning)
    for label, words in (("means", "means"), ("why", "why it matters"), ("mend", "to mend it")):
        assert f"{words}: {getattr(meaning.explained, label)}" in told
    assert meaning.findings[0].told in told
    assert told.startswith("chatter\n")
    assert shown(findings_screen.explained, explained(reviewed(RIDGE), "chatter")).endswith("  nowhere\n")


def test_at() -> None:
    answer = relays_at(reviewed(RIDGE).table, [F(190), F(100)])
    text = shown(at_screen.screen, answer)
    stand(text, answer.courses, ("line (V)", "when", "band", "energised", "output (V)", "path"))
    assert "start: switched on here" in text
    both = swept_both_ways(reviewed(RIDGE).table, [F(186), F(190), F(194)])
    told = shown(sweep_screen.screen, both)
    assert re.search(r"^rising\s.*^falling\s", told, re.DOTALL | re.MULTILINE)
    for one in both.passes:
        stand(told, one.rows, ("line (V)", "band", "energised", "output (V)"))
    assert told.count("<- moved") == sum(row.moved != "" for one in both.passes for row in one.rows) == 2


def test_faults() -> None:
    answer = faults(reviewed(RIDGE))
    text = shown(faults_screen.screen, answer)
    stand(text, answer.harmful, ("part", "fault", "band", "then", "output (V)"))
    assert len(text.splitlines()) == len(answer.harmful) + 4
    assert squeezed(answer.told) in squeezed(text)


def test_margins_budget_and_draws() -> None:
    one = reviewed(BOX)
    answer = with_samples(margins(one), one, 1000, 1)
    text = shown(margins_screen.screen, answer)
    assert answer.budget is not None
    assert answer.counts is not None
    assert answer.samples is not None
    stand(text, answer.growth, ("quantity", "now", "may go to", "then"))
    stand(text, answer.budget.with_sum, ("error of the reading", "worst (%)", "root of squares (%)", "how"))
    stand(text, answer.counts.with_return, ("band", "hold (counts)", "counts of hysteresis to the next"))
    stand(
        text, [row for row in answer.samples.bands if row.count], ("band", "samples", "lowest - highest output (V)")
    )
    assert "0 of 1000 samples lie outside the exact worst case" in text
    assert f"One count is {float(answer.counts.step_v):.4f}".rstrip("0") in text
    assert "Promises broken" not in text
    corner = answer.margins[0]
    line = next(line for line in text.splitlines() if line.startswith(f"{corner.band}"))
    assert (
        squeezed(line).split()[:3]
        == [*corner.band.split(), corner.end, f"{float(corner.input_v):.2f}".rstrip("0").rstrip(".")][:3]
    )
    assert "Promises broken" in shown(margins_screen.screen, margins(reviewed(HOSTEL)))


def test_the_bars_are_to_one_scale() -> None:
    answer = margins(reviewed(RIDGE))
    text = shown(margins_screen.screen, answer, 120)
    lines = {f"{one.band} {one.end}": one for one in answer.margins}
    scale = max(one.noise_v + one.error_v + one.load_v + one.margin_v for one in lines.values())
    for name, one in lines.items():
        bar = next(line for line in text.splitlines() if re.fullmatch(rf"{name}\s+[NEL.]+", line.rstrip()))
        drawn = bar.split(name)[1].strip()
        for letter, size in (("N", one.noise_v), ("E", one.error_v), (".", one.margin_v)):
            assert abs(drawn.count(letter) - 60 * size / scale) <= 1
    over = shown(margins_screen.screen, margins(reviewed(HOSTEL)), 120)
    assert "! overdrawn by so much" in over


def test_bars_keep_within_the_screen_and_handovers_need_two_bands() -> None:
    answer = margins(reviewed(RIDGE))
    for width in (60, 80):
        text = shown(margins_screen.screen, answer, width)
        assert max(map(len, text.splitlines())) <= width
        bars = [line for line in text.splitlines() if re.match(r"boost \d (low|high) +\S+$", line)]
        assert bars
        assert all(re.match(r"boost \d (low|high) +[NEL.]+$", line) for line in bars)
    heading = "that neighbours could share"
    assert heading in text
    assert heading not in shown(margins_screen.screen, replace(answer, handovers=()), 80)


def test_steps() -> None:
    answer = steps(reviewed(RIDGE))
    text = shown(steps_screen.screen, answer)
    heads = ("from", "line to (V)", "through", "output (V)", "% of nominal", "lasts (ms)", "allowed (ms)", "verdict")
    stand(text, answer.worst, heads)
    assert all(one in text for one in answer.told)
    assert answer.drawing is not None
    assert answer.drawing.told in text
    assert "Steps to inputs that no band holds" not in text
    assert "Steps to inputs that no band holds" in shown(steps_screen.screen, steps(reviewed(HOSTEL)), 160)


def test_moves() -> None:
    answer = moves(reviewed(RIDGE))
    text = shown(moves_screen.screen, answer)
    stand(text, answer.moves, ("relays", "at (V)", "can pass through", "on nothing (ms)", "takes (ms)"))
    stand(text, answer.choices, ("move", "safest order", "which passes", "takes (ms)"))
    assert [one.between for one in answer.moves][:2] == ["boost 2 > backup", "boost 2 > boost 1"]
    assert len(answer.choices) == sum(one.safest_order is not None for one in answer.moves) > 3
    assert "none comes first" not in text
    assert "comes first" in text


def test_compare() -> None:
    answer = compared(reviewed(HOSTEL), reviewed(RIDGE))
    text = shown(compare.screen, answer)
    stand(text, answer.bands, ("band", "change", "was", "is"))
    stand(text, answer.stated, ("key", "was", "is"))
    assert all(one.told in text for one in (*answer.promises, *answer.gained, *answer.lost))
    assert text.endswith("\nSomething got worse.\n")
    same = shown(compare.screen, compared(reviewed(RIDGE), reviewed(RIDGE)))
    assert "No difference" in same
    assert "Margins (V)" not in same
    grown = (ROOT / "designs" / f"{HOSTEL}.toml").read_text(encoding="utf-8").replace("228", "226")
    worse = compared(reviewed(HOSTEL), review(parse(grown)))
    told = shown(compare.screen, worse)
    assert worse.changed
    for one in worse.changed:
        assert f"{one.severity}  {one.code}, {one.where}: {'worse' if one.worse else 'no worse'}" in told
        assert f"was: {one.old}" in told
        assert f"is:  {one.new}" in told


def test_rate() -> None:
    answer = rated(reviewed(HUT))
    text = shown(rate.screen, answer)
    stand(text, answer.bands, ("band", "line (V)", "output, loaded (V)", "drop (%)", "line (A)", "load (A)"))
    stand(text, answer.heat, ("band", "V/turn", "flux (T)", "copper (W)", "core (W)", "efficiency", "rise (K)"))
    stand(text, answer.sections, ("winding", "turns", "current (A)", "in", "wire", "A/mm2", "ohm", "loss (W)"))
    stand(text, answer.contacts, ("peak (A)", "years"))
    stand(text, answer.charging, ("band", "charger's input (V peak, rectified)"))
    stand(text, answer.coil_supply, ("band", "coil supply (V)", "needed (V)", "coils (W)"))
    assert answer.core is not None
    assert answer.core.told in text
    assert answer.charging_told in text
    (feed,) = answer.feeds
    stand(text, feed.states, ("while it runs with", "output (V)", "inlet's pin (V)"))
    assert all(one in text for one in feed.told)
    assert all(one.told in text for one in answer.bridges)
    most = max(one.va for one in answer.permitted)
    for one in answer.permitted:
        start = f"{one.input_v:>6.1f}".rstrip("0").rstrip(".")
        line = next(line for line in text.splitlines() if f"{one.va:>7.0f} VA " in line and start in line)
        assert line.count("=") == max(round(40 * one.va / most), 1)
        assert line.rstrip().endswith(one.limited_by)
    bare = rated(reviewed(RIDGE))
    told = shown(rate.screen, bare)
    assert "Battery winding" not in told
    assert "Coil supply" not in told
    assert all(f"needs {one}" in told for one in bare.needs)


def test_a_load_beyond_what_is_permitted_is_marked() -> None:
    answer = rated(reviewed(HUT))
    rows = tuple(replace(one, short=number == 0) for number, one in enumerate(answer.permitted))
    told = shown(rate.screen, replace(answer, permitted=rows))
    assert told.count("less than load_va") == 1


def test_sheet_and_standards() -> None:
    answer = bench_sheet(reviewed(RIDGE).table, Meter())
    text = shown(sheet.screen, answer)
    stand(text, answer.coils, ("band", "line volts", "coils driven", "output volts"))
    stand(text, answer.lines[:20], ("step", "measure", "passes"))
    assert f"{len(answer.set_up) + 1}. {answer.source_told}" in text
    assert all(part.heading in text and part.before in text for part in answer.sections)
    known = standards()
    listed = shown(standards_screen.screen, known)
    stand(listed, known.supplies, ("key", "nominal (V)", "range (V)", "Hz", "what"))
    for one in (*known.supplies, *known.curves):
        assert any(one.key in line and one.source in line for line in map(squeezed, listed.splitlines()))


@pytest.mark.parametrize("width", [60, 120])
def test_fit(width: int) -> None:
    asked = load_request(ROOT / "designs" / "requests" / "plain-workshop.toml")
    answer = plans(LoadedFit(fitted(request_of(asked.design, asked.fit, ())), (), ()), asked.design.title)
    text = shown(fit.screen, answer, width)
    for one in answer.plans:
        assert squeezed(one.turns) in squeezed(text) or width > 100
        assert f"{one.number:>4}  {one.relays} relay" in text
    assert squeezed(answer.bound_told) in squeezed(text)
    assert squeezed(answer.legend) in squeezed(text)
    assert ("plan:" in text) is (width == 60)
    unfinished = shown(
        fit.screen, replace(answer, finished=False, stopped=("Stopped early: some are missing.",)), width
    )
    assert "Stopped early: some are missing." in unfinished
    none = shown(fit.screen, replace(answer, plans=(), none_told="No plan."), width)
    assert none.endswith("No plan.\n")


def test_guide_and_isolate() -> None:
    answer = guide_topics()
    stand(shown(guide.screen, answer), answer.topics, ("topic", "what it is about"))
    exits = squeezed(shown(guide.topic, guide_topic("ci"), 80))
    assert "code means" in exits
    assert "0 done, nothing wrong found 1 done, and at least one fault" in exits
    from tapplan.answers.isolate import isolated
    from tapplan.answers.plan import bench_plan
    from tapplan.answers.tree import grown
    from tapplan.bench.isolation import Isolation
    from tapplan.bench.phrase import Names
    from tapplan.bench.readings import reading_of

    stage = reviewed(RIDGE).table
    isolation = Isolation(stage)
    isolation.add(reading_of("line 200 V rising: output = 177", Names.of(stage)))
    found = isolated(isolation, "x")
    text = shown(isolate.screen, found)
    stand(text, found.readings, ("measured", "reading"))
    stand(text, found.shown, ("likely", "what explains the readings", "what to do"))
    assert found.next is not None
    assert f"Next: {found.next.asked}" in text
    assert found.next.worth in text
    stand(text, found.next.shown, ("if it reads", "that fits"))
    assert found.wrong
    assert "most likely" in shown(lambda answer, _: isolate.asking(answer), found)
    empty = shown(isolate.screen, replace(found, cells_empty=3))
    assert "Of the sheet 3 lines have no reading." in empty
    tree = grown(isolation, "x")
    told = shown(isolate.tree, tree)
    for step in tree.tree.steps:
        assert f"{step.step}. {step.asked}" in told
        stand(told, step.outcomes, ("   if it reads", "then"))
    planned = bench_plan(isolation, "x")
    text = shown(isolate.plan, planned, 5000)
    for line in planned.lines:
        assert f"{line.line}. {line.asked} Passes: {line.passes}." in text
        stand(text, line.means, ("if it reads", "it is", "so"))
    for coil in ("KL", "KO"):  # two open coils: no single fault
        isolation.add(reading_of(f"off: coil-ohms {coil} = open", Names.of(stage)))
    clash = isolated(isolation, "x")
    assert clash.conflict
    assert clash.conflict_told in squeezed(shown(isolate.screen, clash))
