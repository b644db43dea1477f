"""Laws that hold for any wiring."""

from dataclasses import replace
from fractions import Fraction

from hypothesis import given, settings
from hypothesis import strategies as st

from tapplan.design.model import Design, Winding
from tapplan.network.circuit import circuit_of
from tapplan.network.states import State, each_state
from tests.examples import wirings

ANY = st.one_of(wirings(), wirings(cores=2))


def answers(made: Design) -> list[tuple[object, object]]:
    return [(state.kind, state.ratio) for state in each_state(circuit_of(made))]


@given(ANY, st.integers(1, 50), st.integers(1, 50))
def test_scaling_all_turns_leaves_the_ratios(made: Design, above: int, below: int) -> None:
    scale = Fraction(above, below)
    scaled = replace(made, windings=tuple(replace(w, turns=w.turns * scale) for w in made.windings))
    assert answers(scaled) == answers(made)


@given(ANY)
def test_reversing_every_winding_leaves_the_ratios(made: Design) -> None:
    turned = tuple(replace(w, ends=(w.ends[1], w.ends[0])) for w in made.windings)
    assert answers(replace(made, windings=turned)) == answers(made)


@given(ANY)
def test_renaming_points_changes_nothing(made: Design) -> None:
    def other(point: str | None) -> str | None:
        return None if point is None else f"point of {point}"

    renamed = replace(
        made,
        windings=tuple(replace(w, ends=tuple(other(p) for p in w.ends)) for w in made.windings),
        relays=tuple(
            replace(r, poles=tuple(replace(p, com=other(p.com), nc=other(p.nc), no=other(p.no)) for p in r.all_poles))
            for r in made.relays
        ),
        terminals=replace(
            made.terminals,
            line=other(made.terminals.line),
            neutral=other(made.terminals.neutral),
            output=other(made.terminals.output),
        ),
    )
    assert answers(renamed) == answers(made)


@given(ANY, st.data())
def test_swapping_the_throws_of_a_relay_permutes_its_states(made: Design, data: st.DataObject) -> None:
    name = data.draw(st.sampled_from(made.relay_names))
    swapped = replace(
        made,
        relays=tuple(
            replace(r, poles=tuple(replace(p, nc=p.no, no=p.nc) for p in r.all_poles)) if r.name == name else r
            for r in made.relays
        ),
    )

    def by_relays(states: list[State]) -> dict[frozenset[str], object]:
        return {frozenset(state.energised): state.outcome for state in states}

    before, after = (by_relays(list(each_state(circuit_of(one)))) for one in (made, swapped))
    assert {energised ^ {name}: found for energised, found in after.items()} == before


@given(ANY, st.integers(1, 400))
def test_an_unconnected_winding_changes_nothing(made: Design, turns: int) -> None:
    loose = Winding(name="battery", ends=("B+", "B-"), turns=Fraction(turns), core=made.windings[0].core)
    alone = replace(loose, name="another core", ends=("C+", "C-"), core="a core of its own")
    assert answers(replace(made, windings=(*made.windings, loose, alone))) == answers(made)


@settings(max_examples=60)
@given(wirings())
def test_exchanging_line_and_output_inverts_the_ratio(made: Design) -> None:
    terminals = replace(made.terminals, line=made.terminals.output, output=made.terminals.line)
    for (_, ratio), (_, inverse) in zip(answers(made), answers(replace(made, terminals=terminals)), strict=True):
        if ratio and inverse:
            assert ratio * inverse == 1
