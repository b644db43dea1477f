"""What each hypothesis predicts for each measurement, through the same network and the same controller as ever.

What a hypothesis does not fix is `ANY`, as behind a winding that is not excited.
"""

from __future__ import annotations

from fractions import Fraction
from functools import cached_property

from tapplan.bench.commanded import LINE_OFF, UNSURE_DRIVES, DrivenByController
from tapplan.bench.copper import COPPER_SHARE, KnownCopper
from tapplan.bench.defects import Defect, Hypothesis
from tapplan.bench.faulty import FaultyStage, FaultyStages, edits
from tapplan.bench.fed import FedCircuit
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.resistances import between_ohm
from tapplan.bench.smallsource import ShortedStage, SmallSource
from tapplan.bench.supplies import CLOSED, CLOSED_OHM, Supplies, has
from tapplan.bench.values import ANY, EITHER, MOST, NO, OPEN, SOMETIMES, YES, Prediction, either
from tapplan.bench.wavering import WORN, stands_for, wavering
from tapplan.control.table import ControlTable
from tapplan.exact import Span
from tapplan.network.circuit import Across, Circuit

# Common practice, no source: ohms, shares and watts that tell one thing from another at the bench.
WORN_OHM = Fraction(3, 2)  # a contact that closes badly, from here to open
BURNT_LEFT = Fraction(2, 5)  # of a winding's ohms, at least, where one of its turns has burnt
HARMLESS_VA = 50  # what shorted turns may take on the line for a while
LAMP_W = 60  # the most that the lamp at the output takes
MOST_LAMP_DROP = Fraction(2, 100)
WAVERS: Prediction = (Span(SOMETIMES, SOMETIMES),)


