"""Random designs as text: wirings of several kinds, bands placed by the formulas for how many ratios a range needs.

A design is sound by those formulas, with random slack, unless it is damaged on purpose; `Drawn.damage` names what was
done. Nothing is promised about damage: a fault that was meant may be one in some designs only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from decimal import Decimal
from fractions import Fraction
from itertools import product
from math import ceil, floor
from random import Random

from tests.outside.stage import DRIVEN, Network, Outcome, Positions, read

DAMAGES = ("dead-zone", "touching", "thin", "stranded", "cycling")
BACKUP_DAMAGES = ("stranded", "cycling")
HALF = Fraction(1, 2)

Span = tuple[Fraction, Fraction]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A design's text, and what was drawn; `damage` is empty for one meant to be sound.

    `ripple`: the window is no whole number of half cycles, which few tables can bear.
    """

    text: str
    arrangement: str
    sensed: str
    damage: str
    ripple: bool


@dataclass(frozen=True, slots=True)
class Wiring:
    """Sections (name, start, finish, turns), relays (name, com, nc, no) and where line and output are."""

    sections: tuple[tuple[str, str, str, int], ...]
    relays: tuple[tuple[str, str, str, str], ...]
    line: str = "LINE"
    output: str = "OUT"


class _UnfitError(Exception):
    """What was drawn does not go together; another draw is due."""


def random_design(chance: Random, damaged: float = 0.25) -> Drawn:
    """A design; `damaged` is the share of those that are spoilt on purpose."""
    while True:
        damage = chance.choice(DAMAGES) if chance.random() < damaged else ""
        try:
            return _drawn(chance, damage)
        except _UnfitError:
            continue


def _drawn(chance: Random, damage: str) -> Drawn:
    arrangement = chance.choice(sorted(ARRANGEMENTS))
    wiring = ARRANGEMENTS[arrangement](chance)
    sensed = chance.choice(("input", "output", "winding"))
    electric, ripple = _electric(chance), chance.random() < 0.05
    frame = _frame(wiring, sensed, electric, chance)
    rungs, away = _rungs(frame, chance)
    backup = damage in BACKUP_DAMAGES or chance.random() < 0.6
    plan = _plan(rungs, away.outcome, electric, chance)
    holds = _holds(plan, chance)
    ends = _backup_ends(plan, electric, damage, chance) if backup else None
    holds = _damaged(plan, _outer(plan, holds, ends, chance), damage, chance)
    lines = [
        *_mains_lines(plan, electric),
        *frame[frame.index("[terminals]") :],
        *_sensing_lines(plan, ripple, chance),
        *_band_lines(plan, holds),
    ]
    if ends is not None:
        lines += _backup_lines(plan, ends, away, chance)
    lines += _sequence_lines([rung.energised for rung in rungs], away.energised, backup, chance)
    return Drawn("\n".join(lines) + "\n", arrangement, sensed, damage, ripple)


# Wirings


def _steps(chance: Random, count: int) -> list[int]:
    """Heights in turns, each above the last by a step that a usual window can bridge."""
    heights = [chance.randint(250, 700)]
    for _ in range(count - 1):
        heights.append(ceil(heights[-1] * chance.uniform(1.06, 1.17)))
    return heights


def _tapped(heights: list[int]) -> tuple[tuple[str, str, str, int], ...]:
    """One winding from N through the points T0, T1, ... at these heights."""
    points = ["N", *(f"T{number}" for number in range(len(heights)))]
    above = zip(points, points[1:], [0, *heights], heights, strict=False)
    return tuple((f"{low}-{high}", low, high, top - foot) for low, high, foot, top in above)


def _chain(name: str, terminal: str, taps: list[str]) -> tuple[tuple[str, str, str, str], ...]:
    """Relays one after another that choose one of these taps: at rest the first, the last with all driven."""
    coms = [terminal, *(f"{name}{number}x" for number in range(1, len(taps) - 1))]
    throws = [*coms[1:], taps[-1]]
    return tuple(
        (f"{name}{at}", com, taps[at], throw) for at, (com, throw) in enumerate(zip(coms, throws, strict=True))
    )


