"""The control table as Boolean equations: the next state of each coil from comparator bits and the present state.

Comparator bit t is 1 where the reading is at least threshold t, so that of all combinations only the rising ones
occur; states are coil combinations, with one bit for away. What never occurs is free. A product of literals that
covers what must be 1 and nothing that must be 0 is a hitting set: for each 0 it must differ in one of its literals.
All smallest such products are found, and of them the fewest that cover every 1 (the prime implicants of Quine and
McCluskey, found from the zeros instead of the many free combinations).
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal, NamedTuple

from tapplan.control.program import Program
from tapplan.control.standing import AWAY, Standing
from tapplan.errors import UsageError

CaseBits = tuple[int, ...]


class BitWanted(NamedTuple):
    """The value that one variable must have. A NamedTuple: unpacked and compared for every product and every case."""

    variable: int
    value: int


Product = tuple[BitWanted, ...]  # by rising variable
MOST_CASES = 600  # states times readings told apart; the time that equations take grows far faster than these
MOST_PRIMES = 4000
MOST_STEPS = 200_000


@dataclass(frozen=True, slots=True)
class Variable:
    """A bit: a comparator by its number, a coil by its relay, or being away. How it is written is for the export."""

    kind: Literal["comparator", "coil", "away"]
    name: str


@dataclass(frozen=True, slots=True)
class Equation:
    """One next-state bit as a sum of products over `Equations.variables`."""

    state: Variable
    terms: tuple[Product, ...]

    def value(self, bits: CaseBits) -> int:
        """What it gives."""
        return int(any(all(bits[variable] == wanted for variable, wanted in term) for term in self.terms))


@dataclass(frozen=True, slots=True)
class Equations:
    """The variables (comparators, then state bits) and an equation for each state bit.

    `thresholds` are the readings of the comparators; `rows` every case that occurs: its bits, and the state after it.
    """

    variables: tuple[Variable, ...]
    thresholds: tuple[int, ...]
    states: tuple[Variable, ...]
    each: tuple[Equation, ...]
    rows: tuple[tuple[CaseBits, CaseBits], ...]


def equations(program: Program) -> Equations:
    """The equations of a program.

    Raises:
        UsageError: two bands drive the same relays, so that coils do not tell the state; or there are too many cases.
    """
    if len(set(program.coils[:-1])) != len(program.coils) - 1:
        raise UsageError("found two bands with the same relays; accepted: bands that the coils tell apart")
    relays = program.table.circuit.relays
    thresholds = tuple(program.thresholds)
    cases = len(program.standings) * (len(thresholds) + 1)
    if cases > MOST_CASES:
        raise UsageError(
            f"found {cases} cases of state and reading; accepted: up to {MOST_CASES} of them for equations, or the "
            "table as --to c, decisions or firmware"
        )
    comparators = tuple(Variable("comparator", str(number + 1)) for number in range(len(thresholds)))
    states = (*(Variable("coil", relay) for relay in relays), Variable("away", ""))
    rows = []
    for standing in program.standings:
        now = _state(program, standing)
        for number in range(len(thresholds) + 1):
            reading = thresholds[number - 1] if number else -1
            bits = tuple(int(place < number) for place in range(len(thresholds)))
            rows.append((bits + now, _state(program, program.decided(standing, reading))))
    each = tuple(
        Equation(state, minimal(*([bits for bits, after in rows if after[place] == value] for value in (1, 0))))
        for place, state in enumerate(states)
    )
    return Equations((*comparators, *states), thresholds, states, each, tuple(rows))


def _state(program: Program, standing: Standing) -> CaseBits:
    code = program.coils[program.number(standing)]
    coils = tuple(code >> number & 1 for number in range(len(program.table.circuit.relays)))
    return (*coils, int(standing is AWAY))


def minimal(ones: list[CaseBits], zeros: list[CaseBits]) -> tuple[Product, ...]:
    """The fewest products, then the fewest literals, that are 1 on all `ones` and 0 on all `zeros`."""
    if not ones:
        return ()
    if not zeros:
        return ((),)
    primes = sorted({term for one in ones for term in _primes(one, zeros)}, key=lambda term: (len(term), term))
    covered = [frozenset(n for n, one in enumerate(ones) if _holds(term, one)) for term in primes]
    chosen = _cover(covered, [len(term) for term in primes], len(ones))
    return tuple(sorted(primes[number] for number in chosen))


def _holds(term: Product, bits: CaseBits) -> bool:
    return all(bits[variable] == value for variable, value in term)


def _primes(one: CaseBits, zeros: Iterable[CaseBits]) -> list[Product]:
    """The smallest sets of literals of `one` that every zero differs from in at least one (Berge's algorithm)."""
    sets: list[frozenset[int]] = [frozenset()]
    for zero in sorted(zeros, key=lambda bits: sum(a != b for a, b in zip(bits, one, strict=True))):
        differs = frozenset(n for n, (a, b) in enumerate(zip(zero, one, strict=True)) if a != b)
        hitting = [one_set for one_set in sets if one_set & differs]
        grown = {one_set | {n} for one_set in sets if not one_set & differs for n in differs}
        smaller = [new for new in grown if not any(old <= new for old in hitting)]
        least = [new for new in smaller if not any(other < new for other in smaller)]
        sets = sorted([*hitting, *least], key=lambda found: (len(found), sorted(found)))[:MOST_PRIMES]
    return [tuple(BitWanted(n, one[n]) for n in sorted(found)) for found in sets]


def _cover(covered: list[frozenset[int]], sizes: list[int], count: int) -> list[int]:
    """The fewest sets that cover all, by depth-first search with the best so far as bound; ties to fewer literals."""
    every = frozenset(range(count))
    useful = [
        n
        for n, one in enumerate(covered)
        if not any(one < other or (one == other and m < n) for m, other in enumerate(covered) if sizes[m] <= sizes[n])
    ]
    best = _greedy(covered, useful, every)
    steps = 0

    def cost(chosen: list[int]) -> tuple[int, int]:
        return len(chosen), sum(sizes[number] for number in chosen)

    def search(chosen: list[int], left: frozenset[int]) -> None:
        nonlocal best, steps
        steps += 1
        if steps > MOST_STEPS:
            return
        if not left:
            best = min(best, list(chosen), key=cost)
            return
        most = max(len(covered[number] & left) for number in useful)
        if len(chosen) + -(-len(left) // most) > len(best):
            return
        hardest = min(left, key=lambda one: sum(one in covered[number] for number in useful))
        for number in sorted((n for n in useful if hardest in covered[n]), key=lambda n: -len(covered[n] & left)):
            search([*chosen, number], left - covered[number])

    search([], every)
    return sorted(best)


def _greedy(covered: list[frozenset[int]], useful: list[int], every: frozenset[int]) -> list[int]:
    chosen: list[int] = []
    left = every
    while left:
        number = max(useful, key=lambda one: len(covered[one] & left))
        chosen.append(number)
        left -= covered[number]
    return chosen
