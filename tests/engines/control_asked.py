"""Questions about control tables put to z3 and CP-SAT, on designs drawn at random, some of them spoilt on purpose.

What the promises mean is written in logic in `test_z3` and `test_z3_courses`; here stand the decision itself, what
follows at a steady source behind an impedance, and the safest order of relays as a problem of whole numbers.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from itertools import product
from random import Random

import z3
from ortools.sat.python import cp_model

from tapplan.control.automaton import automaton
from tapplan.control.decisions import decisions
from tapplan.control.moves import Mixtures, Move, safest_order
from tapplan.control.source import source_of
from tapplan.control.standing import InRow, Standing
from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import parse
from tapplan.errors import DesignError, TableError
from tapplan.network.circuit import circuit_of
from tests.engines import test_z3, test_z3_courses
from tests.engines.tallied import Tally
from tests.engines.test_z3 import real, satisfiable
from tests.outside.designs import random_design
from tests.outside.rule import Table, table_of
from tests.outside.stage import DRIVEN, OPEN, REST, Network, read, unfed
from tests.outside.wirings import random_wiring

Z3, CP_SAT = "z3", "CP-SAT"
F = Fraction
MODELS = ("impedance", "current")


def drawn_table(chance: Random, *, source: bool) -> str:
    """A design without ripple, many of them spoilt or thresholds moved, behind a source impedance or a stiff one.

    Another load model now and then: the engine's inlet must stay a linear one, so none of constant power.
    """
    while True:
        drawn = random_design(chance, 0.6)
        behind = "source_ohm" in drawn.text
        if drawn.ripple or (source and not behind):
            continue
        lines = [line for line in drawn.text.splitlines() if source or not line.startswith("source_ohm")]
        if source and chance.random() < 0.5:
            at = next(number for number, line in enumerate(lines) if line.startswith("source_ohm"))
            lines[at] = f"source_ohm = {chance.randint(1, 40)}"
        model = chance.choice(MODELS)
        lines = [f'load_model = "{model}"' if line.startswith("load_model") else line for line in lines]
        for _ in range(chance.choice((0, 0, 1, 1, 2))):
            lines = _moved(lines, chance)
        return "\n".join(lines) + "\n"


def _moved(lines: list[str], chance: Random) -> list[str]:
    """One end of one hold, or of the backup's return, a few volts elsewhere."""
    places = [number for number, line in enumerate(lines) if line.startswith(("hold_v", "return_v"))]
    at = chance.choice(places)
    key, low, high = lines[at].replace("[", "").replace("]", "").replace("=", "").replace(",", "").split()
    ends = [F(low), F(high)]
    end = chance.randrange(2)
    ends[end] += F(chance.randint(-100, 100), 1000) * ends[end]
    low, high = (f"{float(one):.4f}" for one in ends)
    return [*lines[:at], f"{key} = [{low}, {high}]", *lines[at + 1 :]]


def table_made(text: str) -> ControlTable | None:
    """The table of a design, or None where the file is refused."""
    try:
        return control_table(parse(text))
    except (DesignError, TableError):
        return None


def compare_tables(seeds: range, tally: Tally) -> None:
    """Coverage, window, chatter, hunting, stranding and cycling at a stiff source, and courses."""
    for seed in seeds:
        text = drawn_table(Random(seed), source=False)
        table = table_made(text)
        if table is None:
            tally.of("tables", Z3).outcomes["refused by the reader"] += 1
            continue
        rows = len(table.rows)
        tally.of("tables", Z3).same(
            1, 1, str(seed), f"{table.design.sensing.at if isinstance(table.design.sensing.at, str) else 'pair'} read"
        )
        backup = table.design.backup is not None
        asked = {"dead-zone": 1, "out-of-window": 2 * rows, "chatter": rows - 1, "hunting": rows - 1,
                 "stranded": 2 * backup, "backup-cycling": 2 * backup}  # fmt: skip
        found = _agreed(tally, "tables", seed, lambda made=table: test_z3.agree(made.design))
        if found is not None:
            for code, count in asked.items():
                row = tally.of(code, Z3)
                row.count += count
                row.outcomes.update({"yes": found[code], "no": count - found[code]})