def _pair(chance: Random) -> Wiring:
    line, output = ["T2", "T0"], ["T1", "T2"]
    if chance.random() < 0.5:
        line, output = line[::-1], output[::-1]
    relays = (*_chain("KL", "LINE", line), *_chain("KO", "OUT", output))
    return Wiring(_tapped(_steps(chance, 3)), relays)


def _turned(taps: list[str], chance: Random) -> list[str]:
    return taps if chance.random() < 0.5 else taps[::-1]


def _output_chain(chance: Random) -> Wiring:
    heights = _steps(chance, chance.randint(3, 5))
    taps = [f"T{number}" for number in range(len(heights))]
    relays = _chain("K", "OUT", _turned(taps, chance))
    return Wiring(_tapped(heights), relays, line=chance.choice(taps))


def _line_chain(chance: Random) -> Wiring:
    wiring = _output_chain(chance)
    relays = tuple((name, "LINE" if com == "OUT" else com, nc, no) for name, com, nc, no in wiring.relays)
    return replace(wiring, relays=relays, line="LINE", output=wiring.line)


def _two_sided(chance: Random) -> Wiring:
    heights = _steps(chance, chance.randint(3, 5))
    taps = [f"T{number}" for number in range(len(heights))]
    lines, outputs = chance.sample(taps, 2), sorted(chance.sample(taps, chance.randint(2, 3)))
    relays = (*_chain("KL", "LINE", lines), *_chain("KO", "OUT", _turned(outputs, chance)))
    return Wiring(_tapped(heights), relays)


def _add_in(chance: Random) -> Wiring:
    """Sections that a relay each adds to the output, with the line or against it, or leaves out."""
    main = chance.randint(250, 700)
    sections, relays = [("main", "N", "LINE", main)], []
    foot = "LINE"
    count = chance.randint(1, 3)
    for number in range(count):
        head, end = ("OUT" if number == count - 1 else f"M{number}"), f"S{number}"
        turns = max(2, round(main * chance.uniform(0.05, 0.09) * 2**number))
        ends = (foot, end) if chance.random() < 0.6 else (end, foot)
        sections.append((f"add {number}", *ends, turns))
        throws = (foot, end) if chance.random() < 0.5 else (end, foot)
        relays.append((f"K{number}", head, *throws))
        foot = head
    return Wiring(tuple(sections), tuple(relays))


ARRANGEMENTS: dict[str, Callable[[Random], Wiring]] = {
    "pair": _pair,
    "output chain": _output_chain,
    "line chain": _line_chain,
    "two-sided": _two_sided,
    "add-in": _add_in,
}


# What the copper and the contacts are like


@dataclass(frozen=True, slots=True)
class _Electric:
    """Nominal volts, the load in VA or None, ohms a turn, ohms behind the inlet, ohms a contact, the frequency."""

    nominal: int
    load_va: int | None
    ohm_a_turn: Fraction
    source_ohm: Fraction
    contact_ohm: Fraction
    frequency: str


def _electric(chance: Random) -> _Electric:
    """Most stages have neither a load nor resistances; some a load behind a weak source, some drops of their own."""
    loaded, resistive = chance.random() < 0.5, chance.random() < 0.5
    return _Electric(
        nominal=chance.choice((110, 127, 220, 230, 240)),
        load_va=chance.randrange(200, 1001, 50) if loaded else None,
        ohm_a_turn=Fraction(chance.randint(5, 30), 10000) if loaded and resistive else Fraction(0),
        source_ohm=Fraction(chance.randint(1, 10), 10) if loaded and chance.random() < 0.4 else Fraction(0),
        contact_ohm=Fraction(chance.choice((0, 10, 30)), 1000) if loaded and resistive else Fraction(0),
        frequency=chance.choice(("50", "60", "[47, 53]")),
    )


