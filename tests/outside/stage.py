"""A design file as a stage of copper and contacts: own reader, own network solver, both from the format's rules.

The reader takes TOML text and keeps every number exact. The solver knows a *position* of each relay, at rest, driven
or in flight (no throw closed), and answers two questions about a combination of positions: what the turns alone say
(exact, by elimination in fractions), and what is left of it with the load on (floating point, by nodal analysis with
ideal cores, winding and contact resistances). One law serves any number of cores.
"""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from typing import Any

import numpy as np

REST, DRIVEN, OPEN = 0, 1, 2
"""Where the contact of a relay stands; OPEN is in flight, neither throw closed."""

Positions = tuple[int, ...]
"""One of REST, DRIVEN, OPEN a relay, in the order of the file."""

AWAY = "away"
NOTHING = frozenset({"floating", "unfed", "undetermined"})
"""Kinds in which the output stands on nothing that is fed."""

CLOSED_OHM = 1e-7
"""What a closed contact without a stated resistance has, so that parallel contacts share their current."""


@dataclass(frozen=True, slots=True)
class Winding:
    """A section: its finish stands `turns` above its start."""

    name: str
    start: str
    finish: str
    turns: Fraction
    ohm: float
    core: str


@dataclass(frozen=True, slots=True)
class Pole:
    """One changeover contact; a throw that is left out is None."""

    com: str
    nc: str | None
    no: str | None


@dataclass(frozen=True, slots=True)
class Within:
    """The least and the most that a time can be, in ms."""

    least: float
    most: float


@dataclass(frozen=True, slots=True)
class Relay:
    """One coil and its poles; times in ms."""

    name: str
    poles: tuple[Pole, ...]
    contact_ohm: float
    operate: Within
    release: Within
    transfer: Within
    bounce: Within

    def delay(self, driven: bool) -> Within:
        """From the coil's change to the first change of a contact."""
        return self.operate if driven else self.release

    def latest(self, driven: bool) -> float:
        """The most that passes from the coil's change until the contact is still."""
        return self.delay(driven).most + self.transfer.most + self.bounce.most


@dataclass(frozen=True, slots=True)
class Sensing:
    """Where and how the controller reads; `error` is a share, `noise` peak to peak at the place sensed."""

    at: str | tuple[str, str]
    detector: str
    error: Fraction
    noise: Fraction
    cycles: Fraction
    confirm_up: float
    confirm_down: float


@dataclass(frozen=True, slots=True)
class Band:
    """One row of the control table as it is written; the hold is in the units sensed."""

    name: str
    energised: frozenset[str]
    hold: tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class Backup:
    """What happens outside all bands."""

    leave: tuple[Fraction, Fraction]
    back: tuple[Fraction, Fraction]
    energised: frozenset[str]
    return_after: float


@dataclass(frozen=True, slots=True)
class Sequence:
    """In which order relays are told to move; `pause` None stands for the most that the relay just moved takes."""

    order: str
    pause: float | None
    blank: float
    moves: Mapping[tuple[str, str], tuple[str, ...]]


@dataclass(frozen=True, slots=True)
class Stage:
    """Everything of a design file that the controller, the copper and the contacts depend on."""

    title: str
    range: tuple[Fraction, Fraction]
    frequency: tuple[float, float]
    source_ohm: float
    nominal: Fraction
    window: tuple[Fraction, Fraction]
    load_ohm: float | None
    line: str
    neutral: str
    output: str
    windings: tuple[Winding, ...]
    relays: tuple[Relay, ...]
    sensing: Sensing
    bands: tuple[Band, ...]
    backup: Backup | None
    sequence: Sequence

    def positions(self, energised: Iterable[str]) -> Positions:
        """Where the relays stand when these are driven and every other one rests."""
        driven = frozenset(energised)
        return tuple(DRIVEN if relay.name in driven else REST for relay in self.relays)

    def standing(self, row: str) -> Positions:
        """Where the relays stand in a row, or away."""
        if row == AWAY:
            return self.positions(self.backup.energised if self.backup else ())
        return self.positions(next(band.energised for band in self.bands if band.name == row))


def read(text: str) -> Stage:
    """The stage of a design file's text; a table that is left out has the format's defaults.

    Bands that are left out are not derived: that is another question.
    """
    file = tomllib.loads(text, parse_float=Decimal)
    mains, output, ends = file["mains"], file["output"], file["terminals"]
    nominal = _exact(output["nominal_v"])
    return Stage(
        title=file["title"],
        range=_pair(mains["range_v"]),
        frequency=_frequency(mains.get("frequency_hz", 50)),
        source_ohm=float(mains.get("source_ohm", 0)),
        nominal=nominal,
        window=_pair(output["window_v"]),
        load_ohm=float(nominal**2 / _exact(output["load_va"])) if "load_va" in output else None,
        line=ends["line"],
        neutral=ends["neutral"],
        output=ends["output"],
        windings=tuple(_winding(one) for one in file["winding"]),
        relays=tuple(_relay(one) for one in file["relay"]),
        sensing=_sensing(file.get("sensing", {})),
        bands=tuple(_band(one) for one in file.get("band", [])),
        backup=_backup(file["backup"]) if "backup" in file else None,
        sequence=_sequence(file.get("sequence", {})),
    )