def compare_courses(seeds: range, tally: Tally) -> None:
    """Whether a band can come into force with the output outside the window, by any course."""
    for seed in seeds:
        table = table_made(drawn_table(Random(seed), source=False))
        if table is None or len(table.rows) > 5:
            continue
        found = _agreed(tally, "courses into a band", seed, lambda made=table: test_z3_courses.agree(made.design))
        if found is not None:
            row = tally.of("courses into a band", Z3)
            row.count += sum(found.values())
            row.outcomes.update(found)


def _agreed(tally: Tally, question: str, seed: int, ask: Callable[[], Counter[str]]) -> Counter[str] | None:
    """What was found, or None where the two do not agree."""
    try:
        return ask()
    except AssertionError as error:
        tally.of(question, Z3).disagreements.append(f"seed {seed}: {error!r}"[:300])
        return None


# The decision


def compare_decisions(seeds: range, tally: Tally) -> None:
    """Whether any reading at all is decided otherwise by the compiled controller than by the rule in logic."""
    row = tally.of("a reading decided otherwise", Z3)
    for seed in seeds:
        text = drawn_table(Random(seed), source=False)
        table = table_made(text)
        if table is None:
            continue
        made, rule = decisions(table), table_of(read(text))
        names = [one.name for one in rule.rows]
        assert names == [one.name for one in table.rows]
        reading = z3.Real("m")
        for node in made.nodes:
            here = node.standing.number if isinstance(node.standing, InRow) else len(names)
            compiled = _number(node.answers[-1], names)
            for cut, answer in zip(reversed(node.cuts), reversed(node.answers[:-1]), strict=True):
                before = reading <= real(cut.mark) if cut.above else reading < real(cut.mark)
                compiled = z3.If(before, _number(answer, names), compiled)
            differs = satisfiable(reading >= 0, compiled != ruled(rule, here, reading))
            row.same(
                differs, False, f"seed {seed} row {here}", "none, " + ("away" if here == len(names) else "in a row")
            )


def _number(standing: Standing, names: list[str]) -> z3.ArithRef:
    return z3.IntVal(standing.number if isinstance(standing, InRow) else len(names))


def ruled(rule: Table, here: int, reading: z3.ArithRef) -> z3.ArithRef:
    """The number of the row that follows, as the format's text has it; the number of rows stands for being away."""
    count = len(rule.rows)
    held = [z3.And(reading >= real(low), reading <= real(high)) for low, high in rule.holds]
    if here == count:
        return _back(rule, reading)
    low, high = rule.holds[here]
    ways = {1: range(here + 1, count), -1: range(here - 1, -1, -1)}
    led = {}
    for way, onward in ways.items():
        if rule.at_input:
            answer: z3.ArithRef = z3.IntVal(count)
            for other in reversed(onward):
                answer = z3.If(held[other], z3.IntVal(other), answer)
        else:
            answer = z3.IntVal(onward[0] if len(onward) else count)
        led[way] = answer
    return z3.If(reading > real(high), led[1], z3.If(reading < real(low), led[-1], z3.IntVal(here)))


def _back(rule: Table, reading: z3.ArithRef) -> z3.ArithRef:
    """From away: inside `return_v`, of the rows that would hold the input read, the one nearest nominal."""
    count, away = len(rule.rows), F(rule.away_sensed)
    shares = [F(one.sensed) / away for one in rule.rows]
    held = [
        z3.And(reading * real(share) >= real(low), reading * real(share) <= real(high))
        for share, (low, high) in zip(shares, rule.holds, strict=True)
    ]
    offs = [reading * real(F(one.ratio) / away) - real(F(rule.nominal)) for one in rule.rows]
    far = [z3.If(one >= 0, one, -one) for one in offs]
    answer: z3.ArithRef = z3.IntVal(count)
    for row in range(count):
        better = []
        for other in range(count):
            if other != row:
                first = (F(rule.rows[other].ratio), other) < (F(rule.rows[row].ratio), row)
                better.append(z3.And(held[other], far[other] <= far[row] if first else far[other] < far[row]))
        answer = z3.If(z3.And(held[row], z3.Not(z3.Or(*better))), z3.IntVal(row), answer)
    if rule.back is None:
        return answer
    inside = z3.And(reading >= real(F(rule.back[0])), reading <= real(F(rule.back[1])))
    return z3.If(inside, answer, z3.IntVal(count))


