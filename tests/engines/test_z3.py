"""z3, an SMT solver over exact reals, asked the coverage questions in plain logic on random tables.

What is read is stated here once more, and nothing is taken from the checks: of an input V a row reads
m = (1 + eps) q V + nu, with one error share eps between -e and e, noise nu between -n/2 and n/2 that is free at each
reading, and q between what is read at full load and without. Only the ratios come from the network, which other
engines judge. With W = (1 + eps) V everything is linear: r = q W lies between two multiples of W, and m = r + nu.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, replace
from fractions import Fraction
from pathlib import Path
from random import Random

import pytest
import z3

from tapplan.checks import coverage, held, hunting, overlaps
from tapplan.checks.finding import Finding
from tapplan.checks.review import review
from tapplan.control.table import Row, control_table
from tapplan.design.file import load, parse
from tapplan.design.model import Backup, Design, Sensing
from tapplan.errors import TableError
from tests.examples import PAIR, SHIPPED, TAPPED, design
from tests.outside.designs import random_design
from tests.outside.stage import Network, read

F = Fraction
CODES = ["dead-zone", "out-of-window", "chatter", "hunting", "stranded", "backup-cycling"]
CHECKS = coverage.dead_zone, held.out_of_window, overlaps.chatter, coverage.stranded, hunting.own_action


def real(value: Fraction) -> z3.RatNumRef:
    return z3.Q(value.numerator, value.denominator)


def satisfiable(*constraints: z3.BoolRef) -> bool:
    solver = z3.Solver()
    solver.add(*constraints)
    answer = solver.check()
    assert answer != z3.unknown
    return bool(answer == z3.sat)


def shares(made: Design, row: Row) -> tuple[Fraction, Fraction]:
    """The least and the most read of an input volt in a row, from full load to none."""
    if made.sensing.at == "input":
        return F(1), F(1)
    assert row.ratio is not None
    assert row.full is not None
    if made.sensing.at == "output":
        return min(row.full, row.ratio), max(row.full, row.ratio)
    assert row.read is not None
    return row.read.low, row.read.high


@dataclass(frozen=True)
class Seen:
    """A reading in logic: `m` of something, under `limits`."""

    m: z3.ArithRef
    limits: z3.BoolRef


class Questions:
    """The promises of a table in logic: a true input V, one error share, and readings as many as are asked for."""

    def __init__(self, made: Design) -> None:
        self.made = made
        table = control_table(made)
        self.rows, self.away = table.rows, table.away.sensed
        self.at_input = made.sensing.at == "input"
        self.half = made.sensing.noise_v / 2
        self.shares = [shares(made, row) for row in self.rows]
        self.volts, self.scaled = z3.Reals("V W")
        error, (low, high) = made.sensing.error, made.mains.range_v
        self.inside = z3.And(self.volts >= real(low), self.volts <= real(high))
        self.read = z3.And(
            self.scaled >= real(1 - error) * self.volts, self.scaled <= real(1 + error) * self.volts, self.volts > 0
        )
        self._fresh = 0

    def ends(self, place: int) -> tuple[Fraction, Fraction]:
        low, high = self.rows[place].hold.low, self.rows[place].hold.high
        backup = self.made.backup
        if backup is not None:
            low = backup.leave_v[0] if place == 0 else low
            high = backup.leave_v[1] if place == len(self.rows) - 1 else high
        return low, high

    def _new(self) -> z3.ArithRef:
        self._fresh += 1
        return z3.Real(f"x{self._fresh}")

    def _share(self, volts: z3.ArithRef, share: tuple[Fraction, Fraction]) -> Seen:
        part = self._new()
        return Seen(part, z3.And(part >= real(share[0]) * volts, part <= real(share[1]) * volts))

    def _noisy(self, share: tuple[Fraction, Fraction]) -> Seen:
        part, noise = self._share(self.scaled, share), self._new()
        return Seen(part.m + noise, z3.And(part.limits, noise >= real(-self.half), noise <= real(self.half)))

    def reading(self, place: int) -> Seen:
        """A reading taken in a row."""
        return self._noisy(self.shares[place])

    def reading_away(self) -> Seen:
        """A reading taken with no band in force."""
        assert self.away is not None
        return self._noisy((self.away, self.away))

    def below(self, m: z3.ArithRef, place: int) -> z3.BoolRef:
        return m < real(self.ends(place)[0])

    def above(self, m: z3.ArithRef, place: int) -> z3.BoolRef:
        return m > real(self.ends(place)[1])

    def holds(self, m: z3.ArithRef, place: int) -> z3.BoolRef:
        return z3.And(z3.Not(self.below(m, place)), z3.Not(self.above(m, place)))

    def unheld(self) -> list[z3.BoolRef]:
        """That some reading of V is held by no band.

        Read at the input, that is one reading outside every hold. Elsewhere each row has readings of its own, so they
        are compared by way of what they stand for: some input volts, read without error or noise, lie beyond every
        hold, and V can be read as beyond those of the two rows next to these volts, in each by its own reading.
        """
        if self.at_input:
            seen = self._noisy((F(1), F(1)))
            return [seen.limits, *(z3.Not(self.holds(seen.m, place)) for place in range(len(self.rows)))]
        stands = self._new()
        plain = [self._share(stands, share) for share in self.shares]
        found = [stands >= 0, *(one.limits for one in plain)]
        for place, volts in enumerate(plain):
            seen = self.reading(place)
            nearer_below = [self.below(plain[one].m, one) for one in self._nearer(place, upper=False)]
            nearer_above = [self.above(plain[one].m, one) for one in self._nearer(place, upper=True)]
            beyond = z3.Or(
                z3.And(self.below(volts.m, place), z3.Or(self.below(seen.m, place), *nearer_below)),
                z3.And(self.above(volts.m, place), z3.Or(self.above(seen.m, place), *nearer_above)),
            )
            found += [seen.limits, beyond]
        return found

    def _nearer(self, place: int, *, upper: bool) -> list[int]:
        """The rows whose hold ends at higher input (upper) or begins at lower than that of a row."""
        ends = [
            (F(self.ends(one)[0]) / low, F(self.ends(one)[1]) / high) for one, (low, high) in enumerate(self.shares)
        ]
        own = ends[place]
        return [one for one, (low, high) in enumerate(ends) if (high > own[1] if upper else low < own[0])]

    def dead_zone(self, *more: z3.BoolRef) -> bool:
        return satisfiable(self.inside, self.read, *self.unheld(), *more)

    def out_of_window(self, place: int, *more: z3.BoolRef, above: bool, least: Fraction | None = None) -> bool:
        """Whether a band holds an input of the range that puts the output outside; `least` by more than so far."""
        row = self.rows[place]
        assert row.ratio is not None
        assert row.full is not None
        low, high = self.made.output.window_v
        if above:
            breach = self.volts * real(row.ratio) > real(high if least is None else least)
        else:
            breach = self.volts * real(row.full) < real(low if least is None else least)
        seen = self.reading(place)
        return satisfiable(self.inside, self.read, seen.limits, self.holds(seen.m, place), breach, *more)

    def apart(self, place: int) -> bool:
        """Whether some input, read without error or noise, lies above one band and below the next one."""
        stands = self._new()
        low, high = self._share(stands, self.shares[place]), self._share(stands, self.shares[place + 1])
        beyond = self.above(low.m, place), self.below(high.m, place + 1)
        return satisfiable(stands >= 0, low.limits, high.limits, *beyond)

    def chatter(self, place: int) -> bool:
        """Whether two neighbours follow one another at one steady input and with one error share.

        One reading leads up and another down; no margin is no margin, so an end that is just met counts as passed.
        """
        up, down = self.reading(place), self.reading(place + 1)
        leads = [up.m >= real(self.ends(place)[1]), down.m <= real(self.ends(place + 1)[0])]
        if self.at_input:  # only to a band that holds the reading
            leads += [self.holds(up.m, place + 1), self.holds(down.m, place)]
        return satisfiable(self.read, up.limits, down.limits, *leads) and not self.apart(place)

    def hunting(self, place: int) -> bool:
        """Whether two neighbours follow one another at one steady input with no noise and no load at all."""
        quiet = [self.scaled * real(self.rows[at].sensed or F(0)) for at in (place, place + 1)]
        leads = [self.above(quiet[0], place), self.below(quiet[1], place + 1)]
        if self.at_input:
            leads += [self.holds(quiet[0], place + 1), self.holds(quiet[1], place)]
        return satisfiable(self.read, *leads)

    def stranded(self, *, high: bool) -> bool:
        """Whether at some promised input a reading taken while away lies outside `return_v`, on this side."""
        assert self.made.backup is not None
        seen, (least, most) = self.reading_away(), self.made.backup.return_v
        return satisfiable(self.inside, self.read, seen.limits, seen.m > real(most) if high else seen.m < real(least))

    def cycling(self, *, high: bool) -> bool:
        """Whether an outermost band is left, and at the same input the load is let back; ends just met count."""
        assert self.made.backup is not None
        place = len(self.rows) - 1 if high else 0
        left, back = self.reading(place), self.reading_away()
        leave, (least, most) = self.made.backup.leave_v, self.made.backup.return_v
        leaves = left.m >= real(leave[1]) if high else left.m <= real(leave[0])
        returns = [back.m >= real(least), back.m <= real(most)]
        return satisfiable(self.read, left.limits, back.limits, leaves, *returns)


READING = ("reading", "R1", "R2", 20)
STATES = {
    "b2": (("KO",), F(258, 200), F(20, 200)),
    "b1": ((), F(227, 200), F(20, 200)),
    "d": (("KL", "KO"), F(1), F(20, 258)),
    "k": (("KL",), F(227, 258), F(20, 258)),
}  # what is driven, the ratio, and what the winding beside it reads


def random_table(chance: Random) -> Design:
    """The sound pair of relays, its thresholds moved about, read in any of three places."""
    at = chance.choice(("input", "input", "output", "winding"))
    share = {
        name: {"input": F(1), "output": ratio, "winding": beside}[at] for name, (_, ratio, beside) in STATES.items()
    }
    grain = F(1, 1000) if at == "winding" else F(1, 10)

    def told(volts: Fraction, name: str, *, up: bool) -> Fraction:
        steps = volts * share[name] / grain
        return (-(-steps // 1) if up else steps // 1) * grain

    edges = sorted(chance.sample(range(158, 285), 4))
    low, inputs = F(edges[0]), []
    for place in range(4):
        high = max(F(edges[place] + chance.randint(18, 34)), low + 5)
        inputs.append((low, high))
        low = high - chance.choice((-2, 0, 1, 2, 3, 5))
    bands = [
        (name, driven, told(low, name, up=True), told(high, name, up=False))
        for (name, (driven, *_)), (low, high) in zip(STATES.items(), inputs, strict=True)
    ]
    unit = max(share.values()) if at != "input" else F(1)
    noise = {"winding": chance.choice((F(0), F(1, 20), F(1, 5)))}.get(at, F(chance.choice((0, 1, 3))) * unit)
    place_read = {"winding": ("R2", "R1")}.get(at, at)
    sensing = Sensing(at=place_read, error_pct=F(chance.choice((0, 1, 2)), 2), noise_v=noise)
    backup = None
    if chance.random() < 0.5:
        away = chance.choice(list(STATES))
        ends = inputs[0][0] - chance.randint(0, 3), inputs[-1][1] + chance.randint(0, 3)
        back = ends[0] + chance.randint(0, 6), ends[1] - chance.randint(0, 6)
        backup = Backup(
            leave_v=(told(ends[0], "b2", up=False), told(ends[1], "k", up=True)),
            return_v=(told(back[0], away, up=True), told(back[1], away, up=False)),
            energised=STATES[away][0],
        )
    start = edges[0] + chance.randint(-6, 20)
    window = (230, *chance.choice(((207, 253), (207, 253), (180, 300))))
    made = design((*TAPPED, READING), PAIR, mains=(230, start, start + chance.randint(20, 110)), window=window,
                  bands=bands, sensing=sensing, backup=backup, load_va=700)  # fmt: skip
    if chance.random() < 0.4:
        ohms = [F(chance.randint(1, 9), 5) for _ in made.windings]
        wound = zip(made.windings, ohms, strict=True)
        made = replace(made, windings=tuple(replace(w, resistance_ohm=ohm) for w, ohm in wound))
    return made


def findings(made: Design) -> list[Finding]:
    """What the checks find of all that is asked here; advice, which tries changed designs, is left out."""
    reviewed = review(made)
    return [one for check in CHECKS for one in check(reviewed)]


def named(found: list[Finding], code: str, where: str) -> list[Finding]:
    return [one for one in found if one.code == code and one.where == where]


def agree(made: Design) -> Counter[str]:
    """Holds the findings against the solver; returns how many of each question were answered yes."""
    asked, found = Questions(made), findings(made)
    yes: Counter[str] = Counter()
    yes["dead-zone"] += agree_on_dead_zones(asked, found)
    for place, row in enumerate(asked.rows):
        yes["out-of-window"] += agree_on_the_window(asked, place, named(found, "out-of-window", f'band "{row.name}"'))
        if place + 1 < len(asked.rows):
            pair = row.name, asked.rows[place + 1].name
            chatters = bool(named(found, "chatter", f'bands "{pair[0]}" and "{pair[1]}"'))
            assert asked.chatter(place) == chatters, pair
            hunts = any(one.code == "hunting" and {*pair} <= {*one.witness.bands} for one in found)
            assert asked.hunting(place) == hunts, pair
            yes.update({"chatter": chatters, "hunting": hunts})
    if made.backup is not None:
        for side, high in (("low", False), ("high", True)):
            strands = bool(named(found, "stranded", f"backup.return_v, {side} side"))
            assert asked.stranded(high=high) == strands, side
            band = asked.rows[-1 if high else 0].name
            cycles = bool(named(found, "backup-cycling", f'band "{band}" and backup'))
            assert asked.cycling(high=high) == cycles, side
            yes.update({"stranded": strands, "backup-cycling": cycles})
    else:
        assert not [one for one in found if one.code in ("stranded", "backup-cycling")]
    return yes


def agree_on_dead_zones(asked: Questions, found: list[Finding]) -> bool:
    """The inputs named are dead in the middle and near both ends, and no others are."""
    zones = [one.witness for one in found if one.code == "dead-zone"]
    assert asked.dead_zone() == bool(zones)
    outside = [z3.Or(asked.volts < real(zone.from_v), asked.volts > real(zone.to_v)) for zone in zones]
    assert not asked.dead_zone(*outside)
    for zone in zones:
        low, high, least = zone.from_v, zone.to_v, (zone.to_v - zone.from_v) / 10**6
        for volts in (low + least, (low + high) / 2, high - least, zone.input_v):
            assert asked.dead_zone(asked.volts == real(volts)), float(volts)
    return bool(zones)


def agree_on_the_window(asked: Questions, place: int, found: list[Finding]) -> int:
    """Each side of the window that is left, and by how much at the worst."""
    window, sides = asked.made.output.window_v, {True: [], False: []}
    for one in found:
        assert one.witness.output_v is not None
        sides[one.witness.output_v > window[1]].append(one.witness)
    for above, told in sides.items():
        assert asked.out_of_window(place, above=above) == bool(told), (asked.rows[place].name, above)
        for one in told:
            assert not asked.out_of_window(place, above=above, least=one.output_v)
            assert asked.out_of_window(place, asked.volts == real(one.input_v), above=above)
    return len(found)


def test_random_tables() -> None:
    chance, made = Random(4), 0
    yes: dict[bool, Counter[str]] = {True: Counter(), False: Counter()}
    asked: Counter[bool] = Counter()
    while made < 300:
        drawn = random_table(chance)
        try:
            control_table(drawn)
        except TableError:  # return_v not inside leave_v
            continue
        made += 1
        answers = agree(drawn)
        at_input = drawn.sensing.at == "input"
        yes[at_input].update({code: count > 0 for code, count in answers.items()})
        asked[at_input] += 1
    both = yes[True] + yes[False]
    for code in CODES:
        assert 20 <= both[code] <= 280, f"{code} is too one-sided to prove anything: {both[code]} of 300"
        if code != "hunting":
            assert min(yes[True][code], yes[False][code]) >= 8, (code, yes)
    assert yes[True]["hunting"] == 0  # at the input both neighbours read the same
    assert min(asked.values()) >= 100


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_shipped_designs(file: Path) -> None:
    agree(load(file))


def test_what_is_read_under_load_as_nodal_analysis_has_it() -> None:
    """What the questions take from the core, full-load ratios and readings, against a solver of their own."""
    chance, seen = Random(5), Counter[str]()
    while sum(seen.values()) < 60:
        drawn = random_design(chance, 0.0)
        if drawn.ripple or "resistance_ohm" not in drawn.text:
            continue
        made, network = parse(drawn.text), Network(read(drawn.text))
        table = control_table(made)
        for row in table.rows:
            alone = network.settled(row.name)
            assert row.ratio == alone.ratio
            assert row.sensed == alone.sensed
            assert float(row.full) == pytest.approx(alone.loaded_ratio, rel=1e-6)
            ends = sorted((float(alone.sensed), alone.loaded_sensed if drawn.sensed != "input" else 1.0))
            assert [float(one) for one in shares(made, row)] == pytest.approx(ends, rel=1e-6)
            seen[drawn.sensed] += abs(ends[1] - ends[0]) > 1e-4
        assert table.away.sensed == network.settled("away").sensed
    assert min(seen["output"], seen["winding"]) > 10


def test_uncovered_range_of_random_turns() -> None:
    """Is there an input of the range that no usable ratio brings into the window, loaded or not?"""
    chance = Random(7)
    yes = 0
    for _ in range(200):
        turns = [200, chance.randint(10, 70), chance.randint(10, 70)]
        sections = [("a", "N", "A", turns[0]), ("b", "A", "B", turns[1]), ("c", "B", "C", turns[2])]
        low = chance.randint(140, 210)
        made = design(sections, PAIR, mains=(230, low, low + chance.randint(20, 140)))
        points = [turns[0], turns[0] + turns[1], sum(turns)]
        volts = z3.Real("V")
        served = [
            z3.And(volts * out >= 207 * line, volts * out <= 253 * line)
            for line in (points[0], points[2])
            for out in (points[1], points[2])
        ]
        expected = satisfiable(
            volts >= low, volts <= real(made.mains.range_v[1]), *[z3.Not(serving) for serving in served]
        )
        found = any(coverage.uncovered_range(review(made)))
        assert found == expected
        yes += found
    assert 40 <= yes <= 180