def _exact(number: int | Decimal) -> Fraction:
    return Fraction(number)


def _pair(numbers: list[Any]) -> tuple[Fraction, Fraction]:
    low, high = numbers
    return _exact(low), _exact(high)


def _frequency(given: Any) -> tuple[float, float]:
    low, high = given if isinstance(given, list) else (given, given)
    return float(low), float(high)


def _within(given: Any) -> Within:
    low, high = given if isinstance(given, list) else (0, given)
    return Within(float(low), float(high))


def _winding(table: dict[str, Any]) -> Winding:
    start, finish = table["ends"]
    ohm = float(table.get("resistance_ohm", 0))
    return Winding(table["name"], start, finish, _exact(table["turns"]), ohm, table.get("core", ""))


def _relay(table: dict[str, Any]) -> Relay:
    poles = table.get("poles", [table])
    return Relay(
        name=table["name"],
        poles=tuple(Pole(pole["com"], pole.get("nc"), pole.get("no")) for pole in poles),
        contact_ohm=float(table.get("contact_ohm", 0)),
        operate=_within(table.get("operate_ms", 15)),
        release=_within(table.get("release_ms", 10)),
        transfer=_within(table.get("transfer_ms", 10)),
        bounce=_within(table.get("bounce_ms", 5)),
    )


def _sensing(table: dict[str, Any]) -> Sensing:
    at = table.get("at", "input")
    confirm = table.get("confirm_ms", 0)
    return Sensing(
        at=at if isinstance(at, str) else (at[0], at[1]),
        detector=table.get("detector", "rms"),
        error=_exact(table.get("error_pct", 0)) / 100,
        noise=_exact(table.get("noise_v", 0)),
        cycles=_exact(table.get("window_cycles", 1)),
        confirm_up=float(table.get("confirm_up_ms", confirm)),
        confirm_down=float(table.get("confirm_down_ms", confirm)),
    )


def _band(table: dict[str, Any]) -> Band:
    if "hold_v" not in table:
        raise ValueError(f"the hold of {table['name']} is left out")
    return Band(table["name"], frozenset(table["energised"]), _pair(table["hold_v"]))


def _backup(table: dict[str, Any]) -> Backup:
    return Backup(
        leave=_pair(table["leave_v"]),
        back=_pair(table["return_v"]),
        energised=frozenset(table.get("energised", [])),
        return_after=float(table.get("return_after_ms", 0)),
    )


def _sequence(table: dict[str, Any]) -> Sequence:
    pause = table.get("pause_ms")
    return Sequence(
        order=table.get("order", "together"),
        pause=None if pause is None else float(pause),
        blank=float(table.get("blank_ms", 0)),
        moves={(move["from"], move["to"]): tuple(move["order"]) for move in table.get("move", [])},
    )


@dataclass(frozen=True, slots=True)
class Outcome:
    """What one combination of positions does; ratios and the admittance are per volt at the inlet.

    `kind` is "fed", "dead" (output at neutral), one of NOTHING, or "shorted". `ratio` and `sensed` are exact, of the
    turns alone, None where nothing fixes them. The loaded ones are 0 where nothing flows, and meaningless when
    shorted; without a stated load they repeat the exact ones.
    """

    kind: str
    ratio: Fraction | None
    sensed: Fraction | None
    loaded_ratio: float
    loaded_sensed: float
    admittance: float


class Network:
    """The stage's copper: the outcome of each combination of relay positions, worked out once."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self._known: dict[Positions, Outcome] = {}

    def outcome(self, positions: Positions) -> Outcome:
        """What this combination does."""
        if positions not in self._known:
            self._known[positions] = _outcome(self.stage, positions)
        return self._known[positions]

    def settled(self, row: str) -> Outcome:
        """What a row's state does, or that of away."""
        return self.outcome(self.stage.standing(row))


