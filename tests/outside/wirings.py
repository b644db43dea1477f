"""Random stages as text, for engines: sound wirings of many kinds, little of each rewired, so that most still work.

What is drawn is wide: fractional turns, sections wound against the others, up to eight relays, two poles, contacts
that only make or only break, points shared by contacts, parallel sections, series transformers on cores of their own,
a winding to be read (either way round) and one that a feed drives. No bands: states are asked for, not tables.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from decimal import Decimal
from itertools import pairwise
from random import Random

LOAD_MODELS = ("impedance", "current", "power")


@dataclass(slots=True)
class Section:
    """A winding as it is being drawn; ohms None are left out of the file."""

    name: str
    ends: list[str]
    turns: Decimal
    core: str = "core"
    ohm: Decimal | None = None
    leakage: Decimal | None = None


@dataclass(slots=True)
class Coil:
    """A relay as it is being drawn: its poles as lists of com, nc, no; a throw that there is not is empty."""

    name: str
    poles: list[list[str]]
    ohm: Decimal | None = None


@dataclass(slots=True)
class Wired:
    """A stage as it is being drawn."""

    chance: Random
    sections: list[Section] = field(default_factory=list)
    relays: list[Coil] = field(default_factory=list)
    line: str = "LINE"
    output: str = "OUT"
    sensed: tuple[str, str] | None = None
    feed: str | None = None

    def number(self, low: float, high: float) -> Decimal:
        """Turns: mostly whole, else with halves, quarters or hundredths."""
        grain = self.chance.choice(("1", "1", "1", "0.5", "0.25", "0.01"))
        steps = round(self.chance.uniform(low, high) / float(grain))
        return max(steps, 1) * Decimal(grain)

    def section(self, start: str, finish: str, turns: Decimal, core: str = "core") -> None:
        """A winding, in one of seven wound the other way round."""
        ends = [start, finish]
        self.sections.append(Section(f"w{len(self.sections)}", ends, turns, core))

    def relay(self, *poles: list[str]) -> None:
        """A relay with these poles; now and then one that rests where it should be driven."""
        turned = self.chance.random() < 0.5
        made = [[com, no, nc] if turned else [com, nc, no] for com, nc, no in poles]
        self.relays.append(Coil(f"K{len(self.relays) + 1}", made))

    def points(self) -> list[str]:
        """Every point there is, in order."""
        of_relays = {end for relay in self.relays for pole in relay.poles for end in pole if end}
        return sorted({end for one in self.sections for end in one.ends} | of_relays | {self.line, self.output, "N"})


def random_wiring(chance: Random) -> str:
    """The text of a stage."""
    made = Wired(chance)
    chance.choice(ARRANGEMENTS)(made)
    for addition, share in (
        (_reading, 0.6),
        (_fed, 0.4),
        (_series, 0.12),
        (_parallel, 0.15),
        (_extra, 0.3),
        (_bypassed, 0.12),
    ):
        if chance.random() < share:
            addition(made)
    for _ in range(chance.choice((0, 0, 1, 1, 2))):
        chance.choice(REWIRINGS)(made)
    _ohms(made)
    return "\n".join(_lines(made)) + "\n"


# Arrangements


def _tapped(made: Wired, taps: int) -> list[str]:
    """A winding from neutral through its taps."""
    names = [f"T{number}" for number in range(taps)]
    made.section("N", names[0], made.number(180, 700))
    for low, high in pairwise(names):
        made.section(low, high, made.number(6, 90))
    return names


def _chain(made: Wired, terminal: str, taps: list[str]) -> None:
    """Relays that choose one of these taps for a terminal."""
    com = terminal
    for place, tap in enumerate(taps[:-1]):
        onward = taps[-1] if place == len(taps) - 2 else f"{terminal}{place}"
        made.relay([com, tap, onward])
        com = onward


def _both(made: Wired) -> None:
    taps = _tapped(made, made.chance.randint(3, 6))
    for terminal in ("LINE", "OUT"):
        most = min(len(taps), 4)
        _chain(made, terminal, made.chance.sample(taps, made.chance.randint(2, most)))


def _one_side(made: Wired) -> None:
    taps = _tapped(made, made.chance.randint(3, 7))
    fixed = made.chance.choice(taps)
    if made.chance.random() < 0.5:
        made.line = fixed
        _chain(made, "OUT", made.chance.sample(taps, len(taps)))
    else:
        made.output = fixed
        _chain(made, "LINE", made.chance.sample(taps, len(taps)))


def _add_in(made: Wired) -> None:
    made.section("N", "LINE", made.number(250, 700))
    foot, count = "LINE", made.chance.randint(2, 6)
    for number in range(count):
        head, end = "OUT" if number == count - 1 else f"M{number}", f"S{number}"
        ends = (foot, end) if made.chance.random() < 0.6 else (end, foot)
        made.section(*ends, made.number(8, 50))
        made.relay([head, foot, end])
        foot = head


def _reversing(made: Wired) -> None:
    """A section of its own that two poles put in one way or the other, a relay that leaves it out."""
    made.section("N", "LINE", made.number(250, 700))
    made.section("P", "Q", made.number(10, 70))
    made.relay(["X", "P", "Q"], ["Y", "Q", "P"])
    made.relay(["X", "LINE", "LINE"] if made.chance.random() < 0.3 else ["LINE", "X", "Z"])
    made.relay(["OUT", "Y", "LINE"])


def _two_pole(made: Wired) -> None:
    """Relays whose two poles move line and output at once."""
    taps = _tapped(made, made.chance.randint(3, 5))
    pick = made.chance.choice
    made.relay(["LINE", pick(taps), "A"], ["OUT", pick(taps), "B"])
    made.relay(["A", pick(taps), pick(taps)], ["B", pick(taps), pick(taps)])


def _make_only(made: Wired) -> None:
    """A contact a tap that only makes, one that only breaks: states short where two close."""
    taps = _tapped(made, made.chance.randint(3, 5))
    made.line = made.chance.choice(taps)
    resting = made.chance.choice(taps)
    for tap in taps:
        name = f"K{len(made.relays) + 1}"
        pole = ["OUT", tap, ""] if tap == resting else ["OUT", "", tap]
        made.relays.append(
            Coil(name, [pole if made.chance.random() < 0.5 else [tap, *("OUT" * bool(end) for end in pole[1:])]])
        )


def _about_neutral(made: Wired) -> None:
    """A winding with neutral in its middle: one side has the other's volts turned round."""
    made.section("N", "T0", made.number(180, 500))
    made.section("T0", "T1", made.number(6, 90))
    made.section("D0", "N", made.number(150, 400))
    made.line = "T0"
    _chain(made, "OUT", made.chance.sample(["T0", "T1", "D0"], 3))


