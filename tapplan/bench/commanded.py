"""What the controller of a faulty stage does: the rows that may be in force on the line, and the coils it drives."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

from tapplan.bench.defects import Defect, Hypothesis, driven
from tapplan.bench.faulty import FaultyStage, FaultyStages
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.values import ANY, NEVER, Prediction, either, exactly
from tapplan.control.away import Away
from tapplan.control.decisions import decisions
from tapplan.control.lookup import SlowCourses, inputs_of_interest
from tapplan.control.serving import reading_ratio
from tapplan.control.standing import AWAY, InRow, Standing
from tapplan.control.table import ControlTable, Row
from tapplan.exact import Span
from tapplan.network.states import State
from tapplan.network.turns import Gain, outcome, sensed_ratio

LINE_OFF = frozenset({"fuse-open", "cut-out-open"})  # nothing behind the inlet is fed from the mains
UNSURE_DRIVES = frozenset({"coil-shorted", "diode-shorted"})  # the volts of such a coil collapse, or do not
_UNHEARD = frozenset({"stuck-rest", "stuck-driven", "bridged", "coil-open"})  # who listens finds no change


class DrivenByController:
    """The controller of one design, with what is wrong in its stage."""

    def __init__(self, table: ControlTable, stages: FaultyStages) -> None:
        self._table = table
        self._stages = stages
        self._tables: dict[tuple[object, ...], ControlTable] = {}
        self._lines: dict[tuple[object, ...], SlowCourses] = {}
        self._rows: dict[tuple[object, ...], tuple[Standing, ...]] = {}

    @property
    def lives_on_battery(self) -> bool:
        """Whether the stage runs on without its mains."""
        return bool(self._table.design.feeds) and self._table.design.backup is not None

    def drives(self, hypothesis: Hypothesis, condition: Condition) -> set[frozenset[str]]:
        """The sets of coils that may have their voltage under a condition."""
        if condition.coils is not None:
            return {condition.coils}
        if not self.awake(hypothesis, condition):
            return {frozenset()}
        return {driven(hypothesis, self._energised(one)) for one in self.in_force(hypothesis, condition)}

    def awake(self, hypothesis: Hypothesis, condition: Condition) -> bool:
        """Whether the controller has a supply at all."""
        faults = {one.fault for one in hypothesis}
        if condition.power == "battery":
            return "battery-flat" not in faults
        return self.lives_on_battery or not faults & LINE_OFF

    def in_force(self, hypothesis: Hypothesis, condition: Condition) -> tuple[Standing, ...]:
        """The rows that may be in force, `AWAY` among them where none may be."""
        if condition.power == "battery" or any(one.fault in LINE_OFF for one in hypothesis):
            return (AWAY,)
        frozen = next((defect.row for defect in hypothesis if defect.row is not None), None)
        if frozen is not None:
            return (InRow(frozen),)
        scale = next((defect.scale for defect in hypothesis if defect.scale is not None), None)
        sensed = () if self._table.design.sensing.at == "input" else hypothesis
        key = (sensed, scale, condition.volts, condition.course)
        if key not in self._rows:
            self._rows[key] = self._looked_up(sensed, scale, condition)
        return self._rows[key]

    def may_be_away(self, hypothesis: Hypothesis, condition: Condition) -> bool:
        """Whether the load may be off the mains on the line."""
        return condition.power == "line" and condition.coils is None and AWAY in self.in_force(hypothesis, condition)

    def switch(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """The line volts at which the coils change from one band to the next, on a slow course."""
        if any(one.row is not None or one.fault == "lost" or one.fault in LINE_OFF for one in hypothesis):
            return exactly(NEVER)
        rows = {row.name: number for number, row in enumerate(self._table.rows)}
        here, there = rows[measure.at[0]], rows[measure.at[1]]
        before, after = (driven(hypothesis, frozenset(self._table.rows[one].energised)) for one in (here, there))
        if before == after:
            return exactly(NEVER)
        found = self._switched(hypothesis, measure, here, there)
        unheard = any(one.fault in _UNHEARD | UNSURE_DRIVES and _relays(one) & (before ^ after) for one in hypothesis)
        return either((found, exactly(NEVER))) if unheard and found != ANY else found

    def _switched(self, hypothesis: Hypothesis, measure: Measure, here: int, there: int) -> Prediction:
        row = self._table.rows[here]
        hold, sensed = row.input_hold, row.sensed
        if hold is None or not sensed or self._misled(hypothesis):
            return ANY
        side = 1 if measure.condition.course == "rising" else -1
        end = hold.high if side > 0 else hold.low
        if self._line(()).made.node(InRow(here)).answer(end * sensed, side) != InRow(there):
            return ANY
        sensing = self._table.design.sensing
        scale = next((defect.scale for defect in hypothesis if defect.scale), Span(Fraction(1), Fraction(1)))
        noise = sensing.noise_v / sensed / 2
        low = (end - noise) / (1 + sensing.error) / scale.high
        return (Span(max(low, Fraction(0)), (end + noise) / (1 - sensing.error) / scale.low),)

    def _misled(self, hypothesis: Hypothesis) -> bool:
        """Whether the stage makes something else of what is read, in some row."""
        if self._table.design.sensing.at == "input" or not any(one.contact or one.relays for one in hypothesis):
            return False
        faulty = self._faulty_table(hypothesis).rows
        return any(own.sensed != row.sensed for own, row in zip(faulty, self._table.rows, strict=True))

    def _energised(self, standing: Standing) -> frozenset[str]:
        """What is commanded in a row; outside all bands the backup's state, or all at rest."""
        if isinstance(standing, InRow):
            return frozenset(self._table.rows[standing.number].energised)
        backup = self._table.design.backup
        return frozenset() if backup is None else frozenset(backup.energised)

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
            return self._table
        if hypothesis not in self._tables:
            rows = tuple(self._faulty_row(hypothesis, row) for row in self._table.rows)
            self._tables[hypothesis] = replace(self._table, rows=rows, away=self._faulty_away(hypothesis))
        return self._tables[hypothesis]

    def _faulty_away(self, hypothesis: Hypothesis) -> Away:
        """Being away as the faulty stage reads it; what a feed drives stays unread."""
        away = self._table.away
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
        design = self._table.design
        if isinstance(design.sensing.at, str):
            return reading_ratio(design, stage.circuit, state)
        if not isinstance(state.outcome, Gain):
            return None
        ratio = sensed_ratio(stage.circuit, stage.closed, state.outcome)
        return abs(ratio) if ratio else None  # a detector does not see which way round its winding is


def _relays(defect: Defect) -> set[str]:
    return set(defect.relays) or {defect.part.partition(".")[0]}
