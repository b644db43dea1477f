"""Scenarios of the mains, of our own: what they are made of, with units and formulas; `made` draws from them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from math import exp

from tapplan.errors import UsageError
from tapplan.exact import Span

SECOND_US = 1_000_000
HOUR_US = 3600 * SECOND_US
DAY_US = 24 * HOUR_US
YEAR_US = 365 * DAY_US
DWELL_US = 600 * SECOND_US  # how long rough volts stay around one centre
LONGEST_ON_US = 6 * HOUR_US  # an appliance is off again after it
HIGH_H = 3.5  # when the volts of a day are highest; lowest twelve hours later
MORNING_H, EVENING_H = 7.5, 19.5  # when appliances are switched on most
MOST_V = 1e6

KINDS = {
    "quiet": "a daily swing, a drift as of the weather, a little noise",
    "evening": "appliances switched on and off behind a source impedance, most in the evening",
    "sags": "quiet, with sags, swells and interruptions",
    "rough": "noise around thresholds, as hard on the relays as it gets",
}


# --- what is drawn ---


@dataclass(frozen=True, slots=True, kw_only=True)
class Quiet:
    """volts = around + swing * cos(2 pi (hour - 3.5) / 24) + drift + noise.

    The drift is an Ornstein-Uhlenbeck process (Phys. Rev. 36, 1930, 823) of mean 0, standard deviation `drift_v` and
    time constant `drift_h`, solved exactly at knots 5 minutes apart: x' = a x + drift_v sqrt(1 - a a) z with z normal
    and a = exp(-5 min / drift_h). Between knots drift and swing are straight lines, so that the drift's variance over
    all times is drift_v^2 (2 + a) / 3. The noise is normal, white, of standard deviation `noise_v`. Volts below 0
    become 0.
    """

    around_v: float
    swing_v: float
    drift_v: float
    noise_v: float
    drift_h: float = 6.0

    def __post_init__(self) -> None:
        _least(self.around_v, "around", 0.0)
        _least(self.swing_v, "swing", 0.0)
        _least(self.drift_v, "drift", 0.0)
        _least(self.noise_v, "noise", 0.0)
        if not self.drift_h > 0:
            raise UsageError(f"found a time constant of {self.drift_h:g} h; accepted: hours above 0")

    def told(self) -> str:
        """Its parameters in words."""
        return (
            f"around {self.around_v:g} V, daily swing {self.swing_v:g} V up and down (highest at 03:30), drift "
            f"{self.drift_v:g} V (standard deviation) over {self.drift_h:g} h, noise {self.noise_v:g} V"
        )


@dataclass(frozen=True, slots=True)
class Appliance:
    """Something switched on for a while: milliampere drawn, minutes on average, its share of all switchings-on."""

    milliampere: int
    minutes: float
    share: float


# Lamps, a refrigerator, a kettle, an iron, a cooker, a pump: figures of our own, rounded, from no survey.
APPLIANCES = (
    Appliance(500, 90, 0.35),
    Appliance(1000, 15, 0.20),
    Appliance(9000, 4, 0.15),
    Appliance(6000, 25, 0.12),
    Appliance(8500, 40, 0.10),
    Appliance(5000, 20, 0.08),
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Evening:
    """volts = EMF - Z * I: an EMF as quiet mains, and behind an impedance Z the appliances of a feeder.

    Appliances are switched on at random, as a Poisson process of `switched_h * busy(hour)` an hour, one rate an hour;
    each is one of `APPLIANCES`, draws its current, whatever the volts, and is off after a time drawn from an
    exponential distribution, at the latest after 6 h. Z is such that `switched_h` an hour for good, as at the height
    of the evening, lower the volts by `fall_v` on average.
    """

    emf: Quiet
    fall_v: float
    switched_h: float = 60.0

    def __post_init__(self) -> None:
        _least(self.fall_v, "fall", 0.0)
        if not 0 < self.switched_h <= 1e5:
            raise UsageError(f"found {self.switched_h:g} appliances an hour; accepted: above 0, at most 1e5")

    @property
    def height_a(self) -> float:
        """The mean current at the height of the evening, in ampere: rate, times mean time on and current (Little)."""
        longest = LONGEST_ON_US / HOUR_US
        ampere_hours = 0.0
        for one in APPLIANCES:
            hours = one.minutes / 60
            ampere_hours += one.share * one.milliampere / 1000 * hours * (1 - exp(-longest / hours))
        return self.switched_h * ampere_hours

    @property
    def source_ohm(self) -> float:
        """Z, in ohm."""
        return self.fall_v / self.height_a

    def told(self) -> str:
        """Its parameters in words."""
        return (
            f"EMF {self.emf.told()}; behind {self.source_ohm:.3g} ohm appliances switch on and off, "
            f"{self.switched_h:g} on in an hour at the height of the evening (19:30), when they lower the volts by "
            f"{self.fall_v:g} V"
        )


def busy(hour: float) -> float:
    """How busy a feeder is at an hour of the day, 1 at the height of the evening: a shape of our own.

    0.2 all day, a morning of 0.3 around 7:30 and an evening of 0.8 around 19:30, both bells of 1.5 h and 2 h
    (standard deviation).
    """
    return 0.2 + 0.3 * _bell(hour, MORNING_H, 1.5) + 0.8 * _bell(hour, EVENING_H, 2.0)


def _bell(hour: float, middle: float, wide: float) -> float:
    away = (hour - middle + 12) % 24 - 12
    return exp(-0.5 * (away / wide) ** 2)


@dataclass(frozen=True, slots=True)
class SagClass:
    """What is left of the volts, from and to, how long it lasts, from and to in seconds, and how often it is met."""

    left: Span
    seconds: Span
    share: float


def _sag(left: str, seconds: str, share: float) -> SagClass:
    first, last = left.split()
    short, long = seconds.split()
    return SagClass(Span(Fraction(first), Fraction(last)), Span(Fraction(short), Fraction(long)), share)


# The limits of residual voltage and duration are those of the tables of dips and swells in EN 50160:2010, several of
# its cells in one row here (from memory, the text was not at hand; swells are cut at 130 %, interruptions at 4 h, by
# us). How many of a hundred fall where is a shape of our own: that standard gives no counts. Within a row the share
# left is uniform and the duration log-uniform.
SAGS = (
    _sag("0.80 0.90", "0.01 0.2", 0.28),
    _sag("0.80 0.90", "0.2 0.5", 0.10),
    _sag("0.70 0.80", "0.01 0.2", 0.12),
    _sag("0.70 0.80", "0.2 1", 0.08),
    _sag("0.40 0.70", "0.01 0.5", 0.08),
    _sag("0.40 0.90", "1 5", 0.08),
    _sag("0.70 0.90", "5 60", 0.04),
    _sag("0.05 0.40", "0.2 1", 0.02),
    _sag("1.10 1.20", "0.01 0.5", 0.05),
    _sag("1.10 1.20", "0.5 60", 0.05),
    _sag("1.20 1.30", "0.01 5", 0.02),
    _sag("0 0.05", "1 180", 0.04),  # a short interruption
    _sag("0 0.05", "180 14400", 0.04),  # a long one
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sags:
    """Quiet volts times what an event leaves of them, while it lasts: sags, swells and interruptions of `SAGS`.

    Events follow one another as a Poisson process of `rate_y` a year (365 days) of the time without one. A reading
    is that of its moment, so that an event that ends before the next sample is not seen.
    """

    quiet: Quiet
    rate_y: float = 500.0

    def __post_init__(self) -> None:
        if not 0 < self.rate_y <= 1e7:
            raise UsageError(f"found {self.rate_y:g} events a year; accepted: above 0, at most 1e7")

    def told(self) -> str:
        """Its parameters in words."""
        return (
            f"{self.quiet.told()}; {self.rate_y:g} sags, swells and interruptions a year, in "
            "classes of EN 50160 (from memory), in shares of our own"
        )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rough:
    """volts = centre + swing * u, u white and uniform from -1 to 1; every 10 minutes one of the centres is drawn."""

    centres_v: tuple[float, ...]
    swing_v: float

    def __post_init__(self) -> None:
        if not self.centres_v:
            raise UsageError("found no centre; accepted: at least one, in volts")
        for centre in self.centres_v:
            _least(centre, "centre", 0.0)
        _least(self.swing_v, "swing", 0.0)

    def told(self) -> str:
        """Its parameters in words."""
        centres = ", ".join(f"{centre:.6g}" for centre in self.centres_v)
        drawn = "" if len(self.centres_v) == 1 else ", one of them drawn every 10 min"
        return f"white noise up to {self.swing_v:g} V either way around {centres} V{drawn}"


def _least(value: float, name: str, low: float) -> None:
    if not low <= value <= MOST_V:
        raise UsageError(f"found {name} {value:g} V; accepted: volts from {low:g} to {MOST_V:g}")


Scenario = Quiet | Evening | Sags | Rough


def scenario_of(kind: str, mains: Span) -> Scenario:
    """A kind with parameters that make use of a mains range: shares of its width, our own choice, to three figures.

    Quiet swings around the middle of the range by a sixth of its width; the EMF of an evening lies two thirds up and
    falls by two fifths of the width; rough has one centre, the middle.

    Raises:
        UsageError: there is no such kind.
    """
    low, wide = float(mains.low), float(mains.high - mains.low)
    quiet = Quiet(
        around_v=_near(low + wide / 2), swing_v=_near(wide / 6), drift_v=_near(wide / 20), noise_v=_near(wide / 200)
    )
    match kind:
        case "quiet":
            return quiet
        case "evening":
            emf = replace(quiet, around_v=_near(low + wide * 2 / 3), swing_v=_near(wide / 12))
            return Evening(emf=emf, fall_v=_near(wide * 2 / 5))
        case "sags":
            return Sags(quiet=quiet)
        case "rough":
            return Rough(centres_v=(quiet.around_v,), swing_v=_near(wide / 30))
        case _:
            raise UsageError(f'found kind "{kind}"; accepted: {", ".join(KINDS)}')


def _near(value: float) -> float:
    """A number of three figures, so that it can be told and entered again."""
    return float(f"{value:.3g}")


def moved(scenario: Scenario, centres_v: Sequence[float] = (), swing_v: float | None = None) -> Scenario:
    """A scenario around other volts (`rough` alone takes several), or with another swing.

    Raises:
        UsageError: several centres for what has one.
    """
    match scenario:
        case Rough():
            swing = scenario.swing_v if swing_v is None else swing_v
            return Rough(centres_v=tuple(centres_v) or scenario.centres_v, swing_v=swing)
        case Evening():
            return replace(scenario, emf=_moved(scenario.emf, centres_v, swing_v))
        case Sags():
            return replace(scenario, quiet=_moved(scenario.quiet, centres_v, swing_v))
        case Quiet():
            return _moved(scenario, centres_v, swing_v)


def _moved(quiet: Quiet, centres_v: Sequence[float], swing_v: float | None) -> Quiet:
    if len(centres_v) > 1:
        raise UsageError(f"found {len(centres_v)} centres; accepted: one, or kind rough")
    around = centres_v[0] if centres_v else quiet.around_v
    return replace(quiet, around_v=around, swing_v=quiet.swing_v if swing_v is None else swing_v)