def _frame(wiring: Wiring, sensed: str, electric: _Electric, chance: Random) -> list[str]:
    """The design without its bands, from which the ratios are worked out; range and window are yet to be chosen."""
    sections = list(wiring.sections)
    if sensed == "winding":
        sections.append(("reading", "R1", "R2", chance.randint(15, 60)))
    lines = ['title = "a frame"', "[mains]", "nominal_v = 1", "range_v = [1, 2]"]
    lines += ["[output]", f"nominal_v = {electric.nominal}", "window_v = [1, 2]"]
    if electric.load_va is not None:
        lines += [f"load_va = {electric.load_va}"]
    lines += ["[terminals]", f'line = "{wiring.line}"', 'neutral = "N"', f'output = "{wiring.output}"']
    for name, start, finish, turns in sections:
        lines += ["[[winding]]", f'name = "{name}"', f'ends = ["{start}", "{finish}"]', f"turns = {turns}"]
        if electric.ohm_a_turn and name != "reading":
            lines += [f"resistance_ohm = {_number(turns * electric.ohm_a_turn)}"]
    for relay in wiring.relays:
        lines += _relay_lines(relay, electric, chance)
    return [*lines, "[sensing]", f"at = {_PLACES[sensed]}"]


_PLACES = {"input": '"input"', "output": '"output"', "winding": '["R2", "R1"]'}


def _relay_lines(relay: tuple[str, str, str, str], electric: _Electric, chance: Random) -> Iterator[str]:
    name, com, nc, no = relay
    yield from ("[[relay]]", f'name = "{name}"', f'com = "{com}"', f'nc = "{nc}"', f'no = "{no}"')
    if electric.contact_ohm:
        yield f"contact_ohm = {_number(electric.contact_ohm)}"
    for key, most in (("operate_ms", 20), ("release_ms", 15), ("transfer_ms", 12), ("bounce_ms", 6)):
        match chance.choice(("left out", "most", "both")):
            case "most":
                yield f"{key} = {chance.randint(1, most)}"
            case "both":
                low, high = sorted((chance.randint(0, 2 * most), chance.randint(0, 2 * most)))
                yield f"{key} = [{_number(Fraction(low, 2))}, {_number(Fraction(high, 2))}]"


# A falling ladder of ratios, and the bands on it


@dataclass(frozen=True, slots=True)
class _Rung:
    """One state: the relays driven, and what it does."""

    energised: tuple[str, ...]
    outcome: Outcome

    @property
    def sensed(self) -> Span:
        """The least and the most reading per volt at the inlet, between full load and none.

        A buck drives current backwards through the part of the winding below both taps, so that a winding beside it
        reads more under load than without.
        """
        ends = _fine(self.outcome.loaded_sensed), self.outcome.sensed or Fraction(0)
        return min(ends), max(ends)

    @property
    def ratio(self) -> Span:
        """Output per volt at the inlet: at full load, without load."""
        return _fine(self.outcome.loaded_ratio), self.outcome.ratio or Fraction(0)


def _fine(number: float) -> Fraction:
    return Fraction(number).limit_denominator(10**9)


def _rungs(frame: list[str], chance: Random) -> tuple[list[_Rung], _Rung]:
    """A ladder of falling ratios, no two too near, and the state to stand in while away."""
    stage = read("\n".join(frame))
    network = Network(stage)

    def rung(positions: Positions) -> _Rung:
        names = [relay.name for relay, at in zip(stage.relays, positions, strict=True) if at == DRIVEN]
        return _Rung(tuple(names), network.outcome(positions))

    every = [rung(positions) for positions in product((0, 1), repeat=len(stage.relays))]
    usable = [one for one in every if one.outcome.kind == "fed" and one.ratio[1] > 0 and one.sensed[1] > 0]
    chance.shuffle(usable)
    ladder: list[_Rung] = []
    for one in sorted(usable, key=lambda rung: -rung.ratio[1]):
        if not ladder or ladder[-1].ratio[1] > one.ratio[1] * Fraction(103, 100):
            ladder.append(one)
    first = chance.randint(0, max(0, len(ladder) - 2)) if chance.random() < 0.3 else 0
    ladder = ladder[first : first + 6]
    away = every[0] if chance.random() < 0.7 else chance.choice(every)
    if len(ladder) < 2 or away.outcome.kind == "shorted" or away.sensed[1] <= 0:
        raise _UnfitError
    return ladder, away