# At a steady source behind an impedance


class Steady:
    """A round of decisions at one EMF, in logic: each row's inlet sags by its load, each reading has its noise."""

    def __init__(self, table: ControlTable, rule: Table, *, noisy: bool) -> None:
        self.table, self.rule, self.noisy = table, rule, noisy
        self.count = len(rule.rows)
        self.emf = z3.Real("E")
        self.at = [z3.Int(f"at{step}") for step in range(self.count + 2)]
        round_again = z3.Or(*(self.at[0] == one for one in self.at[2:]))
        self.limits = [self.emf > 0, round_again, self.at[1] != self.at[0]]
        for place, (before, after) in enumerate(zip(self.at, self.at[1:], strict=False)):
            reading = z3.Real(f"m{place}")
            cases = [
                z3.And(
                    before == here,
                    *self.read(here, reading, z3.Real(f"V{place}")),
                    after == ruled(rule, here, reading),
                )
                for here in range(self.count + 1)
            ]
            self.limits.append(z3.Or(*cases))

    def read(self, here: int, reading: z3.ArithRef, inlet: z3.ArithRef) -> list[z3.BoolRef]:
        """What is read in a row at this EMF."""
        design = self.table.design
        va, ohm, nominal = design.output.load_va or F(0), design.mains.source_ohm, design.output.nominal_v
        row = self.table.rows[here] if here < self.count else self.table.away
        least = most = F(row.sensed or 0)
        half = F(0)
        if self.noisy and row.read is not None:
            least, most, half = row.read.low, row.read.high, design.sensing.noise_v / 2
        noise = [reading >= real(least) * inlet - real(half), reading <= real(most) * inlet + real(half)]
        if here == self.count:
            return [inlet == self.emf, *noise]
        ratio = F(self.rule.rows[here].ratio)
        if design.output.load_model == "impedance":
            return [inlet * real(1 + ohm * ratio**2 * va / nominal**2) == self.emf, *noise]
        left = self.emf - real(ohm * ratio * va / nominal)
        return [inlet == z3.If(left > 0, left, 0), *noise]

    def possible(self, *more: z3.BoolRef) -> bool:
        """Whether there is a round that is no standing still."""
        return satisfiable(*self.limits, *more)


def compare_steady(seeds: range, tally: Tally) -> None:
    """Rows that follow one another at one steady source: whether there are any, and between which EMFs."""
    for seed in seeds:
        text = drawn_table(Random(seed), source=True)
        table = table_made(text)
        if table is None or len(table.rows) > 5:
            continue
        made, rule = decisions(table), table_of(read(text))
        for noisy in (False, True):
            asked = Steady(table, rule, noisy=noisy)
            found = automaton(made, noisy=noisy, source=source_of(table.design)).cycles()
            case = f"seed {seed} {'noisy' if noisy else 'quiet'}"
            row = tally.of("a round at a steady source, " + ("noisy" if noisy else "quiet"), Z3)
            row.same(bool(found), asked.possible(), case, None)
            outside = [z3.Or(asked.emf < real(one.emf.low), asked.emf > real(one.emf.high)) for one in found]
            if found:
                row.same(asked.possible(*outside), False, f"{case}, at other EMFs", "none elsewhere")
            for one in found:
                middle = (one.emf.low + one.emf.high) / 2
                there = one.emf.low == one.emf.high or asked.possible(asked.emf == real(middle))
                row.same(True, there, f"{case}, at {float(middle)}", "there in the middle")


# The safest order of relays


def compare_orders(seeds: range, tally: Tally) -> None:
    """The order of the relays of a random move, as a problem of whole numbers over a table of what is met."""
    row = tally.of("safest order of relays", CP_SAT)
    for seed in seeds:
        chance = Random(seed)
        text = random_wiring(chance)
        try:
            circuit = circuit_of(parse(text))
        except DesignError:
            continue
        stage = replace(read(text), load_ohm=None)
        relays = circuit.relays
        if len(relays) < 3:
            continue
        old = frozenset(one for one in relays if chance.random() < 0.5)
        still = frozenset(one for one in relays if chance.random() < 0.2)
        movers = tuple(one for one in relays if one not in still)[:5]
        if len(movers) < 2:
            continue
        new = old ^ frozenset(movers)
        move = Move("drawn", InRow(0), InRow(1), old, new, movers, None)
        ours = safest_order(Mixtures(circuit), move)
        theirs, worst = best_order(Network(stage), old, movers)
        row.same(ours.relays, theirs, f"seed {seed} {sorted(old)} to {sorted(new)}", worst)


