"""Every relay state of a design: one row a state, or one row a group of states that make one circuit."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator
from dataclasses import dataclass
from fractions import Fraction
from math import log2

from tapplan.errors import UsageError
from tapplan.network.circuit import Circuit
from tapplan.network.loaded import has_resistance
from tapplan.network.paths import Way, way
from tapplan.network.turns import USABLE, Gain, Kind, Outcome, outcome

# From here on, states are solved in bulk by numpy, whose start-up a small design need not pay for.
BULK_FROM_RELAYS = 9
MOST_RELAYS_EACH = 20
MOST_CIRCUITS = 50_000
DESCENDED_FROM = 1000  # circuits; from here on it is asked whether there are far too many
DESCENTS, MOST_DESCENTS = 24, 128  # ways that are asked at the least and at the most
SURE = 48  # two to this power to one is sure enough that there are too many


@dataclass(frozen=True, slots=True)
class State:
    """Relays driven, and what that does. `free` names relays that make no difference to it.

    A state with free relays stands for `count = 2 ** len(free)` states; `energised` is the one of them in
    which every free relay rests.
    """

    energised: tuple[str, ...]
    outcome: Outcome
    free: tuple[str, ...] = ()

    @property
    def count(self) -> int:
        """How many relay states the row stands for."""
        return 1 << len(self.free)

    @property
    def ratio(self) -> Fraction | None:
        """Output over input, or None where the state has none."""
        return self.outcome.ratio if isinstance(self.outcome, Gain) else None

    @property
    def kind(self) -> Kind:
        """What the state does."""
        return self.outcome.kind

    @property
    def usable(self) -> bool:
        """Whether a band may use the state: boost, buck, direct or bypass."""
        return self.kind in USABLE


def energised_of(circuit: Circuit, number: int) -> tuple[str, ...]:
    """The relays driven in state `number`; the first relay of the file is the most significant bit."""
    top = len(circuit.relays) - 1
    return tuple(relay for place, relay in enumerate(circuit.relays) if number >> (top - place) & 1)


def each_state(circuit: Circuit) -> Iterator[State]:
    """All 2**R states in counting order, all at rest first. R is at most `MOST_RELAYS_EACH`."""
    relays = len(circuit.relays)
    if relays > MOST_RELAYS_EACH:
        raise ValueError(f"2**{relays} states are too many to list one by one")
    if relays < BULK_FROM_RELAYS:
        for number in range(1 << relays):
            energised = energised_of(circuit, number)
            yield State(energised, outcome(circuit, circuit.state(energised)))
        return
    from tapplan.network.bulk import solve_all  # numpy, only where it pays

    solved = solve_all(circuit)
    for number in range(1 << relays):
        yield State(energised_of(circuit, number), solved.outcome(number))


def grouped_states(circuit: Circuit, otherwise: str = f"or up to {MOST_RELAYS_EACH} relays") -> Iterator[State]:
    """Distinct circuits with the relays that make no difference; together they hold every state once.

    Raises:
        UsageError: there are more than `MOST_CIRCUITS` of them; `otherwise` says what else would do.
    """
    from tapplan.network.grouped import groups  # few designs have so many relays

    for count, group in enumerate(groups(circuit)):
        if count == DESCENDED_FROM and (power := _far_too_many(circuit)) is not None:
            raise _too_many(circuit, f"about 2**{power}", otherwise)
        if count >= MOST_CIRCUITS:
            raise _too_many(circuit, f"more than {MOST_CIRCUITS}", otherwise)
        energised = tuple(circuit.relays[number] for number in sorted(group.driven))
        free = tuple(circuit.relays[number] for number in sorted(group.free))
        yield State(energised, outcome(circuit, circuit.state(energised)), free)


def _far_too_many(circuit: Circuit) -> int | None:
    """Two to which power about as many circuits there are, where there surely are too many; None where not.

    Some hundreds of questions tell what listing circuits would tell only after the last that is accepted. The nearer
    the fewest questions of a way come to what is accepted, the more ways have to agree.
    """
    from tapplan.network.grouped import descents  # few designs have so many relays

    asked: list[int] = []
    for questions in descents(circuit, MOST_DESCENTS):
        asked.append(questions)
        margin = min(asked) - log2(MOST_CIRCUITS)
        if margin <= 0:
            return None
        if len(asked) >= DESCENTS and margin * len(asked) >= SURE:
            return round(log2(sum(1 << one for one in asked) / len(asked)))
    return None


def _too_many(circuit: Circuit, found: str, otherwise: str) -> UsageError:
    return UsageError(
        f"found {found} distinct circuits of {len(circuit.relays)} relays; accepted: up to {MOST_CIRCUITS} of them, "
        f"{otherwise}"
    )


@dataclass(frozen=True, slots=True)
class Census:
    """How many relay states have one kind and ratio, with a few of them, those with the fewest coils first."""

    kind: Kind
    ratio: Fraction | None
    count: int
    examples: tuple[tuple[str, ...], ...]


def census(circuit: Circuit, lone: Collection[Kind] = frozenset(Kind), most: int = 8) -> list[Census]:
    """All states by kind and ratio, each with up to `most` examples; counts add up to 2**R.

    `lone`: the kinds of which a state is counted also where no other has its kind and ratio.
    """
    if BULK_FROM_RELAYS <= len(circuit.relays) <= MOST_RELAYS_EACH:
        from tapplan.network.bulk import solve_all  # numpy, only where it pays

        return [
            Census(one.kind, one.ratio, one.count, tuple(energised_of(circuit, number) for number in one.numbers))
            for one in solve_all(circuit).census(most, lone)
        ]
    each = len(circuit.relays) < BULK_FROM_RELAYS
    counts: dict[tuple[Kind, Fraction | None], int] = {}
    examples: dict[tuple[Kind, Fraction | None], list[tuple[str, ...]]] = {}
    for state in each_state(circuit) if each else grouped_states(circuit):
        key = (state.kind, state.ratio)
        counts[key] = counts.get(key, 0) + state.count
        examples.setdefault(key, []).append(state.energised)
    return [
        Census(kind, ratio, count, tuple(sorted(examples[kind, ratio], key=len)[:most]))
        for (kind, ratio), count in counts.items()
        if count > 1 or kind in lone
    ]


def candidate_states(circuit: Circuit) -> Iterator[State]:
    """States enough to choose bands from: all of them where they are few.

    Beyond `BULK_FROM_RELAYS` relays, of every ratio only the states with the fewest coils driven; but one state
    of every distinct circuit beyond `MOST_RELAYS_EACH`, and where states of one ratio can differ all the same:
    in their drop at full load, or in what a pair of points reads.
    """
    if len(circuit.relays) < BULK_FROM_RELAYS:
        yield from each_state(circuit)
    elif solved_in_bulk(circuit):
        from tapplan.network.bulk import solve_all  # numpy, only where it pays

        solved = solve_all(circuit)
        for number in solved.leanest():
            yield State(energised_of(circuit, number), solved.outcome(number))
    elif len(circuit.relays) <= MOST_RELAYS_EACH:
        yield from grouped_states(circuit, "or no resistance stated and a reading at the input or the output")
    else:
        yield from grouped_states(circuit)


def solved_in_bulk(circuit: Circuit) -> bool:
    """Whether candidates are found by solving all states in bulk: many, not too many, told apart by their ratio."""
    counted = BULK_FROM_RELAYS <= len(circuit.relays) <= MOST_RELAYS_EACH
    return counted and circuit.sensed is None and not has_resistance(circuit)


def state_of(circuit: Circuit, energised: tuple[str, ...]) -> State:
    """The state with exactly these relays driven."""
    return State(energised, outcome(circuit, circuit.state(energised)))


def in_file_order(circuit: Circuit, energised: Iterable[str]) -> State:
    """The state with exactly these relays driven, named in the order of the file."""
    driven = frozenset(energised)
    return state_of(circuit, tuple(relay for relay in circuit.relays if relay in driven))


def way_of(circuit: Circuit, state: State) -> Way | None:
    """The way from line to output in a state, or None for a state without a ratio."""
    return way(circuit, circuit.state(state.energised)) if state.ratio is not None else None
