"""Designs and circuits for the tests: a plain builder, shipped files, and random wirings."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from hypothesis import strategies as st

from tapplan.design.model import (
    Backup,
    Band,
    Design,
    Mains,
    Output,
    Pole,
    Relay,
    Sensing,
    Terminals,
    Winding,
)
from tapplan.network.circuit import Circuit, Closed, circuit_of

ROOT = Path(__file__).parents[1]
SHIPPED = sorted((ROOT / "designs").glob("*.toml"))
REQUESTS = sorted((ROOT / "designs" / "requests").glob("*.toml"))

Sections = Sequence[tuple[str, str, str, Any]]  # name, start, finish, turns (or (turns, core))


def windings(sections: Sections) -> tuple[Winding, ...]:
    made = []
    for name, start, finish, turns in sections:
        count, core = turns if isinstance(turns, tuple) else (turns, "core")
        made.append(Winding(name=name, ends=(start, finish), turns=Fraction(count), core=core))
    return tuple(made)


def relays(changeovers: dict[str, Any]) -> tuple[Relay, ...]:
    """`{name: (com, nc, no)}`, or a list of such triples for several poles."""
    made = []
    for name, poles in changeovers.items():
        triples = poles if isinstance(poles, list) else [poles]
        made.append(Relay(name=name, poles=tuple(Pole(com=com, nc=nc, no=no) for com, nc, no in triples)))
    return tuple(made)


def design(
    sections: Sections,
    changeovers: dict[str, Any],
    *,
    terminals: tuple[str, str, str] = ("LINE", "N", "OUT"),
    mains: tuple[Any, Any, Any] = (230, 180, 270),
    window: tuple[Any, Any, Any] = (230, 207, 253),
    sensing: Sensing | None = None,
    bands: Sequence[tuple[Any, ...]] = (),
    backup: Backup | None = None,
    load_va: int | None = None,
) -> Design:
    """A design in a few words; bands are (name, energised) or (name, energised, low, high)."""
    return Design(
        format=1,
        title="example",
        mains=Mains(nominal_v=Fraction(mains[0]), range_v=(Fraction(mains[1]), Fraction(mains[2]))),
        output=Output(
            nominal_v=Fraction(window[0]),
            window_v=(Fraction(window[1]), Fraction(window[2])),
            load_va=None if load_va is None else Fraction(load_va),
        ),
        terminals=Terminals(line=terminals[0], neutral=terminals[1], output=terminals[2]),
        windings=windings(sections),
        relays=relays(changeovers),
        sensing=sensing or Sensing(),
        bands=tuple(
            Band(
                name=row[0],
                energised=tuple(row[1]),
                hold_v=(Fraction(row[2]), Fraction(row[3])) if len(row) == 4 else None,
            )
            for row in bands
        ),
        backup=backup,
    )


TAPPED: Sections = (("base", "N", "A", 200), ("one", "A", "B", 27), ("two", "B", "C", 31))
PAIR = {"KL": ("LINE", "A", "C"), "KO": ("OUT", "B", "C")}


def pair() -> Design:
    """Line on the common of one changeover, output on the common of another, three shared taps."""
    return design(TAPPED, PAIR)


def chain(length: int, *, side: str = "OUT") -> Design:
    """A chain of changeovers that choose one of `length + 1` taps for one side; the other stays on T0."""
    sections = [("base", "N", "T0", 300)] + [(f"s{i}", f"T{i - 1}", f"T{i}", 5) for i in range(1, length + 1)]
    links = {
        f"K{i}": (side if i == 1 else f"X{i}", f"T{i - 1}", f"X{i + 1}" if i < length else f"T{length}")
        for i in range(1, length + 1)
    }
    terminals = ("T0", "N", "OUT") if side == "OUT" else ("LINE", "N", "T0")
    return design(sections, links, terminals=terminals)


def two_sided_ladder(each: int) -> Design:
    """Two chains on one tapped winding, one for the line and one for the output."""
    out = chain(each)
    line = {
        f"L{i}": ("LINE" if i == 1 else f"Y{i}", f"T{i - 1}", f"Y{i + 1}" if i < each else f"T{each}")
        for i in range(1, each + 1)
    }
    sections = [("base", "N", "T0", 300)] + [(f"s{i}", f"T{i - 1}", f"T{i}", 5) for i in range(1, each + 1)]
    links = {relay.name: (p.com, p.nc, p.no) for relay in out.relays for p in relay.all_poles}
    return design(sections, links | line)


def add_in(count: int) -> Design:
    """Sections of 1, 2, 4, ... turns that one relay each leaves out (at rest) or puts in (driven)."""
    sections: list[tuple[str, str, str, Any]] = [("exciter", "N", "LINE", 2 ** (count + 1))]
    links: dict[str, Any] = {}
    for i in range(count):
        start = "LINE" if i == 0 else f"S{i}"
        after = f"S{i + 1}" if i + 1 < count else "OUT"
        sections.append((f"part {i}", start, f"F{i}", 2**i))
        links[f"K{i}"] = (after, start, f"F{i}")
    return design(sections, links)


def narrow_chain() -> Design:
    """A chain of eight relays that choose one of nine taps for the output, each for a few volts of input."""
    made = _chain_from("T4", chain(8), Fraction(15))
    return replace(
        made,
        mains=replace(made.mains, range_v=(Fraction(198), Fraction(278))),
        output=replace(made.output, window_v=(Fraction(222), Fraction(238))),
    )


def long_chain() -> Design:
    """A chain of twelve relays that choose one of thirteen taps for the output."""
    made = _chain_from("T6", chain(12), Fraction(12))
    return replace(
        made,
        mains=replace(made.mains, range_v=(Fraction(190), Fraction(282))),
        output=replace(made.output, window_v=(Fraction(224), Fraction(236))),
    )


def _chain_from(line: str, made: Design, turns: Fraction) -> Design:
    """A chain with the line on a tap in its middle, so many turns between taps, and a reading a little off."""
    steps = tuple(replace(one, turns=turns) if one.name != "base" else one for one in made.windings)
    return replace(
        made,
        windings=steps,
        terminals=replace(made.terminals, line=line),
        sensing=Sensing(error_pct=Fraction(1, 10), noise_v=Fraction(1), hysteresis_v=Fraction(2)),
    )


def many_bands() -> Design:
    """Six add-in sections, a narrow window: twelve bands, most moves of several relays."""
    made = add_in(6)
    return replace(
        made,
        mains=replace(made.mains, range_v=(Fraction(157), Fraction(234))),
        output=replace(made.output, window_v=(Fraction(225), Fraction(236))),
        sensing=Sensing(error_pct=Fraction(1, 5), noise_v=Fraction(1, 2), hysteresis_v=Fraction(1)),
    )


Number = Callable[[int, int], int]  # a whole number between two ends, both included


def wiring(number: Number, *, cores: int = 1, relays_max: int = 4) -> Design:
    """A sound two-relay stage, some of its wiring moved: neither all shorts nor all healthy."""

    def pick(options: Sequence[Any]) -> Any:
        return options[number(0, len(options) - 1)]

    def core() -> str:
        return f"core {number(1, cores)}" if cores > 1 else "core"

    taps = number(2, 5)
    names = ["N", *[f"T{i}" for i in range(taps)]]
    sections: list[tuple[str, str, str, Any]] = []
    for i in range(taps):
        ends = (names[i], names[i + 1]) if number(0, 4) else (names[i + 1], names[i])
        sections.append((f"w{i}", *ends, (number(1, 60) + (200 if i == 0 else 0), core())))
    for i in range(number(0, 2)):
        low, high = pick([(f"P{i}", f"Q{i}"), ("N", f"Q{i}"), (names[1], f"P{i}")])
        sections.append((f"extra {i}", low, high, (number(1, 60), core())))
    points = sorted({end for _, low, high, _ in sections for end in (low, high)} | {"X", "LINE", "OUT"})
    links: dict[str, Any] = {}
    for i in range(number(2, relays_max)):
        com = ("LINE", "OUT")[i] if i < 2 else pick(points)
        throws = [point for point in points if point != com]
        first = pick(throws) if number(0, 7) else None
        links[f"K{i + 1}"] = (com, first, pick(throws))
    return design(sections, links)


@st.composite
def wirings(draw: st.DrawFn, *, cores: int = 1, relays_max: int = 4) -> Design:
    """Random wirings for property tests."""
    return wiring(lambda low, high: draw(st.integers(low, high)), cores=cores, relays_max=relays_max)


@st.composite
def closed_sets(draw: st.DrawFn, circuit: Circuit) -> Closed:
    """Any set of closed contacts: settled, in flight, welded."""
    count = len(circuit.contacts)
    return frozenset(number for number in range(count) if draw(st.booleans()))


circuit = circuit_of