class Bench:
    """Predictions for one design; what many hypotheses share is worked out once."""

    def __init__(self, table: ControlTable) -> None:
        self.table = table
        self.circuit = table.circuit
        self.copper = KnownCopper(table)
        self._source = SmallSource(self.copper)
        self._stages = FaultyStages(table.circuit)
        self._commands = DrivenByController(table, self._stages)
        self._supplies = Supplies(table, self._commands)
        self._of_circuit: dict[tuple[object, ...], Prediction] = {}
        self._loaded: dict[tuple[object, ...], ShortedStage] = {}

    def predicted(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """The values the measurement can show if the hypothesis is true, before any error of the meter."""
        wavers = wavering(hypothesis)
        if wavers is not None:
            return self._by_wavering(hypothesis, wavers, measure)
        match measure.what:
            case "coil-ohms":
                return self._supplies.coil_ohms(hypothesis, measure.at[0])
            case "part-ohms":
                return self._supplies.part_ohms(hypothesis, measure.at[0])
            case "click":
                return self._supplies.click(hypothesis, measure)
            case "rail" | "ripple":
                return self._supplies.rail(hypothesis, measure)
            case "battery":
                return self._supplies.battery(hypothesis, measure.condition)
            case "chatter":
                return NO
            case "switch":
                return self._commands.switch(hypothesis, measure)
            case "drive":
                if has(hypothesis, tuple(UNSURE_DRIVES), measure.at[0]):
                    return EITHER
                coils = self._commands.drives(hypothesis, measure.condition)
                found = {measure.at[0] in one for one in coils}
                return either([*map(_yes, found), *([WAVERS] if len(found) > 1 else [])])
            case "volts" | "ohms" | "current" | "lamp":
                return self._by_power(hypothesis, measure)

    def _by_power(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """Volts, ohms, current or lamp."""
        condition = measure.condition
        if condition.power == "battery":
            return self._on_battery(hypothesis, measure)
        if condition.power == "line" and any(one.fault in LINE_OFF for one in hypothesis):
            return self._on_battery(hypothesis, measure) if measure.what == "volts" else NO
        coils_sets = self._commands.drives(hypothesis, condition)
        found = [self._in_circuit(hypothesis, measure, coils) for coils in coils_sets]
        if measure.what == "volts" and len(coils_sets) > 1:
            found.append(WAVERS)  # on an edge between bands, or never at rest
        leaves = self.table.design.backup is not None and self._commands.may_be_away(hypothesis, condition)
        if measure.what == "volts" and leaves:
            found += [NO, self._on_battery(hypothesis, measure)]
        return either(found)

    def coils(self, hypothesis: Hypothesis, condition: Condition) -> set[frozenset[str]]:
        """The sets of coils that may have their voltage under a condition."""
        return self._commands.drives(hypothesis, condition)

    def _by_wavering(self, hypothesis: Hypothesis, wavers: Defect, measure: Measure) -> Prediction:
        """What it shows good or bad where that is the same; else either, or anything between, or a change."""
        others = tuple(defect for defect in hypothesis if defect is not wavers)
        if wavers.fault == "rail-weak":
            return self._with_weak_rail(others, wavers, measure)
        if measure.what == "chatter" and wavers.fault == "intermittent":
            return EITHER if measure.at[0] == wavers.part else self.predicted(others, measure)
        good = self.predicted(others, measure)
        bad = self.predicted((*others, stands_for(self.circuit, wavers)), measure)
        if good == bad:
            return good
        if self._reads_back(measure) and wavers.fault not in WORN:
            return WAVERS + (ANY if measure.unit else EITHER)
        if wavers.fault in WORN:
            if measure.unit and good == CLOSED:
                return (Span(WORN_OHM, MOST),)
            return either((good, _between(good, bad) if measure.unit else bad))
        return _now_and_then(good, bad)

    def _with_weak_rail(self, others: Hypothesis, weak: Defect, measure: Measure) -> Prediction:
        """A coil rail that sags under load: the coils pull or not, and chatter."""
        condition = measure.condition
        if measure.what in ("rail", "ripple"):
            return self._supplies.rail((*others, weak), measure)
        good = self.predicted(others, measure)
        if condition.power in ("off", "low") or measure.what in ("battery", "lamp"):
            return good
        if measure.what == "chatter":
            return EITHER
        if measure.what == "switch":
            return either((good, ANY))
        if self._reads_back(measure):
            return WAVERS + (ANY if measure.unit else EITHER)
        bad = self.predicted((*others, stands_for(self.circuit, weak)), measure)
        return good if good == bad else _now_and_then(good, bad)

    def _reads_back(self, measure: Measure) -> bool:
        """Whether what the controller reads there changes with its own relays, so that what wavers moves them too."""
        on_line = measure.condition.power == "line" and measure.what in ("volts", "drive", "switch")
        return on_line and self.table.design.sensing.at != "input"

    def middles(self) -> list[Fraction]:
        """An input in the middle of each band that has one."""
        holds = (row.input_hold for row in self.table.rows)
        return [(hold.low + hold.high) / 2 for hold in holds if hold is not None]

    def highest(self, hypothesis: Hypothesis, condition: Condition, coils: frozenset[str]) -> Fraction:
        """The most volts between any two points with these coils driven, as fed; no more than fed where shorted."""
        fed = self._fed_circuit(hypothesis, condition, self._stages.of(hypothesis, coils))
        volts = condition.volts or Fraction(0)
        return volts if fed.shorted else max(volts, fed.highest())

    def shorted(self, hypothesis: Hypothesis, condition: Condition) -> bool:
        """Whether what is fed may be shorted, by contacts or through turns that take more than is harmless."""
        if any(one.shorted is not None and one.shorted.high <= HARMLESS_VA for one in hypothesis):
            return False
        unfed = condition.power == "line" and any(one.fault in LINE_OFF for one in hypothesis)
        if unfed or not self._commands.awake(hypothesis, condition):
            return False
        wavers = wavering(hypothesis)
        if wavers is not None:
            others = tuple(defect for defect in hypothesis if defect is not wavers)
            both = (others, (*others, stands_for(self.circuit, wavers)))
            return any(self.shorted(one, condition) for one in both)
        stages = [self._stages.of(hypothesis, coils) for coils in self._commands.drives(hypothesis, condition)]
        if condition.power == "battery":
            return any(one.shorted for stage in stages for one in self._by_feeds(hypothesis, stage))
        return any(self._fed_circuit(hypothesis, condition, stage).shorted for stage in stages)

    def _fed_circuit(self, hypothesis: Hypothesis, condition: Condition, stage: FaultyStage) -> FedCircuit:
        joined = self._stages.potentials(hypothesis, stage)
        return FedCircuit(stage.circuit, joined, self._fed(stage.circuit, condition), condition.volts or Fraction(0))

    def _on_battery(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """Volts with the mains off: what the feeds put on their windings, nothing where none runs."""
        design = self.table.design
        if not self._commands.lives_on_battery or any(one.fault == "battery-flat" for one in hypothesis):
            return NO
        found: list[Prediction] = []
        for coils in self._commands.drives(hypothesis, Condition("battery")):
            stage = self._stages.of(hypothesis, coils)
            for feed, fed in zip(design.feeds, self._by_feeds(hypothesis, stage), strict=True):
                shown = self._volts(fed, self._across(stage.circuit, measure.at))
                low, high = feed.volts_v
                found.append(ANY if shown == ANY else tuple(Span(one.low * low, one.high * high) for one in shown))
        return either(found) or NO

    def _by_feeds(self, hypothesis: Hypothesis, stage: FaultyStage) -> list[FedCircuit]:
        """The stage with each feed of the design on its winding, at 1 V."""
        joined, points = self._stages.potentials(hypothesis, stage), stage.circuit.points
        ends = {one.name: one.ends for one in self.table.design.windings}
        across = (
            Across(*(points.index(ends[feed.winding][end]) for end in (1, 0))) for feed in self.table.design.feeds
        )
        return [FedCircuit(stage.circuit, joined, one, Fraction(1)) for one in across]

    def _in_circuit(self, hypothesis: Hypothesis, measure: Measure, coils: frozenset[str]) -> Prediction:
        """Volts, ohms, current or lamp with these coils driven."""
        stage = self._stages.of(hypothesis, coils)
        condition = measure.condition
        key = (
            self._circuit_key(hypothesis, stage),
            measure.what,
            measure.at,
            condition.power,
            condition.volts,
            condition.fed,
            condition.ohm,
        )
        if key not in self._of_circuit:
            self._of_circuit[key] = self._shown(hypothesis, stage, measure)
        return self._of_circuit[key]

    def _circuit_key(self, hypothesis: Hypothesis, stage: FaultyStage) -> tuple[object, ...]:
        """What sets a circuit apart: its edits, its closed contacts, and contacts with ohms of their own."""
        return (edits(hypothesis), stage.closed, tuple(one for one in hypothesis if one.fault == "bridged"))

    def _fed(self, circuit: Circuit, condition: Condition) -> Across:
        """The points that are fed: those the condition names, else the inlet."""
        if condition.fed is None:
            return Across(circuit.line, circuit.neutral)
        return self._across(circuit, condition.fed)

    def _across(self, circuit: Circuit, names: tuple[str, ...]) -> Across:
        """The two points of these names."""
        high, low = names
        return Across(self.place(circuit, high), self.place(circuit, low))

    def _shown(self, hypothesis: Hypothesis, stage: FaultyStage, measure: Measure) -> Prediction:
        circuit, condition = stage.circuit, measure.condition
        if measure.what == "ohms":
            return self._ohm(hypothesis, stage, self._across(circuit, measure.at))
        fed = self._fed_circuit(hypothesis, condition, stage)
        if measure.what == "lamp":
            hidden = any(one.shorted is not None for one in hypothesis)  # some take less than a lamp shows
            return _yes(fed.shorted) if condition.power == "line" and not hidden else (EITHER if fed.shorted else NO)
        if condition.power == "low":
            return self._on_small_source(hypothesis, stage, measure, fed)
        shown = self._volts(fed, self._across(circuit, measure.at))
        if shown in (ANY, NO):
            return shown
        return tuple(Span(one.low * (1 - self._lamp_drop), one.high) for one in shown)

    @cached_property
    def _lamp_drop(self) -> Fraction:
        """The share of the volts that copper may lose to the lamp at the output."""
        return min(COPPER_SHARE.high * LAMP_W / self.copper.rated_va.low, MOST_LAMP_DROP)

    def _on_small_source(
        self, hypothesis: Hypothesis, stage: FaultyStage, measure: Measure, fed: FedCircuit
    ) -> Prediction:
        """Volts or current on a small source, by turns alone or where turns are shorted by the loaded network."""
        condition = measure.condition
        if not fed.shorted:
            if measure.what == "current":
                return (self._source.taken(condition, fed.turns),)
            found = self._volts(fed, self._across(stage.circuit, measure.at))
            if found == NO:
                return (self._source.ghost(condition),)
            if found == ANY:
                return found
            left = self._source.left(condition, fed.turns)
            return tuple(Span(one.low * left.low, one.high) for one in found)
        key = (self._circuit_key(hypothesis, stage), fed.across)
        if key not in self._loaded:
            self._loaded[key] = self._source.loaded(hypothesis, stage, fed)
        loaded = self._loaded[key]
        if measure.what == "current":
            return (self._source.current(loaded, condition),)
        asked = self._across(stage.circuit, measure.at)
        if not fed.settled(asked):
            return (self._source.ghost(condition),) if self._is_output(stage.circuit, asked) else ANY
        span = self._source.volts(loaded, condition, asked)
        if any(one.shorted is not None for one in hypothesis):  # the part that is shorted itself shows less
            span = Span(span.low / 2, span.high)
        return (span,)

    def _volts(self, fed: FedCircuit, asked: Across) -> Prediction:
        return fed.between(asked.high, asked.low, loaded=self._is_output(fed.circuit, asked))

    @staticmethod
    def _is_output(circuit: Circuit, asked: Across) -> bool:
        """Whether what hangs across the output stands across these points."""
        return {asked.high, asked.low} == {circuit.output, circuit.neutral}

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

    def _ohm(self, hypothesis: Hypothesis, stage: FaultyStage, across: Across) -> Prediction:
        """Ohms between two points; shorted turns take some of a winding's resistance with them."""
        sections = {one.name: self.copper.ohm(one) for one in stage.circuit.sections if one.turns}
        for defect in hypothesis:
            if defect.shorted is not None:
                whole = sections[defect.part]
                sections[defect.part] = Span(whole.low * BURNT_LEFT, whole.high)
        found = between_ohm(stage.circuit, stage.closed, across, sections)
        if found is None:
            return OPEN
        if not found.windings:
            return CLOSED
        return (Span(found.ohm.low, found.ohm.high + CLOSED_OHM),)


def _now_and_then(good: Prediction, bad: Prediction) -> Prediction:
    """What two hypotheses show, and now and then a change between them: each span twice as likely as that."""
    return WAVERS + 2 * either((good, bad))


def _between(good: Prediction, bad: Prediction) -> Prediction:
    """All that lies between what two hypotheses show."""
    spans = (*good, *bad)
    return (Span(min(one.low for one in spans), max(one.high for one in spans)),)


def _yes(found: bool) -> Prediction:
    return YES if found else NO
