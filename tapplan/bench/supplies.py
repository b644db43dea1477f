"""What coils, inlet parts, coil rail and battery show: spans of what is stated, else of what is usual.

Figures without a statement in the file are common practice, no source.
"""

from __future__ import annotations

from fractions import Fraction

from tapplan.bench.commanded import LINE_OFF, UNSURE_DRIVES, DrivenByController
from tapplan.bench.copper import SPREAD
from tapplan.bench.defects import DEAD_COILS, Hypothesis
from tapplan.bench.measures import Condition, Measure
from tapplan.bench.values import EITHER, MOST, NO, OPEN, YES, Prediction
from tapplan.control.table import ControlTable
from tapplan.design.model import Relay
from tapplan.exact import Span

CLOSED_OHM = Fraction(1, 2)  # of a closed contact or a whole fuse, with its leads
CLOSED: Prediction = (Span(Fraction(0), CLOSED_OHM),)
COIL_OHM = Span(Fraction(10), Fraction(50_000))
SHORTED_COIL_OHM = Fraction(5)
OPEN_COIL_OHM = Fraction(20_000)
SUPPRESSOR_OHM = Span(Fraction(0), Fraction(5))  # of one that has failed short

# The coil rail as a share of the coils' own volts: sound, and with a dried capacitor under load.
RAIL = Span(Fraction(85, 100), Fraction(140, 100))
WEAK_RAIL = Span(Fraction(20, 100), Fraction(85, 100))
RIPPLE = Span(Fraction(0), Fraction(10, 100))
WEAK_RIPPLE = Span(Fraction(15, 100), Fraction(1))
UNSTATED_COIL = Span(Fraction(5), Fraction(48))
NO_RAIL = Span(Fraction(0), Fraction(1))
# The battery's volts as a share of its float volts: rested for an hour, rested and flat, charged, and giving power.
RESTING, FLAT = Span(Fraction(900, 1000), Fraction(965, 1000)), Span(Fraction(0), Fraction(84, 100))
CHARGED, GIVING = Span(Fraction(1), Fraction(125, 100)), Span(Fraction(80, 100), Fraction(100, 100))


class Supplies:
    """Readings of parts, for one design."""

    def __init__(self, table: ControlTable, commands: DrivenByController) -> None:
        self._design = table.design
        self._commands = commands
        self._relays: dict[str, Relay] = {one.name: one for one in table.design.relays}
        stated = [one.coil_v for one in table.design.relays if one.coil_v is not None]
        self._coil_v = Span(max(stated), max(stated)) if stated else UNSTATED_COIL

    def coil_ohms(self, hypothesis: Hypothesis, relay: str) -> Prediction:
        """Ohms of a coil."""
        if has(hypothesis, ("coil-open",), relay):
            return (Span(OPEN_COIL_OHM, MOST),)
        if has(hypothesis, ("coil-shorted", "diode-shorted"), relay):
            return (Span(Fraction(0), SHORTED_COIL_OHM),)
        made = self._relays[relay]
        if made.coil_v is None or made.coil_w is None:
            return (COIL_OHM,)
        ohm = made.coil_v**2 / made.coil_w
        return (Span((1 - SPREAD) * ohm, (1 + SPREAD) * ohm),)

    def part_ohms(self, hypothesis: Hypothesis, part: str) -> Prediction:
        """Ohms of fuse, cut-out or suppressor."""
        faults = {one.fault for one in hypothesis}
        if part == "suppressor":
            return (SUPPRESSOR_OHM,) if "suppressor-shorted" in faults else OPEN
        return OPEN if f"{part}-open" in faults else CLOSED

    def click(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """Whether a relay is heard when a bench supply drives its coil; stuck parts may or may not be heard."""
        relay = measure.at[0]
        if has(hypothesis, DEAD_COILS, relay):
            return NO
        stuck = ("stuck-rest", "stuck-driven", "bridged")
        own = [one for one in hypothesis if one.contact and one.part.split(".")[0] == relay and one.fault in stuck]
        return EITHER if own else YES

    def rail(self, hypothesis: Hypothesis, measure: Measure) -> Prediction:
        """Volts of the coil rail, or the ripple on it."""
        ripple = measure.what == "ripple"
        faults = {one.fault for one in hypothesis}
        if "missing" in faults or not self._commands.awake(hypothesis, measure.condition):
            return (NO_RAIL,)
        sound, weak = (RIPPLE, WEAK_RIPPLE) if ripple else (RAIL, WEAK_RAIL)
        if "rail-weak" in faults:
            return (self._volts(weak),)
        if faults & set(UNSURE_DRIVES):  # what feeds a shorted coil may break down, or not
            return (Span(Fraction(0), self._volts(sound).high),)
        return (self._volts(sound),)

    def _volts(self, share: Span) -> Span:
        return Span(share.low * self._coil_v.low, share.high * self._coil_v.high)

    def battery(self, hypothesis: Hypothesis, condition: Condition) -> Prediction:
        """Volts of the battery."""
        battery = self._design.battery
        if battery is None:
            return (Span(Fraction(0), MOST),)
        faults = {one.fault for one in hypothesis}
        floats = Span(*battery.float_v)
        fed = condition.power == "line" and not faults & LINE_OFF
        if fed and "charger-dead" not in faults:
            # the winding may be dead; turned round it charges as well
            unsure = any(one.relays or (one.contact is not None and one.fault != "reversed") for one in hypothesis)
            shares = Span(RESTING.low, CHARGED.high) if unsure else CHARGED
            shares = Span(FLAT.low, CHARGED.high) if "battery-flat" in faults else shares
        elif "battery-flat" in faults:
            shares = FLAT
        else:
            shares = GIVING if condition.power == "battery" else RESTING
        return (Span(shares.low * floats.low, shares.high * floats.high),)


def has(hypothesis: Hypothesis, faults: tuple[str, ...], relay: str) -> bool:
    """Whether one of these faults hits a relay."""
    return any(defect.fault in faults and relay in defect.relays for defect in hypothesis)