ARRANGEMENTS: tuple[Callable[[Wired], None], ...] = (
    _both, _both, _one_side, _one_side, _add_in, _reversing, _two_pole, _make_only, _about_neutral,
)  # fmt: skip


# What else there can be


def _reading(made: Wired) -> None:
    """A pair of points to read: a winding of its own, or any two points, either way round."""
    if made.chance.random() < 0.6:
        made.section("R1", "R2", made.number(8, 60))
        made.sensed = ("R1", "R2")
    else:
        high, low = made.chance.sample(made.points(), 2)
        made.sensed = (high, low)
    if made.chance.random() < 0.5:
        made.sensed = made.sensed[::-1]


def _fed(made: Wired) -> None:
    """A winding that a feed drives, apart from the others or between two points of theirs."""
    ends = ("F1", "F2") if made.chance.random() < 0.7 else tuple(made.chance.sample(made.points(), 2))
    made.section(*ends, made.number(8, 60))
    made.feed = made.sections[-1].name


def _series(made: Wired) -> None:
    """A transformer of its own core, one winding between output and load, the other across two points."""
    inner = "OUTX"
    for relay in made.relays:
        relay.poles = [
            [inner if end == made.output and made.output == "OUT" else end for end in pole] for pole in relay.poles
        ]
    if made.output != "OUT":
        inner, made.output = made.output, "OUT"
    made.section(inner, "OUT", made.number(8, 60), "booster")
    across = made.chance.sample(made.points(), 2) if made.chance.random() < 0.5 else [made.line, "N"]
    made.section(*across, made.number(100, 500), "booster")


def _bypassed(made: Wired) -> None:
    """A relay of two poles that takes the line off the stage and joins it to the output."""
    inner = {made.line: "LI", made.output: "OI"} if made.line != made.output else {}
    for relay in made.relays:
        relay.poles = [[inner.get(end, end) for end in pole] for pole in relay.poles]
    for one in made.sections:
        one.ends = [inner.get(end, end) for end in one.ends]
    made.line, made.output = "LINE", "OUT"
    made.relay(["LINE", "LI", "BY"], ["OUT", "OI", "BY"])


def _parallel(made: Wired) -> None:
    """A section beside another of equal turns, joined to it at both ends or by a contact."""
    beside = made.chance.choice(made.sections)
    low, high = beside.ends
    if made.chance.random() < 0.5:
        made.section(low, high, beside.turns, beside.core)
        return
    made.section(low, "B1", beside.turns, beside.core)
    made.relay(["B1", high, made.chance.choice(["", "free"])])