@dataclass(frozen=True, slots=True)
class _Plan:
    """A ladder with a window that it can serve. Noise is as sensed, `wanted` (hysteresis) in input volts."""

    rungs: list[_Rung]
    away: Fraction
    window: Span
    range: Span
    error: Fraction
    noise: Fraction
    wanted: Fraction
    grain: Fraction
    """The steps in which readings are written, as fine as the place sensed asks for."""

    def most(self, place: int) -> Fraction:
        """The highest upper end of a rung's hold that keeps the window."""
        rung = self.rungs[place]
        return (1 - self.error) * rung.sensed[0] * self.window[1] / rung.ratio[1] - self.noise / 2

    def least(self, place: int) -> Fraction:
        """The lowest lower end."""
        rung = self.rungs[place]
        return (1 + self.error) * rung.sensed[1] * self.window[0] / rung.ratio[0] + self.noise / 2

    def overlap(self, place: int, upper: Fraction, lower: Fraction) -> Fraction:
        """Of this rung's upper end and the next one's lower end, in input volts."""
        return upper / self.rungs[place].sensed[1] - lower / self.rungs[place + 1].sensed[0]

    def unsteady(self, place: int) -> Fraction:
        """What the noise is worth there, in input volts."""
        return self.noise / 2 * (1 / self.rungs[place].sensed[1] + 1 / self.rungs[place + 1].sensed[0])

    def spare(self, place: int) -> Fraction:
        """Input volts of overlap beyond what noise and hysteresis want."""
        widest = self.overlap(place, self.most(place), self.least(place + 1))
        return widest - max(self.wanted, self.unsteady(place))