def _outcome(stage: Stage, positions: Positions) -> Outcome:
    turns = _Turns(stage, positions)
    kind = turns.kind()
    if kind == "shorted":
        return Outcome(kind, None, None, 0.0, 0.0, 0.0)
    ratio = turns.share({stage.output: 1}) if kind in ("fed", "dead") else None
    sensed = turns.share(sensed_points(stage))
    if stage.load_ohm is None or kind != "fed":
        return Outcome(kind, ratio, sensed, float(ratio or 0), float(sensed or 0), 0.0)
    loaded = volts(stage, positions, stage.load_ohm)
    return Outcome(kind, ratio, sensed, loaded.at({stage.output: 1}), loaded.at(sensed_points(stage)), loaded.drawn)


def sensed_points(stage: Stage) -> dict[str, int]:
    """The points that the controller reads, each with its sign."""
    match stage.sensing.at:
        case "input":
            return {stage.line: 1, stage.neutral: -1}
        case "output":
            return {stage.output: 1, stage.neutral: -1}
        case plus, minus:
            return {plus: 1, minus: -1}
        case other:
            raise ValueError(f"sensing at {other!r}")


def closed(stage: Stage, positions: Positions) -> Iterator[tuple[str, str, float]]:
    """Every closed contact: the two points it joins, and its resistance in ohms."""
    for relay, position in zip(stage.relays, positions, strict=True):
        for pole in relay.poles:
            throw = {REST: pole.nc, DRIVEN: pole.no, OPEN: None}[position]
            if throw is not None:
                yield pole.com, throw, relay.contact_ohm


def unfed(stage: Stage, positions: Positions) -> bool:
    """Whether no turns and no contacts lead from the line to neutral, whatever the output does."""
    return _Turns(stage, positions).line_floats()


Terms = dict[tuple[int, str], Fraction]
"""A sum of unknowns: (0, point) a point's potential, (1, core) a core's volts per turn. Points sort before cores."""


class _Turns:
    """The windings' equations, finish less start = turns times the core's volts per turn, reduced in fractions.

    Points joined by contacts are one point and neutral is 0. Whatever the equations leave of a sum of potentials is
    its residual; two sums whose residuals are multiples of one another are fixed shares of one another.
    """

    def __init__(self, stage: Stage, positions: Positions) -> None:
        self.stage = stage
        self._same = _joined(closed(stage, positions))
        self._rows: dict[tuple[int, str], Terms] = {}
        for winding in stage.windings:
            self._add(winding)
        self._line = self._residual({stage.line: 1})

    def kind(self) -> str:
        """What the combination does with the output."""
        if not self._line or any(not self._left({(1, core): Fraction(1)}) for core in self._cores()):
            return "shorted"
        out = self._residual({self.stage.output: 1})
        share = _multiple(out, self._line)
        if share is not None:
            return "fed" if share else "dead"
        if any(place == 0 for place, _ in self._line):
            return "unfed"
        return "floating" if any(place == 0 for place, _ in out) else "undetermined"

    def line_floats(self) -> bool:
        """Whether the line's potential hangs on nothing."""
        return any(place == 0 for place, _ in self._line)

    def share(self, points: Mapping[str, int]) -> Fraction | None:
        """The sum of these points' potentials per volt at the inlet, or None where nothing fixes it."""
        return _multiple(self._residual(points), self._line)

    def _cores(self) -> set[str]:
        return {winding.core for winding in self.stage.windings if winding.turns}

    def _point(self, name: str) -> str:
        return self._same.get(name, name)

    def _sum(self, points: Mapping[str, int]) -> Terms:
        total: Terms = {}
        for name, sign in points.items():
            if self._point(name) != self._point(self.stage.neutral):
                key = (0, self._point(name))
                total[key] = total.get(key, Fraction(0)) + sign
        return {key: value for key, value in total.items() if value}

    def _residual(self, points: Mapping[str, int]) -> Terms:
        return self._left(self._sum(points))

    def _left(self, terms: Terms) -> Terms:
        for pivot in [key for key in terms if key in self._rows]:
            terms = _less(terms, terms[pivot], self._rows[pivot])
        return terms

    def _add(self, winding: Winding) -> None:
        terms = self._sum({winding.finish: 1}) if winding.finish != winding.start else {}
        terms = _less(terms, Fraction(1), self._sum({winding.start: 1}))
        left = self._left(_less(terms, winding.turns, {(1, winding.core): Fraction(1)}))
        if not left:
            return
        pivot = min(left)  # a point before a core, so that what is left over is in volts per turn where it can be
        row = {key: value / left[pivot] for key, value in left.items()}
        self._rows = {
            key: _less(known, known[pivot], row) if pivot in known else known for key, known in self._rows.items()
        }
        self._rows[pivot] = row


def _joined(contacts: Iterable[tuple[str, str, float]]) -> dict[str, str]:
    """Every point of a contact with the one name that stands for all points joined to it."""
    name: dict[str, str] = {}
    for one, other, _ in contacts:
        kept, dropped = name.setdefault(one, one), name.setdefault(other, other)
        name = {point: kept if head == dropped else head for point, head in name.items()}
    return name


