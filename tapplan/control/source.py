"""The supply behind the inlet: how far the inlet stands below the source's open voltage while a state is loaded.

The source is an EMF E behind a resistance Z, the load's current taken in phase with it, which is the worst
case. At the inlet V, with ratio g and a load of S volt-amperes at nominal output Vn:

    impedance  I = g^2 V S / Vn^2    E = V (1 + Z g^2 S / Vn^2)
    current    I = g S / Vn          E = V + Z g S / Vn
    power      I = S / V             E = V + Z S / V

(Kirchhoff's laws and the ideal ampere-turn balance; Z and g as in any network textbook.) E rises with V in all
three, down to V^2 = Z S for constant power, below which there is no operating point.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

from tapplan.design.model import Design, LoadModel


@dataclass(frozen=True, slots=True)
class Source:
    """A source resistance and the load that hangs on the stage; without either, inlet and EMF are the same."""

    ohm: Fraction
    load_va: Fraction
    nominal_v: Fraction
    model: LoadModel

    @property
    def stiff(self) -> bool:
        """Whether the load makes no difference to the inlet."""
        return self.ohm == 0 or self.load_va == 0

    def current(self, inlet: Fraction, ratio: Fraction) -> Fraction:
        """The current drawn at the inlet, in ampere; `inlet` is above 0."""
        match self.model:
            case "impedance":
                return ratio**2 * inlet * self.load_va / self.nominal_v**2
            case "current":
                return ratio * self.load_va / self.nominal_v
            case "power":
                return self.load_va / inlet

    def emf(self, inlet: Fraction, ratio: Fraction | None) -> Fraction:
        """The EMF at which the inlet stands at `inlet` volts; ratio None: the load is away.

        Below the last operating point of a constant-power load the map goes on rising, as 2 V, so that
        thresholds keep their order there.
        """
        if ratio is None or self.stiff or inlet <= 0:
            return inlet
        if self.model == "power" and inlet**2 < self.ohm * self.load_va:
            return 2 * inlet
        return inlet + self.ohm * self.current(inlet, ratio)

    def inlet(self, emf: Fraction, ratio: Fraction | None) -> Fraction:
        """The inlet volts at an EMF; 0 where there is no operating point. Exact but for constant power, 1e-9."""
        if ratio is None or self.stiff:
            return emf
        match self.model:
            case "impedance":
                return emf / (1 + self.ohm * ratio**2 * self.load_va / self.nominal_v**2)
            case "current":
                return max(emf - self.ohm * self.current(emf, ratio), Fraction(0))
            case "power":
                left = float(emf**2 - 4 * self.ohm * self.load_va)
                return Fraction(round((float(emf) + sqrt(left)) / 2 * 10**9), 10**9) if left >= 0 else Fraction(0)


def source_of(design: Design) -> Source:
    """The source and load that a design states."""
    output = design.output
    return Source(design.mains.source_ohm, output.load_va or Fraction(0), output.nominal_v, output.load_model)