def best_order(network: Network, old: frozenset[str], movers: tuple[str, ...]) -> tuple[tuple[str, ...], str]:
    """The order with fewest shorts, then least above both ends, then least below, then by the file; what it meets."""
    stage = network.stage
    count = len(movers)

    def met(moved: int, flying: int | None) -> tuple[str, Fraction | None]:
        positions = []
        for relay in stage.relays:
            driven = relay.name in old
            if relay.name in movers:
                number = movers.index(relay.name)
                driven ^= bool(moved >> number & 1)
                if number == flying:
                    positions.append(OPEN)
                    continue
            positions.append(DRIVEN if driven else REST)
        found = network.outcome(tuple(positions))
        bypassed = found.kind == "unfed" and _straight(network, tuple(positions))
        if found.kind == "dead" and unfed(stage, tuple(positions)):
            return "unfed", None  # an output at neutral beside a line that feeds nothing
        return found.kind, F(1) if bypassed else found.ratio if found.kind in ("fed", "dead") else None

    last = (1 << count) - 1
    ends = [ratio for moved in (0, last) if (ratio := met(moved, None)[1]) is not None]
    shorts, above, below = {}, {}, {}
    for moved, number in product(range(last), range(count)):
        if moved >> number & 1:
            continue
        after = moved | 1 << number
        seen = [met(moved, number), *([met(after, None)] if after != last else [])]
        ratios = [ratio for _, ratio in seen if ratio is not None] if ends else []
        shorts[moved, number] = F(any(kind == "shorted" for kind, _ in seen))
        above[moved, number] = max([F(0), *(ratio - max(ends) for ratio in ratios)])
        below[moved, number] = max([F(0), *(min(ends) - ratio for ratio in ratios)])
    return _solved(movers, [shorts, above, below])


def _straight(network: Network, positions: tuple[int, ...]) -> bool:
    """Whether contacts alone join line and output."""
    stage, joined = network.stage, {network.stage.line}
    ties = [
        (pole.com, throw)
        for relay, position in zip(stage.relays, positions, strict=True)
        for pole in relay.poles
        if (throw := {REST: pole.nc, DRIVEN: pole.no, OPEN: None}[position]) is not None
    ]
    for _ in ties:
        joined |= {end for tie in ties if joined & {*tie} for end in tie}
    return stage.output in joined


def _solved(movers: tuple[str, ...], measures: list[dict[tuple[int, int], Fraction]]) -> tuple[tuple[str, ...], str]:
    count = len(movers)
    model = cp_model.CpModel()
    order = [model.new_int_var(0, count - 1, f"at{step}") for step in range(count)]
    model.add_all_different(order)
    moved: list[cp_model.LinearExpr | int] = [0]
    for step, one in enumerate(order):
        bit = model.new_int_var(1, 1 << count, f"bit{step}")
        model.add_element(one, [1 << number for number in range(count)], bit)
        moved.append(moved[-1] + bit)
    solver, worst = cp_model.CpSolver(), []
    solver.parameters.num_workers = 1
    for number, measure in enumerate(measures):
        levels = sorted({F(0), *measure.values()})
        ranks = [levels.index(measure.get(divmod(at, count), F(0))) for at in range(count << count)]
        most = model.new_int_var(0, len(levels), f"worst{number}")
        for step, one in enumerate(order):
            rank = model.new_int_var(0, len(levels), f"rank{number} {step}")
            model.add_element(moved[step] * count + one, ranks, rank)
            model.add(most >= rank)
        model.minimize(most)
        assert solver.solve(model) == cp_model.OPTIMAL
        model.add(most == round(solver.objective_value))
        worst.append(levels[round(solver.objective_value)])
    model.minimize(sum(one * count ** (count - 1 - step) for step, one in enumerate(order)))
    assert solver.solve(model) == cp_model.OPTIMAL
    what = "shorts" if worst[0] else "rises" if worst[1] else "dips" if worst[2] else "between its ends"
    return tuple(movers[solver.value(one)] for one in order), f"{count} relays, {what}"
