"""A request's text made a design file, and the order of moves put into one: it reads as it was meant."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from tapplan.design.edit import with_order, with_stage
from tapplan.design.file import parse
from tapplan.design.model import Band, Design, Pole, Relay, Terminals, Winding
from tapplan.design.starter import STARTER
from tests.examples import SHIPPED

F = Fraction
FRAME = """# what the customer said
format = 1
title = "A job"
[mains]  # measured for a week
nominal_v = 230
range_v = [187, 275]
[output]
nominal_v = 230
window_v = [207, 253]
[terminals]
line = "LINE"
neutral = "NEUTRAL"
output = "OUT" # a socket
[fit]
total_turns = 600
"""
CORED = FRAME.replace("[fit]", '[core] # to be chosen\ngrade = "M400-50A"\nflux_limit_t = 1.2\n[fit]')
BASE = parse(FRAME)


def decimals(least: int, most: int, places: int = 3) -> st.SearchStrategy[Fraction]:
    return st.decimals(least, most, places=places).map(F)


def maybe(values: st.SearchStrategy[Fraction]) -> st.SearchStrategy[Fraction | None]:
    return st.none() | values


@st.composite
def stages(draw: st.DrawFn) -> Design:
    """Two sections, one of them of wire perhaps; a relay or two, of one pole or two; bands with holds or without."""
    strands = draw(maybe(st.integers(1, 12).map(F)))
    wired = st.none() if strands is None else decimals(1, 5)
    windings = (
        Winding(
            name="a", ends=("NEUTRAL", "P"), turns=F(draw(st.integers(1, 900))), wire_mm=draw(maybe(decimals(1, 5)))
        ),
        Winding(name='b "\\ inner', ends=("P", "Q"), turns=F(7), strands=strands, wire_mm=draw(wired)),
    )
    poles = [
        Pole(com="O", nc="P", no="Q"),
        Pole(com="X", no=draw(st.sampled_from(["P", "Q"]))),
        Pole(com="X", nc=draw(st.sampled_from(["P", "Q"]))),
    ]
    ratings = {
        key: draw(maybe(decimals(1, 600, places)))
        for key, places in {"contact_a": 0, "contact_v": 1, "contact_ohm": 6, "coil_v": 2, "coil_w": 4}.items()
    }
    single = Relay(name="K1", com="O", nc="P", no="Q", **ratings)
    relays = draw(
        st.sampled_from([(single,), (Relay(name="K1", poles=tuple(poles)), Relay(name="K2", com="Y", no="Q"))])
    )
    low, high = draw(decimals(150, 200)), draw(decimals(201, 300, 9))
    bands = (Band(name="low", energised=("K1",), hold_v=(low, high)), Band(name="high", energised=()))
    terminals = Terminals(line="Q", neutral="NEUTRAL", output="O")
    return replace(BASE, terminals=terminals, windings=windings, relays=relays, bands=bands, fit=None)


@given(stages())
def test_a_stage_reads_as_it_was_written(stage: Design) -> None:
    made = with_stage(FRAME, stage, ["# plan 1"])
    assert parse(made) == stage


def test_a_stage_keeps_the_frame_s_own_words_and_none_of_what_it_replaces() -> None:
    """Written again over a whole design, each table is there once; the comments of the frame stay."""
    first = parse(STARTER)
    stage = replace(BASE, terminals=first.terminals, windings=first.windings, relays=first.relays, bands=first.bands)
    once = with_stage(FRAME, stage, ["# plan 1", "# of two"])
    assert once.startswith("# plan 1\n# of two\n\n# what the customer said\n")
    assert "[mains]  # measured for a week" in once
    assert 'output = "OUT" # a socket' in once
    assert "[fit]" not in once
    assert with_stage(once, stage, []).count("[[") == once.count("[[") == 3 + 2 + 3
    assert parse(with_stage(once, stage, [])) == parse(once)
    assert once.endswith("]\n")


def test_a_core_that_was_chosen_is_written_where_the_core_stands() -> None:
    asked = parse(CORED)
    assert asked.core is not None
    chosen = replace(asked.core, lamination="EI 96", stack_mm=F("32.5"))
    first = parse(STARTER)
    stage = replace(asked, core=chosen, terminals=first.terminals, windings=first.windings, relays=first.relays)
    made = with_stage(CORED, stage, [])
    assert "[core] # to be chosen" in made
    assert parse(made).core == chosen
    for unknown in (replace(chosen, lamination=None), replace(chosen, stack_mm=None), None):
        assert parse(with_stage(CORED, replace(stage, core=unknown), [])).core == asked.core
    assert parse(with_stage(FRAME, replace(stage, core=None), [])).core is None


@given(decimals(0, 10**6, 14))
@example(F("999999.99999999999999"))  # 20 digits, more than a float tells apart
@example(F("0.00000000000001"))
@example(F(0))
def test_a_decimal_is_written_as_it_is(volts: Fraction) -> None:
    stage = replace(parse(STARTER), bands=(Band(name="all", energised=(), hold_v=(volts, F(10**7))),))
    assert f"hold_v = [{volts.numerator if volts.denominator == 1 else ''}" in with_stage(FRAME, stage, [])
    assert parse(with_stage(FRAME, stage, [])).bands[0].hold_v == (volts, 10**7)


@pytest.mark.parametrize(("low", "written"), [(F(550, 3), "183.333333333333"), (F(2, 3), "0.666666666666667")])
def test_what_is_no_decimal_is_written_to_fifteen_digits(low: Fraction, written: str) -> None:
    stage = replace(parse(STARTER), bands=(Band(name="all", energised=(), hold_v=(low, F(300))),))
    assert f"hold_v = [{written}, 300]\n" in with_stage(FRAME, stage, [])


# --- the order of moves ---


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
@pytest.mark.parametrize("order", ["together", "safest"])
def test_the_order_is_in_force_and_nothing_else_is_changed(file: object, order: str) -> None:
    text = file.read_text(encoding="utf-8")  # type: ignore[attr-defined]
    before, made = parse(text), with_order(text, order)
    after = parse(made)
    assert after.sequence.order == order
    assert replace(after, sequence=before.sequence) == before
    assert replace(after.sequence, order=before.sequence.order) == before.sequence
    assert with_order(made, order) == made
    assert [line for line in text.splitlines() if line.strip() and line not in made.splitlines()] in (
        [],
        [f'order = "{before.sequence.order}"'],
    )


def test_an_order_goes_into_the_table_that_is_there_or_a_new_one_at_the_end() -> None:
    there = 'format = 1\n[sequence] # as the maker says\norder = "together" # for now\nblank_ms = 12\n[x]\n'
    assert with_order(there, "safest") == there.replace('"together"', '"safest"')
    assert with_order("format = 1\n\n\n", "safest") == 'format = 1\n\n[sequence]\norder = "safest"\n'
    assert with_order("[sequence]\n", "safest") == '[sequence]\norder = "safest"\n'