def _extra(made: Wired) -> None:
    """A section more, from any point to any, on the core or on another one."""
    ends = made.chance.sample([*made.points(), "E1"], 2)
    core = made.chance.choice(("core", "core", "booster", "third"))
    made.section(*ends, made.number(5, 80), core)


# Rewiring


def _moved_contact(made: Wired) -> None:
    pole = made.chance.choice(made.chance.choice(made.relays).poles)
    place = made.chance.randrange(3)
    others = [point for point in made.points() if point not in pole]
    if pole[place] and others:
        pole[place] = made.chance.choice(others)


def _turned_section(made: Wired) -> None:
    made.chance.choice(made.sections).ends.reverse()


def _lost_throw(made: Wired) -> None:
    pole = made.chance.choice(made.chance.choice(made.relays).poles)
    if pole[1] and pole[2]:
        pole[made.chance.choice((1, 2))] = ""


def _moved_section(made: Wired) -> None:
    one = made.chance.choice(made.sections[1:] or made.sections)
    others = [point for point in made.points() if point not in one.ends]
    one.ends[made.chance.randrange(2)] = made.chance.choice(others)


def _second_pole(made: Wired) -> None:
    com, nc, no = made.chance.sample(made.points(), 3)
    made.chance.choice(made.relays).poles.append([com, nc, no])


REWIRINGS: tuple[Callable[[Wired], None], ...] = (
    _moved_contact, _moved_contact, _turned_section, _lost_throw, _moved_section, _second_pole,
)  # fmt: skip


def _ohms(made: Wired) -> None:
    """Resistances of all, of some, or of none; leakage now and then."""
    share = made.chance.choice((0.0, 0.7, 1.0, 1.0))
    leaks = made.chance.random() < 0.4
    for one in made.sections:
        if made.chance.random() < share:
            one.ohm = Decimal(made.chance.randint(1, 2000)) / 1000
        if leaks and made.chance.random() < 0.7:
            one.leakage = Decimal(made.chance.randint(1, 1000)) / 1000
    for relay in made.relays:
        if made.chance.random() < share:
            relay.ohm = Decimal(made.chance.randint(1, 100)) / 1000


# Text


def _lines(made: Wired) -> Iterator[str]:
    chance = made.chance
    yield from ("format = 1", 'title = "Wired at random"', "[mains]", "nominal_v = 230", "range_v = [170, 280]")
    yield f"frequency_hz = {chance.choice(('50', '60', '[47, 53]', '400'))}"
    if chance.random() < 0.3:
        yield f"source_ohm = {chance.randint(1, 20) / 10}"
    yield from ("[output]", "nominal_v = 230", "window_v = [200, 260]", f"load_va = {chance.randint(2, 60) * 50}")
    yield f"power_factor = {chance.choice(('1', '0.95', '0.8', '0.6', '0.3'))}"
    yield f'load_model = "{chance.choice(LOAD_MODELS)}"'
    yield from ("[core]", f"area_mm2 = {chance.randint(4, 60) * 100}", f"stack_factor = 0.{chance.randint(90, 99)}")
    yield from ("[terminals]", f'line = "{made.line}"', 'neutral = "N"', f'output = "{made.output}"')
    for one in made.sections:
        yield from _section_lines(one)
    for relay in made.relays:
        yield from _relay_lines(relay)
    yield "[sensing]"
    if made.sensed is not None:
        yield f'at = ["{made.sensed[0]}", "{made.sensed[1]}"]'
    if made.feed is not None:
        low = chance.randint(8, 40)
        yield from ("[[feed]]", 'name = "inverter"', f'winding = "{made.feed}"', f"volts_v = [{low}, {low + 8}]")


def _section_lines(one: Section) -> Iterator[str]:
    yield from ("[[winding]]", f'name = "{one.name}"', f'ends = ["{one.ends[0]}", "{one.ends[1]}"]')
    yield from (f"turns = {one.turns}", f'core = "{one.core}"')
    if one.ohm is not None:
        yield f"resistance_ohm = {one.ohm}"
    if one.leakage is not None:
        yield f"leakage_ohm = {one.leakage}"


def _relay_lines(relay: Coil) -> Iterator[str]:
    yield from ("[[relay]]", f'name = "{relay.name}"')
    poles = []
    for com, nc, no in relay.poles:
        keys = [("com", com), ("nc", nc), ("no", no)]
        poles.append("{ " + ", ".join(f'{key} = "{point}"' for key, point in keys if point) + " }")
    yield f"poles = [{', '.join(poles)}]"
    if relay.ohm is not None:
        yield f"contact_ohm = {relay.ohm}"