def _plan(rungs: list[_Rung], away: Outcome, electric: _Electric, chance: Random) -> _Plan:
    """The narrowest window, more or less, in which the ladder has room; and a range that it serves."""
    error = Fraction(chance.choice((0, 0, 3, 5, 10, 15, 20)), 1000)
    noise = Fraction(chance.choice((0, 1, 2, 4, 6)), 2) * electric.nominal / 230
    middle = rungs[len(rungs) // 2].sensed[1]
    grain = Fraction(1, 100 if middle > Fraction(1, 3) else 10000)
    plan = _Plan(
        rungs=rungs,
        away=away.sensed or Fraction(0),
        window=(Fraction(electric.nominal), Fraction(electric.nominal)),
        range=(Fraction(0), Fraction(0)),
        error=error,
        noise=_down(noise * middle, grain),
        wanted=Fraction(chance.choice((0, 0, 2, 3, 4))),
        grain=grain,
    )
    for percent in range(4, 26):
        half = Fraction(percent, 100) * electric.nominal
        plan = replace(plan, window=(_down(electric.nominal - half, HALF), _up(electric.nominal + half, HALF)))
        if all(plan.spare(place) > HALF for place in range(len(rungs) - 1)):
            break
    else:
        raise _UnfitError
    low = plan.window[0] / rungs[0].ratio[0] + _some(chance, 0, 4)
    high = plan.window[1] / rungs[-1].ratio[1] - _some(chance, 0, 4)
    return replace(plan, range=(Fraction(ceil(low)), Fraction(floor(high))))


def _holds(plan: _Plan, chance: Random) -> list[Span]:
    """The inner ends, somewhere in the room; the outer ones come later."""
    lower, upper = [Fraction(0)], []
    for place in range(len(plan.rungs) - 1):
        spare = plan.spare(place) - Fraction(1, 5)  # for rounding, and because no margin is no margin
        first, second = sorted((_some(chance, 0, 1), _some(chance, 0, 1)))
        high = plan.most(place) - first * spare * plan.rungs[place].sensed[1]
        low = plan.least(place + 1) + (1 - second) * spare * plan.rungs[place + 1].sensed[0]
        upper.append(_down(high, plan.grain))
        lower.append(_up(low, plan.grain))
    return list(zip(lower, [*upper, Fraction(0)], strict=True))


@dataclass(frozen=True, slots=True)
class _Ends:
    """Where the load leaves (units of the outermost bands) and comes back (units while away)."""

    leave: Span
    back: Span


def _needed(plan: _Plan, first: Fraction, last: Fraction) -> Span:
    """The lowest and the highest reading of a promised input, by these readings a volt."""
    low = (1 - plan.error) * first * plan.range[0] - plan.noise / 2
    return low, (1 + plan.error) * last * plan.range[1] + plan.noise / 2


def _backup_ends(plan: _Plan, electric: _Electric, damage: str, chance: Random) -> _Ends:
    """Back inside every promised reading, leaving farther out by more than noise and the source's sag."""
    low, high = _needed(plan, plan.away, plan.away)
    back = [
        _down(low - _some(chance, 0, 1) * plan.away, plan.grain),
        _up(high + _some(chance, 0, 1) * plan.away, plan.grain),
    ]
    if damage == "stranded":
        back[0] = _up(back[0] + _some(chance, 1, 8) * plan.away, plan.grain)
        back[1] = _down(back[1] - _some(chance, -1, 8) * plan.away, plan.grain)
    first, last = plan.rungs[0].sensed[0], plan.rungs[-1].sensed[1]
    share = _some(chance, 0, 1) if damage == "cycling" else Fraction(1)
    extra = Fraction(0) if damage == "cycling" else _some(chance, HALF, 4)
    sag = 1 + _sag(plan, electric) if damage != "cycling" or chance.random() < 0.5 else 1
    below = (back[0] / plan.away - share * plan.noise / 2 * (1 / plan.away + 1 / first)) / sag - extra
    above = back[1] / plan.away + share * plan.noise / 2 * (1 / plan.away + 1 / last) + extra
    inner = _needed(plan, first, last)
    leave = min(_down(below * first, plan.grain), _down(inner[0], plan.grain)), _up(above * last, plan.grain)
    return _Ends((leave[0], max(leave[1], _up(inner[1], plan.grain))), (back[0], back[1]))


def _sag(plan: _Plan, electric: _Electric) -> Fraction:
    """The share by which the inlet rises when the load leaves the first rung."""
    if electric.load_va is None:
        return Fraction(0)
    return electric.source_ohm * plan.rungs[0].ratio[1] ** 2 * electric.load_va / electric.nominal**2


def _outer(plan: _Plan, holds: list[Span], ends: _Ends | None, chance: Random) -> list[Span]:
    """The outer ends: beyond every reading of a promised input, with a backup not beyond where the load leaves."""
    first, last = plan.rungs[0].sensed, plan.rungs[-1].sensed
    low, high = _needed(plan, first[0], last[1])
    outer = low - _some(chance, 0, 4) * first[0], high + _some(chance, 0, 4) * last[1]
    written = _down(outer[0], plan.grain), _up(outer[1], plan.grain)
    if ends is not None:
        written = max(written[0], ends.leave[0]), min(written[1], ends.leave[1])
    holds = [(written[0], holds[0][1]), *holds[1:]]
    return [*holds[:-1], (holds[-1][0], written[1])]


def _damaged(plan: _Plan, holds: list[Span], damage: str, chance: Random) -> list[Span]:
    """One pair of neighbours moved apart, to touch, or to overlap by less than the noise."""
    if damage and damage not in BACKUP_DAMAGES:
        place = chance.randrange(len(holds) - 1)
        wanted = {
            "dead-zone": -_some(chance, HALF, 4),
            "touching": Fraction(0),
            "thin": _some(chance, 0, 1) * plan.unsteady(place),
        }[damage]
        upper, lower = holds[place][1], holds[place + 1][0]
        less = (plan.overlap(place, upper, lower) - wanted) * plan.rungs[place].sensed[1]
        holds = [*holds]
        holds[place] = (holds[place][0], _up(upper - less, plan.grain))
    sensed = [rung.sensed[1] for rung in plan.rungs]
    middles = [(low + high) / share for (low, high), share in zip(holds, sensed, strict=True)]
    if any(low >= high for low, high in holds) or middles != sorted(set(middles)):
        raise _UnfitError
    return holds


# Text


def _mains_lines(plan: _Plan, electric: _Electric) -> Iterator[str]:
    yield from ("format = 1", 'title = "Drawn at random"', "[mains]", f"nominal_v = {electric.nominal}")
    yield from (f"range_v = {_span(plan.range)}", f"frequency_hz = {electric.frequency}")
    if electric.source_ohm:
        yield f"source_ohm = {_number(electric.source_ohm)}"
    yield from ("[output]", f"nominal_v = {electric.nominal}", f"window_v = {_span(plan.window)}")
    if electric.load_va is not None:
        yield from (f"load_va = {electric.load_va}", "power_factor = 1", 'load_model = "impedance"')


def _sensing_lines(plan: _Plan, ripple: bool, chance: Random) -> Iterator[str]:
    """The rest of the table that the frame has begun."""
    yield f"error_pct = {_number(plan.error * 100)}"
    yield f"noise_v = {_number(plan.noise)}"
    yield f"hysteresis_v = {_number(plan.wanted)}"
    if chance.random() < 0.15:
        yield 'detector = "average"'
    yield f"window_cycles = {chance.choice(('0.4', '0.8') if ripple else ('0.5', '1', '2'))}"
    match chance.choice(("none", "one", "both")):
        case "one":
            yield f"confirm_ms = {chance.randint(0, 60)}"
        case "both":
            yield f"confirm_up_ms = {chance.randint(0, 60)}"
            yield f"confirm_down_ms = {chance.randint(0, 60)}"


def _band_lines(plan: _Plan, holds: list[Span]) -> Iterator[str]:
    for number, (rung, hold) in enumerate(zip(plan.rungs, holds, strict=True)):
        yield from (
            "[[band]]",
            f'name = "b{number}"',
            f"energised = {_names(rung.energised)}",
            f"hold_v = {_span(hold)}",
        )


def _backup_lines(plan: _Plan, ends: _Ends, away: _Rung, chance: Random) -> Iterator[str]:
    if not (ends.back[0] < ends.back[1] and ends.leave[0] > 0 and plan.range[0] < plan.range[1]):
        raise _UnfitError
    yield from ("[backup]", f"leave_v = {_span(ends.leave)}", f"return_v = {_span(ends.back)}")
    yield f"energised = {_names(away.energised)}"
    if chance.random() < 0.3:
        yield f"return_after_ms = {chance.randint(0, 300)}"


def _sequence_lines(
    bands: list[tuple[str, ...]], away: tuple[str, ...], backup: bool, chance: Random
) -> Iterator[str]:
    """Sometimes an order of the relays, with pause and blanking, and orders of single moves."""
    if chance.random() < 0.65:
        return
    yield from ("[sequence]", f'order = "{chance.choice(("together", "safest"))}"')
    if chance.random() < 0.5:
        yield f"pause_ms = {chance.randint(0, 40)}"
    if chance.random() < 0.5:
        yield f"blank_ms = {chance.randint(0, 60)}"
    rows = {f"b{number}": energised for number, energised in enumerate(bands)} | {"away": away if backup else ()}
    for before, after in ((before, after) for before in rows for after in rows if before != after):
        movers = sorted(set(rows[before]) ^ set(rows[after]))
        if len(movers) > 1 and chance.random() < 0.3:
            chance.shuffle(movers)
            order = _names(tuple(movers))
            yield from ("[[sequence.move]]", f'from = "{before}"', f'to = "{after}"', f"order = {order}")


def _names(names: tuple[str, ...]) -> str:
    return "[" + ", ".join(f'"{name}"' for name in names) + "]"


def _span(span: Span) -> str:
    return f"[{_number(span[0])}, {_number(span[1])}]"


def _number(number: Fraction) -> str:
    """A decimal that the file can hold without loss."""
    text = format(Decimal(number.numerator) / Decimal(number.denominator), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _down(number: Fraction, grain: Fraction) -> Fraction:
    return floor(number / grain) * grain


def _up(number: Fraction, grain: Fraction) -> Fraction:
    return ceil(number / grain) * grain


def _some(chance: Random, low: Fraction | int, high: Fraction | int) -> Fraction:
    """A number between these, in steps of a hundredth of their distance."""
    return low + Fraction(chance.randint(0, 100), 100) * (high - low)
