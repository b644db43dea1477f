"""A stage's copper as ngspice decks, many runs of many decks in one process, and the phasors found.

Every deck has the same sources, of which a run switches on those it asks for; a network that is linear says all with
one source at a time. Answers are read in binary. Ohms that can be next to nothing (a micro-ohm where none are stated)
are written as volts that a current sets (`H`), not as a resistor, whose siemens would drown the leaks. Windings are
inductors with coupling 1 where turns alone are asked for. Under load that form loses digits, to the rounding of many
henry; there a winding is volts by the core's volts per turn (`E`), and its ampere-turns flow into the core's own
inductor (`F`).

- the mains through `line_ohm`, at 1 V or as a short; a load resistor, or a load current;
- a *guard*: every point leaks to neutral by 1e15 ohm, and the guard drives a current of its own size into each, so
  that what floats follows it, and two points that float apart by different volts;
- on every core a winding of one turn: its volts are the volts per turn, a current driven into it finds shorted
  turns however little the mains excite them, and a resistor across it changes what the core takes: what changes with
  that hangs on the iron and is fixed by no turns;
- a source across any two points, as a feed or a bench supply.
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from math import pi
from pathlib import Path

import numpy as np

from tests.outside.copper import Copper

LEAK = 1e15
NONE = 1e19
LEAST = 1e-6


@dataclass(frozen=True, slots=True)
class Run:
    """Which sources are on, and what else is joined, in one run of a deck."""

    mains: float = 0.0
    line_ohm: float = 1e-10
    load_ohm: float = NONE
    load_a: float = 0.0
    guard: float = 0.0
    core: int | None = None
    """The core whose winding of one turn is driven with 1 A."""
    irons: bool = False
    """Whether a resistor of its own hangs across one turn of every core."""
    supply: float = 0.0
    supply_ohm: float = NONE


@dataclass(frozen=True, slots=True)
class Deck:
    """A stage with these throws closed and its runs; `across` are the points of the source beside the mains."""

    copper: Copper
    closed: frozenset[str]
    runs: tuple[Run, ...]
    across: tuple[str, str] | None = None
    resistive: bool = False

    @property
    def henry(self) -> float:
        """Per turn squared; under load so much that the core takes nothing to speak of."""
        return 1e3 if self.resistive else 1.0


@dataclass(frozen=True, slots=True)
class Phasors:
    """What one run found: volts by point, ampere by winding (start to finish) and throw (common to throw).

    `line` ampere into the inlet, `supply` out of the other source, `per_turn` volts by core.
    """

    points: dict[str, complex]
    windings: dict[str, complex]
    throws: dict[str, complex]
    line: complex
    supply: complex
    per_turn: dict[str, complex]

    def between(self, high: str, low: str) -> complex:
        """Volts from one point up to another."""
        return self.points[high] - self.points[low]


class NoAnswerError(Exception):
    """The engine gave up on some of the decks: a matrix that is singular to its digits."""


def answered(decks: Sequence[Deck], folder: Path, program: str = "ngspice") -> list[list[Phasors]]:
    """The phasors of every run of every deck.

    Raises:
        NoAnswerError: the engine gave up on one.
    """
    script = ["* all decks", ".control", "set noaskquit", "set appendwrite", "set filetype=binary"]
    for number, deck in enumerate(decks):
        (folder / f"{number}.cir").write_text("\n".join(_netlist(deck)) + "\n")
        script += [f"source {number}.cir", *_commands(deck), "destroy all", "remcirc"]
    (folder / "all.cir").write_text("\n".join([*script, "quit", ".endc", ".end"]) + "\n")
    raw = folder / "answers.raw"
    raw.unlink(missing_ok=True)
    run = subprocess.run(
        [program, "-b", "all.cir"], cwd=folder, capture_output=True, text=True, timeout=3000, check=False
    )
    plots = list(_plots(raw.read_bytes())) if raw.exists() else []
    wanted = sum(len(deck.runs) for deck in decks)
    if len(plots) != wanted:
        raise NoAnswerError(f"{len(plots)} of {wanted} answers\n{run.stdout[-800:]}\n{run.stderr[-800:]}")
    waiting = iter(plots)
    return [[_phasors(deck, next(waiting)) for _ in deck.runs] for deck in decks]


def _node(deck: Deck) -> dict[str, str]:
    points = [*deck.copper.points]
    points += [one for one in deck.across or () if one not in points]
    return {point: "0" if point == deck.copper.neutral else f"p{n}" for n, point in enumerate(points)}


def _netlist(deck: Deck) -> Iterator[str]:
    copper, node = deck.copper, _node(deck)
    yield "* a stage"
    yield from ("Vin s 0 DC 0 AC 0", f"Hline s {node[copper.line]} vin -1e-10")
    yield from ("Vguard guard 0 DC 0 AC 0", "Rguard guard 0 1", f"Rload {node[copper.output]} 0 {NONE!r}")
    yield f"Iload {node[copper.output]} 0 DC 0 AC 0"
    for number, name in enumerate(node.values()):
        if name != "0":
            yield f"Rleak{number} {name} 0 {LEAK!r}"
            yield f"Gleak{number} 0 {name} guard 0 {(1 + 2 * (number * 0.618034 % 1)) / LEAK!r}"
    for number, core in enumerate(copper.cores):
        yield from (f"Lone{number} one{number} 0 {deck.henry!r}", f"Rone{number} one{number} 0 {NONE!r}")
        yield f"Ione{number} 0 one{number} DC 0 AC 0"
        if not deck.resistive:
            yield from (f"Kone{number}x{n} Lone{number} L{n} 1" for n in _on(copper, core))
    for number, one in enumerate(copper.windings):
        yield from _winding(deck, number)
        if not deck.resistive:
            yield from (f"K{number}x{n} L{number} L{n} 1" for n in _on(copper, one.core) if n < number)
    for number, throw in enumerate(copper.throws):
        if throw.label in deck.closed:
            ohm = throw.ohm if deck.resistive else 0.0
            yield f"VC{number} {node[throw.com]} c{number} DC 0 AC 0"
            yield f"HC{number} c{number} {node[throw.end]} vc{number} {ohm or LEAST!r}"
    if deck.across is not None:
        high, low = (node[point] for point in deck.across)
        yield from (f"Vsup u {low} DC 0 AC 0", f"Hsup u {high} vsup {-NONE!r}")
    yield ".end"


def _on(copper: Copper, core: str) -> list[int]:
    return [number for number, one in enumerate(copper.windings) if one.core == core]


def _winding(deck: Deck, number: int) -> Iterator[str]:
    """Finish, resistance, leakage, turns, start; the current of the turns is read from finish to start."""
    one, node = deck.copper.windings[number], _node(deck)
    ohm, leakage = (one.ohm, one.leakage) if deck.resistive else (0.0, 0.0)
    inner = f"x{number}" if leakage else f"m{number}"
    yield f"VW{number} {node[one.finish]} r{number} DC 0 AC 0"
    yield f"HW{number} r{number} {inner} vw{number} {ohm or (LEAST / 1000 if leakage else LEAST)!r}"
    if leakage:
        yield f"Lleak{number} {inner} m{number} {leakage / (2 * pi * deck.copper.hertz)!r}"
    if deck.resistive:
        core = deck.copper.cores.index(one.core)
        yield f"E{number} m{number} {node[one.start]} one{core} 0 {one.turns!r}"
        yield f"F{number} 0 one{core} vw{number} {one.turns!r}"
    else:
        yield f"L{number} m{number} {node[one.start]} {deck.henry * one.turns**2!r}"


def _commands(deck: Deck) -> Iterator[str]:
    hertz, now = deck.copper.hertz, Run()
    for run in deck.runs:
        yield from _altered(deck, now, run)
        yield from (f"ac lin 1 {hertz!r} {hertz!r}", "write answers.raw")
        now = run


def _altered(deck: Deck, now: Run, then: Run) -> Iterator[str]:
    if now.mains != then.mains:
        yield f"alter @vin[acmag] = {then.mains!r}"
    if now.guard != then.guard:
        yield f"alter @vguard[acmag] = {then.guard!r}"
    if now.load_a != then.load_a:
        yield f"alter @iload[acmag] = {then.load_a!r}"
    if now.line_ohm != then.line_ohm:
        yield f"alter @hline[gain] = {-then.line_ohm!r}"
    if now.load_ohm != then.load_ohm:
        yield f"alter rload = {then.load_ohm!r}"
    if now.supply != then.supply:
        yield f"alter @vsup[acmag] = {then.supply!r}"
    if now.supply_ohm != then.supply_ohm:
        yield f"alter @hsup[gain] = {-then.supply_ohm!r}"
    if now.irons != then.irons:
        react = 2 * pi * deck.copper.hertz * deck.henry
        for number in range(len(deck.copper.cores)):
            yield f"alter rone{number} = {react * (0.31 + 0.47 * number) if then.irons else NONE!r}"
    for number in {now.core, then.core} - {None}:
        if now.core != then.core:
            yield f"alter @ione{number}[acmag] = {1 if then.core == number else 0}"


def _plots(raw: bytes) -> Iterator[dict[str, complex]]:
    """The named phasors of every plot in a binary file."""
    at = 0
    while (start := raw.find(b"Binary:\n", at)) >= 0:
        head = raw[at:start].decode(errors="replace").splitlines()
        first = next(number for number, line in enumerate(head) if line.startswith("Variables:"))
        names = [line.split("\t")[2] for line in head[first + 1 :] if line.startswith("\t")]
        begin = start + len(b"Binary:\n")
        at = begin + 16 * len(names)
        yield dict(zip(names, np.frombuffer(raw[begin:at], dtype=np.complex128).tolist(), strict=True))


def _phasors(deck: Deck, plot: dict[str, complex]) -> Phasors:
    copper, node = deck.copper, _node(deck)
    volts = {point: 0j if name == "0" else plot[f"v({name})"] for point, name in node.items()}
    return Phasors(
        volts,
        {one.name: -plot[f"i(vw{number})"] for number, one in enumerate(copper.windings)},
        {one.label: plot.get(f"i(vc{number})", 0j) for number, one in enumerate(copper.throws)},
        -plot["i(vin)"],
        -plot.get("i(vsup)", 0j),
        {core: plot[f"v(one{number})"] for number, core in enumerate(copper.cores)},
    )
