"""One answer three ways: the exact union, networkx paths and loops, sympy in winding names; and bulk, grouped."""

from collections import Counter
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.design.file import load
from tapplan.design.model import Design
from tapplan.network.bulk import KINDS, solve_all
from tapplan.network.circuit import Circuit
from tapplan.network.graphs import outcome_by_paths
from tapplan.network.paths import way
from tapplan.network.states import census, each_state, energised_of, grouped_states, state_of
from tapplan.network.symbolic import symbolic_ratio, symbols
from tapplan.network.turns import Kind, outcome, potentials
from tests.examples import SHIPPED, add_in, chain, circuit, closed_sets, two_sided_ladder, wirings

MADE = st.one_of(wirings(), wirings(cores=2), wirings(cores=3)).map(circuit)


@settings(max_examples=300)
@given(st.data())
def test_union_and_paths_agree_for_any_set_of_closed_contacts(data: st.DataObject) -> None:
    made = data.draw(MADE)
    closed = data.draw(closed_sets(made))
    assert outcome(made, closed) == outcome_by_paths(made, closed)


def evaluated(made: Circuit, closed: frozenset[int]) -> Fraction | None:
    ratio = symbolic_ratio(made, closed)
    if ratio is None:
        return None
    turns = {symbol: section.turns for symbol, section in zip(symbols(made), made.sections, strict=True)}
    value = ratio.subs(turns)
    return Fraction(int(value.p), int(value.q)) if value.is_Rational else None


@settings(max_examples=60, deadline=None)
@given(MADE)
def test_symbolic_ratio_takes_the_exact_value(made: Circuit) -> None:
    for state in each_state(made):
        if state.ratio is not None and state.kind is not Kind.BYPASS:
            assert evaluated(made, made.state(state.energised)) == state.ratio


@settings(max_examples=80, deadline=None)
@given(MADE)
def test_bulk_gives_every_state_the_same_outcome(made: Circuit) -> None:
    solved = solve_all(made)
    each = solved.kinds_and_ratios()
    kinds, above, below = each.kinds, each.above, each.below
    for number, state in enumerate(each_state(made)):
        assert solved.outcome(number) == state.outcome
        assert KINDS[kinds[number]] is state.kind
        found = Fraction(int(above[number]), int(below[number])) if below[number] else None
        assert found == state.ratio


def test_random_wirings_are_neither_all_sound_nor_all_broken() -> None:
    """A test of the tests: the random wirings reach every kind, and many states are usable."""
    seen: Counter[Kind] = Counter()

    @settings(max_examples=400, database=None, derandomize=True)
    @given(MADE)
    def look(made: Circuit) -> None:
        seen.update(state.kind for state in each_state(made))

    look()
    assert set(seen) == set(Kind)
    usable = sum(seen[kind] for kind in (Kind.BOOST, Kind.BUCK, Kind.DIRECT, Kind.BYPASS))
    assert usable > sum(seen.values()) / 5


@settings(max_examples=150, deadline=None)
@given(st.one_of(wirings(relays_max=6), wirings(cores=2, relays_max=5)).map(circuit))
def test_grouped_rows_hold_every_state_once_and_say_what_it_does(made: Circuit) -> None:
    groups = list(grouped_states(made))
    assert sum(group.count for group in groups) == 2 ** len(made.relays)
    for state in each_state(made):
        inside = [group for group in groups if set(state.energised) - set(group.free) == set(group.energised)]
        assert len(inside) == 1
        assert inside[0].outcome == state.outcome


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_every_way_agrees_on_the_shipped_designs(file) -> None:  # type: ignore[no-untyped-def]
    made = circuit(load(file))
    solved = solve_all(made)
    groups = list(grouped_states(made))
    assert sum(group.count for group in groups) == 2 ** len(made.relays)
    for number, state in enumerate(each_state(made)):
        closed = made.state(state.energised)
        assert outcome_by_paths(made, closed) == state.outcome == solved.outcome(number)
        if state.ratio is not None:
            assert evaluated(made, closed) == state.ratio
    assert Counter(state.ratio for state in each_state(made)) == sum(
        (Counter({group.ratio: group.count}) for group in groups), Counter()
    )


def test_forty_relay_chain_is_forty_one_circuits() -> None:
    """A chain of R changeovers has R + 1 ratios; tap k is chosen with the relays behind it free."""
    groups = list(grouped_states(circuit(chain(40))))
    assert len(groups) == 41
    assert sum(group.count for group in groups) == 2**40
    assert {group.ratio for group in groups} == {Fraction(300 + 5 * k, 300) for k in range(41)}


