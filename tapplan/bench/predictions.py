"""What each hypothesis predicts for each measurement, through the same network and the same controller as ever.

What a hypothesis does not fix is `ANY`, as on a shorted winding or behind a winding that is not excited.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tapplan.bench.defects import Defect, Hypothesis, driven
from tapplan.bench.faulty import FaultyStage, FaultyStages, edits
from tapplan.bench.fed import FedCircuit
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.resistances import between_ohm
from tapplan.bench.values import ANY, EITHER, MOST, NEVER, NO, OPEN, YES, Prediction, either, exactly
from tapplan.control.away import Away
from tapplan.control.decisions import decisions
from tapplan.control.lookup import SlowCourses, inputs_of_interest
from tapplan.control.serving import reading_ratio
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import ControlTable, Row
from tapplan.exact import Span
from tapplan.network.circuit import Across, Circuit
from tapplan.network.states import State
from tapplan.network.turns import Potentials, outcome

WORN: dict[str, str] = {"nc-worn": "nc-open", "no-worn": "no-open"}

# Ohms of a closed contact with its leads, and of windings and coils of which nothing is known; common practice.
CLOSED_OHM = Fraction(1, 2)
WINDING_OHM = Fraction(1000)
COIL_OHM = Span(Fraction(3), Fraction(50_000))
SHORTED_COIL_OHM = Fraction(5)
OPEN_COIL_OHM = Fraction(20_000)
WORN_OHM = Fraction(3, 2)  # a contact that closes badly, from here to open
CLOSED: Prediction = (Span(Fraction(0), CLOSED_OHM),)
SPREAD = Fraction(1, 5)  # of a resistance: temperature, wire and alloy


class Bench:
    """Predictions for one design; what many hypotheses share is worked out once."""

    def __init__(self, table: ControlTable) -> None:
        self.table = table
        self.circuit = table.circuit
        self._stages = FaultyStages(table.circuit)
        self._tables: dict[tuple[object, ...], ControlTable] = {}
        self._lines: dict[tuple[object, ...], SlowCourses] = {}
        self._rows: dict[tuple[object, ...], tuple[Standing, ...]] = {}
        self._of_circuit: dict[tuple[object, ...], Prediction] = {}

    def predicted(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """The values the measurement can show if the hypothesis is true, before any error of the meter."""
        worn = next((defect for defect in hypothesis if defect.fault in WORN), None)
        if worn is not None:
            return self._by_worn(hypothesis, worn, measure)
        match measure.what:
            case "coil-ohms":
                return self._coil_ohm(hypothesis, measure.at[0])
            case "click":
                return _click(hypothesis, measure)
            case "switch":
                return self._switch(hypothesis, measure)
            case "drive":
                coils = either(_yes(measure.at[0] in one) for one in self._drives(hypothesis, measure.condition))
                return EITHER if _has(hypothesis, "coil-shorted", measure.at[0]) else coils
        coils_sets = self._drives(hypothesis, measure.condition)
        found = [self._in_circuit(hypothesis, measure, coils) for coils in coils_sets]
        if measure.what == "volts" and self._may_be_away(hypothesis, measure.condition):
            found.append(NO)
        return either(found)

    def coils(self, hypothesis: Hypothesis, condition: Condition) -> set[frozenset[str]]:
        """The sets of coils that may have their voltage under a condition."""
        return self._drives(hypothesis, condition)

    def _by_worn(self, hypothesis: Hypothesis, worn: Defect, measure: Measure) -> Prediction:
        """A contact that closes badly: what it shows good or open where that is the same, else anything between."""
        others = tuple(defect for defect in hypothesis if defect is not worn)
        opened = replace(worn, fault=WORN[worn.fault])
        good, bad = self.predicted(others, measure), self.predicted((*others, opened), measure)
        if good == bad:
            return good
        if measure.what != "ohms":
            return ANY if measure.unit else either((good, bad))
        return (Span(WORN_OHM, MOST),) if good == CLOSED else ANY

    def middles(self) -> list[Fraction]:
        """An input in the middle of each band that has one."""
        holds = (row.input_hold for row in self.table.rows)
        return [(hold.low + hold.high) / 2 for hold in holds if hold is not None]

    def highest(self, hypothesis: Hypothesis, condition: Condition, coils: frozenset[str]) -> Fraction:
        """The most volts between any two points with these coils driven, as fed; no more than fed where shorted."""
        stage = self._stages.of(hypothesis, coils)
        volts = condition.volts or Fraction(0)
        fed = FedCircuit(
            stage.circuit, self._stages.potentials(hypothesis, stage), self._fed(stage.circuit, condition), volts
        )
        return volts if fed.shorted else max(volts, fed.highest())

    def _drives(self, hypothesis: Hypothesis, condition: Condition) -> set[frozenset[str]]:
        if condition.coils is not None:
            return {condition.coils}
        commands = (self._energised(standing) for standing in self._in_force(hypothesis, condition))
        return {driven(hypothesis, one) for group in commands for one in group}

    def _energised(self, standing: Standing) -> list[frozenset[str]]:
        """What is commanded in a row; outside all bands the backup's state, or without one anything the table has."""
        if isinstance(standing, InRow):
            return [frozenset(self.table.rows[standing.number].energised)]
        backup = self.table.design.backup
        if backup is not None:
            return [frozenset(backup.energised)]
        return [frozenset(), *(frozenset(row.energised) for row in self.table.rows)]

    def _may_be_away(self, hypothesis: Hypothesis, condition: Condition) -> bool:
        return condition.power == "line" and condition.coils is None and AWAY in self._in_force(hypothesis, condition)

    def _in_force(self, hypothesis: Hypothesis, condition: Condition) -> tuple[Standing, ...]:
        """The rows that may be in force on the line, `AWAY` among them where none may be."""
        frozen = next((defect.row for defect in hypothesis if defect.row is not None), None)
        if frozen is not None:
            return (InRow(frozen),)
        scale = next((defect.scale for defect in hypothesis if defect.scale is not None), None)
        sensed = () if self.table.design.sensing.at == "input" else hypothesis
        key = (sensed, scale, condition.volts, condition.course)
        if key not in self._rows:
            self._rows[key] = self._looked_up(sensed, scale, condition)
        return self._rows[key]

    def _looked_up(self, hypothesis: Hypothesis, scale: Span | None, condition: Condition) -> tuple[Standing, ...]:
        table = self._faulty_table(hypothesis)
        volts = condition.volts or Fraction(0)
        every: tuple[Standing, ...] = (*(InRow(number) for number in range(len(table.rows))), AWAY)
        if any(row.sensed is None for row in table.rows):
            return every  # what is read then is anybody's guess
        sensing = table.design.sensing
        noise = max((sensing.noise_v / row.sensed for row in table.rows if row.sensed), default=Fraction(0)) / 2
        low = volts * (1 - sensing.error) * (scale.low if scale else 1) - noise
        high = volts * (1 + sensing.error) * (scale.high if scale else 1) + noise
        line = self._line(hypothesis)
        inside = [one for one in inputs_of_interest(line.made) if low < one < high]
        found = [
            line.at(read, condition.course or "rising")
            for read in (max(low, Fraction(0)), *inside, max(high, Fraction(0)))
        ]
        if any(one.hunting for one in found):
            return every
        return tuple(one for one in every if one in {settled.standing for settled in found})

    def _line(self, hypothesis: Hypothesis) -> SlowCourses:
        """Slow courses of the line on the table that the faulty stage makes of the reading."""
        if hypothesis not in self._lines:
            self._lines[hypothesis] = SlowCourses(decisions(self._faulty_table(hypothesis)))
        return self._lines[hypothesis]

    def _faulty_table(self, hypothesis: Hypothesis) -> ControlTable:
        """The table with each row's reading as the faulty stage gives it."""
        if not hypothesis:
            return self.table
        if hypothesis not in self._tables:
            rows = tuple(self._faulty_row(hypothesis, row) for row in self.table.rows)
            self._tables[hypothesis] = replace(self.table, rows=rows, away=self._faulty_away(hypothesis))
        return self._tables[hypothesis]

    def _faulty_away(self, hypothesis: Hypothesis) -> Away:
        """Being away as the faulty stage reads it; what a feed drives stays unread."""
        away = self.table.away
        if away.sensed is None:
            return away
        stage = self._stages.of(hypothesis, driven(hypothesis, frozenset(away.state.energised)))
        state = State(away.state.energised, outcome(stage.circuit, stage.closed))
        sensed = self._reading(stage, state)
        return Away(state, sensed, None if sensed is None else Span(sensed, sensed))

    def _faulty_row(self, hypothesis: Hypothesis, row: Row) -> Row:
        coils = driven(hypothesis, frozenset(row.energised))
        stage = self._stages.of(hypothesis, coils)
        state = State(row.energised, outcome(stage.circuit, stage.closed))
        sensed = self._reading(stage, state)
        read = None if sensed is None else Span(sensed, sensed)
        return Row(row.name, state, row.hold, row.kept, sensed, read, row.full)

    def _reading(self, stage: FaultyStage, state: State) -> Fraction | None:
        design = self.table.design
        if isinstance(design.sensing.at, str):
            return reading_ratio(design, stage.circuit, state)
        from tapplan.network.turns import Gain, sensed_ratio

        if not isinstance(state.outcome, Gain):
            return None
        ratio = sensed_ratio(stage.circuit, stage.closed, state.outcome)
        return ratio if ratio is not None and ratio > 0 else None

    def _in_circuit(self, hypothesis: Hypothesis, measure: Measure, coils: frozenset[str]) -> Prediction:
        """Volts, ohms or lamp with these coils driven."""
        stage = self._stages.of(hypothesis, coils)
        condition = measure.condition
        key = (
            edits(hypothesis),
            stage.closed,
            measure.what,
            measure.at,
            condition.power,
            condition.volts,
            condition.fed,
        )
        if key not in self._of_circuit:
            self._of_circuit[key] = self._shown(stage, self._stages.potentials(hypothesis, stage), measure)
        return self._of_circuit[key]

    def _fed(self, circuit: Circuit, condition: Condition) -> Across:
        """The points that are fed: those the condition names, else the inlet."""
        if condition.fed is None:
            return Across(circuit.line, circuit.neutral)
        return self._across(circuit, condition.fed)

    def _across(self, circuit: Circuit, names: tuple[str, ...]) -> Across:
        """The two points of these names."""
        high, low = names
        return Across(self.place(circuit, high), self.place(circuit, low))

    def _shown(self, stage: FaultyStage, joined: Potentials, measure: Measure) -> Prediction:
        circuit, condition = stage.circuit, measure.condition
        if measure.what == "ohms":
            return _ohm(stage, self._across(circuit, measure.at))
        fed = FedCircuit(circuit, joined, self._fed(circuit, condition), condition.volts or Fraction(0))
        if measure.what == "lamp":
            return _yes(fed.shorted)
        asked = self._across(circuit, measure.at)
        lamp = {asked.high, asked.low} == {circuit.output, circuit.neutral}
        return fed.between(asked.high, asked.low, loaded=lamp)

    def place(self, circuit: Circuit, name: str) -> int:
        """The point a name stands for: a terminal, `lug P` a winding's end, `K1.no` a relay's pin, or a tap."""
        for end, here in zip(self.circuit.terminals, circuit.terminals, strict=True):
            if self.circuit.points[end] == name:
                return here
        for contact in circuit.contacts:  # before points: a tap may be named as a pin is
            if contact.label == name:
                return contact.end
            if name == f"{contact.label.rpartition('.')[0]}.com":
                return contact.com
        if name.startswith("lug ") and name[4:] in self.circuit.points:
            return self.circuit.points.index(name[4:])
        return self.circuit.points.index(name)

    def _coil_ohm(self, hypothesis: Hypothesis, relay: str) -> Prediction:
        if _has(hypothesis, "coil-open", relay):
            return (Span(OPEN_COIL_OHM, MOST),)
        if _has(hypothesis, "coil-shorted", relay):
            return (Span(Fraction(0), SHORTED_COIL_OHM),)
        made = next(one for one in self.table.design.relays if one.name == relay)
        if made.coil_v is None or made.coil_w is None:
            return (COIL_OHM,)
        ohm = made.coil_v**2 / made.coil_w
        return (Span((1 - SPREAD) * ohm, (1 + SPREAD) * ohm),)

    def _switch(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """The line volts at which the coils change from one band to the next, on a slow course."""
        if any(defect.row is not None or defect.fault == "lost" for defect in hypothesis):
            return exactly(NEVER)
        rows = {row.name: number for number, row in enumerate(self.table.rows)}
        here, there = rows[measure.at[0]], rows[measure.at[1]]
        hold, sensed = self.table.rows[here].input_hold, self.table.rows[here].sensed
        elsewhere = self.table.design.sensing.at != "input" and any(
            defect.contact or defect.relays for defect in hypothesis
        )
        drives = any(defect.fault in _HIDDEN_DRIVES for defect in hypothesis)
        if hold is None or not sensed or elsewhere or drives:
            return ANY
        side = 1 if measure.condition.course == "rising" else -1
        end = hold.high if side > 0 else hold.low
        if self._line(()).made.node(InRow(here)).answer(end * sensed, side) != InRow(there):
            return ANY
        sensing = self.table.design.sensing
        scale = next((defect.scale for defect in hypothesis if defect.scale), Span(Fraction(1), Fraction(1)))
        noise = sensing.noise_v / sensed / 2
        low = (end - noise) / (1 + sensing.error) / scale.high
        found = (Span(max(low, Fraction(0)), (end + noise) / (1 - sensing.error) / scale.low),)
        moved = set(self.table.rows[here].energised) ^ set(self.table.rows[there].energised)
        unheard = any(defect.fault in _UNHEARD and _relays(defect) & moved for defect in hypothesis)
        return either((found, exactly(NEVER))) if unheard else found


_HIDDEN_DRIVES = frozenset({"coil-shorted", "driver-dead", "driver-shorted", "drives-swapped", "missing"})


_UNHEARD = frozenset({"stuck-rest", "stuck-driven", "bridged", "coil-open"})  # who listens finds no change


def _relays(defect: Defect) -> set[str]:
    return set(defect.relays) or {defect.part.partition(".")[0]}


def _has(hypothesis: Hypothesis, fault: str, relay: str) -> bool:
    return any(defect.fault == fault and relay in defect.relays for defect in hypothesis)


def _yes(found: bool) -> Prediction:
    return YES if found else NO


def _click(hypothesis: Hypothesis, measure: Measure) -> Prediction:
    """Whether a relay is heard when a bench supply drives its coil; stuck parts may or may not be heard."""
    relay = measure.at[0]
    if measure.condition.coils is not None and relay not in measure.condition.coils:
        return NO
    if _has(hypothesis, "coil-open", relay) or _has(hypothesis, "coil-shorted", relay):
        return NO
    stuck = ("stuck-rest", "stuck-driven", "bridged")
    own = [one for one in hypothesis if one.contact and one.part.split(".")[0] == relay and one.fault in stuck]
    return EITHER if own else YES


def _ohm(stage: FaultyStage, across: Across) -> Prediction:
    """Ohms between two points; where turns are shorted, any part of a winding's resistance may be gone with them."""
    found = between_ohm(stage.circuit, stage.closed, across)
    if found is None:
        return OPEN
    if not found.windings:
        return CLOSED
    if found.ohm is None:
        return (Span(Fraction(0), WINDING_OHM),)
    burnt = any(section.start == section.finish for section in stage.circuit.sections)
    return (Span(Fraction(0) if burnt else (1 - SPREAD) * found.ohm, (1 + SPREAD) * found.ohm + CLOSED_OHM),)
