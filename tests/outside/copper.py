"""The copper and contacts of a design file by a reader of its own, and what a fault makes of them.

Nothing is solved here: a netlist is made of it (`spice`). Faults are edits in the format's words.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from decimal import Decimal
from typing import Any

OFF = "(the lead that came off)"


@dataclass(frozen=True, slots=True)
class Turns:
    """A winding: its finish stands `turns` above its start; ohms and leakage in ohms, 0 where none are stated."""

    name: str
    start: str
    finish: str
    turns: float
    core: str
    ohm: float
    leakage: float


@dataclass(frozen=True, slots=True)
class Throw:
    """One throw of one pole: closed, it joins `com` and `end`."""

    label: str
    relay: str
    pole: int
    throw: str
    com: str
    end: str
    ohm: float

    @property
    def part(self) -> str:
        """The pole as faults name it."""
        return self.relay if self.pole == 1 else f"{self.relay}.{self.pole}"


@dataclass(frozen=True, slots=True)
class Copper:
    """A stage's copper. `hertz` is the lowest frequency; `at` what the controller reads, None for the input."""

    line: str
    neutral: str
    output: str
    windings: tuple[Turns, ...]
    throws: tuple[Throw, ...]
    relays: tuple[str, ...]
    hertz: float
    nominal: float
    va: float
    power_factor: float
    model: str
    source_ohm: float
    at: tuple[str, str] | None

    @property
    def points(self) -> list[str]:
        """Every point, in order."""
        ends = {end for one in self.windings for end in (one.start, one.finish)}
        return sorted(ends | {end for one in self.throws for end in (one.com, one.end)} | {*self.terminals})

    @property
    def terminals(self) -> tuple[str, str, str]:
        """Line, neutral and output."""
        return self.line, self.neutral, self.output

    @property
    def cores(self) -> list[str]:
        """Every core, in the order of the file."""
        return list(dict.fromkeys(one.core for one in self.windings))

    def closed(self, energised: frozenset[str]) -> frozenset[str]:
        """The throws that are closed when these relays are driven."""
        return frozenset(one.label for one in self.throws if (one.throw == "no") == (one.relay in energised))


def copper(text: str) -> Copper:
    """The copper of a design file."""
    file = tomllib.loads(text, parse_float=Decimal)
    ends, output, mains = file["terminals"], file["output"], file["mains"]
    hertz = mains.get("frequency_hz", 50)
    at = file.get("sensing", {}).get("at", "input")
    if at == "output":
        at = [ends["output"], ends["neutral"]]
    return Copper(
        *(ends[key] for key in ("line", "neutral", "output")),
        tuple(_winding(one) for one in file["winding"]),
        tuple(throw for one in file["relay"] for throw in _throws(one)),
        tuple(one["name"] for one in file["relay"]),
        float(hertz[0] if isinstance(hertz, list) else hertz),
        float(output["nominal_v"]),
        float(output.get("load_va", 0)),
        float(output.get("power_factor", 1)),
        output.get("load_model", "impedance"),
        float(mains.get("source_ohm", 0)),
        None if isinstance(at, str) else (at[0], at[1]),
    )


def _winding(table: dict[str, Any]) -> Turns:
    ohms = (float(table.get(key, 0)) for key in ("resistance_ohm", "leakage_ohm"))
    return Turns(table["name"], *table["ends"], float(table["turns"]), table.get("core", "core"), *ohms)


def _throws(table: dict[str, Any]) -> list[Throw]:
    name, ohm = table["name"], float(table.get("contact_ohm", 0))
    found = []
    for number, pole in enumerate(table.get("poles", [table]), 1):
        for throw in ("nc", "no"):
            if throw in pole:
                label = f"{name}.{throw}" if number == 1 else f"{name}.{number}.{throw}"
                found.append(Throw(label, name, number, throw, pole["com"], pole[throw], ohm))
    return found


@dataclass(frozen=True, slots=True)
class Damaged:
    """A stage with something wrong, and the throws that are closed when certain relays are driven."""

    copper: Copper
    closed: frozenset[str]


def damaged(copper: Copper, what: tuple[str, str, str], energised: frozenset[str]) -> Damaged:
    """The stage with a part broken (part, fault, and a second part where there is one) and these coils driven."""
    part, fault, other = what
    match fault:
        case "stuck-rest":
            return Damaged(copper, copper.closed(energised - {part}))
        case "stuck-driven":
            return Damaged(copper, copper.closed(energised | {part}))
        case "nc-open" | "no-open" | "com-open" | "bridged":
            return Damaged(copper, _contacts(copper, part, fault, copper.closed(energised)))
    return Damaged(_cut(copper, part, fault, other), copper.closed(energised))


def _contacts(copper: Copper, part: str, fault: str, closed: frozenset[str]) -> frozenset[str]:
    own = {one.label: one.throw for one in copper.throws if one.part == part}
    if fault == "bridged":
        return closed | own.keys()
    lost = {label for label, throw in own.items() if fault in ("com-open", f"{throw}-open")}
    return closed - lost


def _cut(copper: Copper, part: str, fault: str, other: str) -> Copper:
    match fault:
        case "open":
            return replace(copper, windings=tuple(one for one in copper.windings if one.name != part))
        case "reversed":
            windings = (
                replace(one, start=one.finish, finish=one.start) if one.name == part else one
                for one in copper.windings
            )
            return replace(copper, windings=tuple(windings))
        case "shorted-turns":
            core = next(one.core for one in copper.windings if one.name == part)
            loop = Turns("a shorted turn", "(inside)", "(inside)", 1.0, core, 0.0, 0.0)
            return replace(copper, windings=(*copper.windings, loop))
        case "lead-open":
            return _led(copper, {part: OFF})
        case "leads-swapped":
            return _led(copper, {part: other, other: part})
    raise ValueError(fault)


def _led(copper: Copper, moved: dict[str, str]) -> Copper:
    """Contacts and terminals of some points hang on others; windings and what is read stay."""
    throws = (replace(one, com=moved.get(one.com, one.com), end=moved.get(one.end, one.end)) for one in copper.throws)
    line, neutral, output = (moved.get(end, end) for end in copper.terminals)
    return replace(copper, throws=tuple(throws), line=line, neutral=neutral, output=output)