def test_twenty_four_relay_ladder_is_169_circuits() -> None:
    groups = list(grouped_states(circuit(two_sided_ladder(12))))
    assert len(groups) == 13 * 13
    assert sum(group.count for group in groups) == 2**24


def test_add_in_sections_count_in_binary() -> None:
    """Sections of 1, 2, 4, ... give 2**R evenly spaced ratios (binary weights)."""
    solved = solve_all(circuit(add_in(10)))
    found = solved.kinds_and_ratios()
    above, below = found.above, found.below
    ratios = sorted(Fraction(int(a), int(b)) for a, b in zip(above, below, strict=True))
    assert ratios == [Fraction(2**11 + k, 2**11) for k in range(1024)]


def test_bulk_chunks_join_in_counting_order() -> None:
    """More states than one chunk holds: spot-checked against the one-state solver."""
    made = circuit(add_in(16))
    solved = solve_all(made)
    assert len(solved) == 2**16
    for number in range(0, 2**16, 4099):
        assert solved.outcome(number) == state_of(made, energised_of(made, number)).outcome


def test_turns_beyond_64_bits_are_exact_in_bulk() -> None:
    from tests.examples import PAIR, design

    big = 10**9
    tiny = Fraction(1, 10**12)
    made = circuit(design((("base", "N", "A", big + tiny), ("one", "A", "B", 1), ("two", "B", "C", tiny)), PAIR))
    solved = solve_all(made)
    assert [solved.outcome(n) for n in range(4)] == [state.outcome for state in each_state(made)]
    assert solved.line.dtype == object


def test_the_census_counts_every_state_once() -> None:
    solved = solve_all(circuit(chain(9)))
    entries = solved.census(3)
    assert sum(entry.count for entry in entries) == 2**9
    assert {entry.count for entry in entries} == {2**k for k in range(9)}


@pytest.mark.parametrize("made", [chain(9), add_in(9), chain(5), add_in(2)], ids=["chain", "add-in", "few", "two"])
def test_what_stands_alone_is_counted_only_of_the_kinds_asked_for(made: Design) -> None:
    """Solved in bulk or one by one: what is left out is each boost that no other state has the ratio of."""
    every, told = census(circuit(made)), census(circuit(made), frozenset(Kind) - {Kind.BOOST})
    assert sum(entry.count for entry in every) == 2 ** len(made.relays)
    assert told == [entry for entry in every if entry.count > 1 or entry.kind is not Kind.BOOST]
    assert len(told) < len(every)


@given(st.data())
def test_no_state_of_another_kind_has_the_ratio_of_a_boost_or_a_buck(data: st.DataObject) -> None:
    """So that a single one of them is a duplicate of nothing, and need not be counted."""
    made = data.draw(MADE)
    kinds: dict[object, set[Kind]] = {}
    for state in each_state(made):
        if state.ratio is not None:
            kinds.setdefault(state.ratio, set()).add(state.kind)
    assert all(len(each) == 1 for each in kinds.values() if each & {Kind.BOOST, Kind.BUCK})


@settings(max_examples=150)
@given(st.data())
def test_a_path_runs_from_line_to_output_over_closed_contacts_and_windings(data: st.DataObject) -> None:
    made = data.draw(MADE)
    closed = data.draw(closed_sets(made))
    found = way(made, closed)
    joined = potentials(made, closed)
    assert (found is not None) == (joined.part[made.line] == joined.part[made.output])
    if found is None:
        return
    labels = {made.contacts[number].label: made.contacts[number] for number in closed}
    steps = list(found.steps)
    assert (steps[0], steps[-1]) == ("LINE", "OUT")
    here = made.points.index(steps.pop(0))
    while steps:
        if steps[0] in labels and steps[0] not in made.points:
            contact = labels[steps.pop(0)]
            there = made.points.index(steps.pop(0))
            assert {here, there} == {contact.com, contact.end}
        else:
            there = made.points.index(steps.pop(0))
            assert any({section.start, section.finish} == {here, there} for section in made.sections)
        here = there


def test_a_path_names_poles_and_taps() -> None:
    made = circuit(load(next(file for file in SHIPPED if file.stem == "river-kiosk")))
    found = way(made, made.state(("KL", "KT")))
    assert found is not None
    assert found.steps == ("LINE", "KL.no", "T1", "T2", "T3", "T4", "T5", "KB.2.nc", "Y2", "KT.no", "OUT")
    assert (found.line_tap, found.output_tap) == ("T1", "T5")


def test_the_first_pole_goes_by_the_relay_s_name_the_others_by_their_number() -> None:
    made = circuit(load(next(file for file in SHIPPED if file.stem == "river-kiosk")))
    assert [contact.label for contact in made.contacts][-4:] == ["KB.nc", "KB.no", "KB.2.nc", "KB.2.no"]