def _less(terms: Terms, share: Fraction, other: Terms) -> Terms:
    """The sum of terms less a multiple of another."""
    result = dict(terms)
    for key, value in other.items():
        result[key] = result.get(key, Fraction(0)) - share * value
    return {key: value for key, value in result.items() if value}


def _multiple(terms: Terms, base: Terms) -> Fraction | None:
    """The factor between two sums, or None when they are no multiples of one another."""
    if not terms:
        return Fraction(0)
    if terms.keys() != base.keys():
        return None
    first = next(iter(base))
    factor = terms[first] / base[first]
    return factor if all(terms[key] == factor * base[key] for key in base) else None


@dataclass(frozen=True, slots=True)
class Volts:
    """Potentials at one volt on the inlet, and the current drawn there, in amperes."""

    potential: Mapping[str, float]
    drawn: float

    def at(self, points: Mapping[str, int]) -> float:
        """The sum of these points' potentials."""
        return sum(sign * self.potential[name] for name, sign in points.items())


def volts(stage: Stage, positions: Positions, load_ohm: float | None) -> Volts:
    """All potentials by nodal analysis: ideal cores, resistive windings and contacts, a resistive load or none.

    Unknown are the potentials, one current a branch, the volts per turn of each core, and the current of the inlet.
    What nothing fixes comes out as the least of all solutions; whether a ratio is fixed, `Outcome.kind` says.
    """
    system = _System(stage)
    for winding in stage.windings:
        system.winding(winding)
    for one, other, ohm in closed(stage, positions):
        system.branch(one, other, max(ohm, CLOSED_OHM))
    if load_ohm is not None:
        system.branch(stage.output, stage.neutral, load_ohm)
    return system.solved()


class _System:
    """Equations gathered branch by branch: each a mapping from unknown to factor, and a right-hand side."""

    def __init__(self, stage: Stage) -> None:
        self.stage = stage
        self._unknown: dict[tuple[str, str | int], int] = {}
        self._laws: list[tuple[dict[int, float], float]] = []
        self._currents: dict[str, dict[int, float]] = {}
        self._turns: dict[str, dict[int, float]] = {}
        self._scale = max((float(one.turns) for one in stage.windings), default=1.0)
        self._inlet = self._number("current", "inlet")
        self._meet(stage.line, self._inlet, 1.0)

    def _number(self, sort: str, name: str | int) -> int:
        return self._unknown.setdefault((sort, name), len(self._unknown))

    def _meet(self, point: str, current: int, sign: float) -> None:
        self._number("point", point)
        law = self._currents.setdefault(point, {})
        law[current] = law.get(current, 0.0) + sign

    def _between(self, high: str, low: str) -> tuple[dict[int, float], int]:
        """A new current from `high` to `low`, and the law that will tie their potentials."""
        current = self._number("current", len(self._laws))
        self._meet(high, current, -1.0)
        self._meet(low, current, 1.0)
        law: dict[int, float] = {self._number("point", high): 1.0}
        place = self._number("point", low)
        law[place] = law.get(place, 0.0) - 1.0
        return law, current

    def winding(self, winding: Winding) -> None:
        """A section: its volts are turns times the core's, plus the drop of the current from finish to start."""
        law, current = self._between(winding.finish, winding.start)
        turns = float(winding.turns) / self._scale
        law[self._number("core", winding.core)] = -turns
        law[current] = -winding.ohm
        self._laws.append((law, 0.0))
        self._turns.setdefault(winding.core, {})[current] = turns

    def branch(self, one: str, other: str, ohm: float) -> None:
        """A resistance between two points."""
        law, current = self._between(one, other)
        self._laws.append(
            ({**{key: value / max(ohm, 1.0) for key, value in law.items()}, current: -min(ohm, 1.0)}, 0.0)
        )

    def solved(self) -> Volts:
        """The least solution of all laws together."""
        laws = [*self._laws]
        laws += [(law, 0.0) for point, law in self._currents.items() if point != self.stage.neutral]
        laws += [(law, 0.0) for law in self._turns.values()]
        laws.append(({self._number("point", self.stage.line): 1.0}, 1.0))
        laws.append(({self._number("point", self.stage.neutral): 1.0}, 0.0))
        matrix = np.zeros((len(laws), len(self._unknown)))
        for row, (law, _) in enumerate(laws):
            matrix[row, list(law)] = list(law.values())
        solution = np.linalg.lstsq(matrix, np.array([right for _, right in laws]), rcond=None)[0]
        potential = {str(name): float(solution[at]) for (sort, name), at in self._unknown.items() if sort == "point"}
        return Volts(potential, float(solution[self._inlet]))
