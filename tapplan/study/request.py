"""What a plan must do, as exact numbers: the request for `fit` without file or screen."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import cached_property
from itertools import pairwise
from math import ceil, lcm

from tapplan.design.limb import EMF
from tapplan.design.model import Arrangement, Design, Fit, Objective, Rest
from tapplan.exact import Span
from tapplan.rating.iron import iron_of

Ratios = Sequence[Fraction]  # falling
SPARE_TURNS = Fraction(5, 4)  # of the fewest that the flux allows, where the request does not say how many
EVENLY = 61  # voltages over the mains range at which a mean deviation is taken when none are measured


@dataclass(frozen=True, slots=True)
class InletWeight:
    """Volts at the inlet, and how much they count."""

    volts: Fraction
    counts: Fraction


@dataclass(frozen=True, slots=True)
class InWhole:
    """Whole numbers in proportion to others, and how many of them make one."""

    numbers: tuple[int, ...]
    per_one: int


@dataclass(frozen=True, slots=True)
class WholeWeights:
    """Weights in whole numbers: volts, how many of them make a volt, and how much each counts."""

    volts: tuple[int, ...]
    per_volt: int
    counts: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Sag:
    """What the load pulls off: with u line over output turns, the loaded u is (1 + always) u + share |u - 1|.

    `share` stands for the wire that carries what is transformed, `always` for the contacts. One number each holds for
    all states where it is the largest of them (own derivation: with one wire the drop of a state is
    R/RL |n_L - n_O|/n_O times the turns' ohms, on a core of fixed turns a share of |u - 1|).
    """

    share: Fraction = Fraction(0)
    always: Fraction = Fraction(0)

    def loaded(self, u: Fraction) -> Fraction:
        """Line over output volts with the load on."""
        return (1 + self.always) * u + self.share * abs(u - 1)

    def unloaded(self, u: Fraction) -> Fraction:
        """The turns that give a loaded one: the inverse, for a share below one."""
        return min(
            (u + self.share) / (1 + self.always + self.share), (u - self.share) / (1 + self.always - self.share)
        )


@dataclass(frozen=True, slots=True)
class Used:
    """The ratios a plan uses, falling, and its smallest room; None for a single band."""

    ratios: tuple[Fraction, ...]
    room: Fraction | None


@dataclass(frozen=True)
class Request:
    """Window, mains range, sensing error, least room between neighbours, and what may be chosen.

    `turns` bounds the highest tap; `fixed_taps` are the only taps there are, when a winding exists. `line_least` and
    `output_least` keep the volts per turn below their limit. `target` is what outputs should be near: the nominal
    voltage or the preferred window. `noise` is the most that any plan has in input volts, `noise_least` the least,
    where these differ.
    """

    window: Span
    mains: Span
    target: Span
    error: Fraction
    hysteresis: Fraction
    noise: Fraction
    turns: Span
    arrangements: tuple[Arrangement, ...]
    relays_max: int
    relays_exactly: int | None = None
    taps_max: int | None = None
    fixed_taps: tuple[int, ...] = ()
    require_direct: bool = False
    single_moves: bool = False
    multiple: int = 1
    largest_step: Fraction | None = None
    line_least: Fraction = Fraction(1)
    output_least: Fraction = Fraction(1)
    rest: Rest = "lowest"
    objective: Objective = "room"
    weights: tuple[InletWeight, ...] = ()
    sag: Sag = Sag()
    two_pole_max: int = 1
    noise_least: Fraction | None = None

    @cached_property
    def whole_weights(self) -> WholeWeights:
        """The weights in whole numbers."""
        volts = in_whole([one.volts for one in self.weights])
        return WholeWeights(volts.numbers, volts.per_one, in_whole([one.counts for one in self.weights]).numbers)

    @cached_property
    def high(self) -> Fraction:
        """The window's upper end in readings: (1 - e) hi."""
        return (1 - self.error) * self.window.high

    @cached_property
    def low(self) -> Fraction:
        """The window's lower end in readings: (1 + e) lo."""
        return (1 + self.error) * self.window.low

    @cached_property
    def first_least(self) -> Fraction:
        """The ratio that serves the lowest input, lo / Vmin with the load on; a first ratio must be no less."""
        return 1 / self.sag.unloaded(self.mains.low / self.window.low)

    @cached_property
    def last_most(self) -> Fraction:
        """The ratio that serves the highest input: hi / Vmax; a last ratio must be no more."""
        return self.window.high / self.mains.high

    @cached_property
    def needed(self) -> Fraction:
        """The least room that will do: the noise, and beside it the hysteresis wanted, or as much noise again."""
        return self.noise + max(self.hysteresis, self.noise)

    @cached_property
    def needed_least(self) -> Fraction:
        """The least room that any plan could do with, were its reading as quiet as can be."""
        noise = self.noise if self.noise_least is None else self.noise_least
        return noise + max(self.hysteresis, noise)

    def room(self, above: Fraction, below: Fraction) -> Fraction:
        """Input volts that two neighbouring ratios, the higher first, may overlap: (1-e) hi/g - (1+e) lo/g'.

        The lower one's g' is that with the load on.
        """
        return self.high / above - self.low * self.sag.loaded(1 / below)

    def enough(self, room: Fraction | None) -> bool:
        """Whether a smallest room leaves the hysteresis beside the noise, and an overlap that beats the noise.

        None: a single band, no neighbours.
        """
        return room is None or (room >= self.needed and room > 2 * self.noise)


def in_whole(numbers: Sequence[Fraction]) -> InWhole:
    """The numbers as whole ones."""
    unit = lcm(*(number.denominator for number in numbers))
    return InWhole(tuple(number.numerator * (unit // number.denominator) for number in numbers), unit)


def request_of(design: Design, fit: Fit, weights: tuple[InletWeight, ...] = ()) -> Request:
    """The request in a design file; `weights` say how often the mains stands where, evenly when there are none."""
    sensing, output = design.sensing, design.output
    nominal = Span(output.nominal_v, output.nominal_v)
    line_least, output_least = _least_turns(design, fit)
    taps = tuple(int(tap) for tap in fit.taps)
    least = ceil(max(line_least, output_least))
    asked = fit.total_turns or (Fraction(least), Fraction(ceil(least * SPARE_TURNS)))
    return Request(
        output.window,
        design.mains.span,
        nominal if fit.preferred_v is None else Span(*fit.preferred_v),
        sensing.error,
        sensing.hysteresis_v,
        input_noise(design, fit),
        Span(Fraction(1), Fraction(max(taps))) if taps else Span(*asked),
        tuple(dict.fromkeys(fit.arrangements)),
        int(fit.relays_max),
        None if fit.relays is None else int(fit.relays),
        None if fit.taps_max is None else int(fit.taps_max),
        taps,
        fit.require_direct or fit.rest == "direct",
        fit.single_moves,
        int(fit.turns_multiple),
        None if fit.largest_step_pct is None else fit.largest_step_pct / 100,
        line_least,
        output_least,
        fit.rest,
        fit.objective,
        weights or evenly(design.mains.span),
        two_pole_max=int(fit.two_pole_max),
        noise_least=None if sensing.at == "input" else Fraction(0),
    )


def input_noise(design: Design, fit: Fit) -> Fraction:
    """The noise of a reading in input volts, at the least that a band of a plan reads of the input.

    No useful ratio is below lo/Vmax, so that is the least that a reading at the output is of the input. A winding
    made for sensing is taken to read no less than as much of its share of the nominal mains; where line and output
    both move it may, and what such a plan becomes is checked before it is offered.
    """
    sensing, least = design.sensing, design.output.window.low / design.mains.span.high
    match sensing.at, fit.sensing_v:
        case "input", _:
            return sensing.noise_v
        case "output", _:
            return sensing.noise_v / min(least, Fraction(1))
        case _, None:
            return sensing.noise_v
        case _, volts:
            return sensing.noise_v * design.mains.nominal_v / (volts * min(least, Fraction(1)))


def evenly(mains: Span) -> tuple[InletWeight, ...]:
    """Voltages spread evenly over the range, each counting once."""
    step = (mains.high - mains.low) / (EVENLY - 1)
    return tuple(InletWeight(mains.low + number * step, Fraction(1)) for number in range(EVENLY))


def _least_turns(design: Design, fit: Fit) -> tuple[Fraction, Fraction]:
    """Turns that line and output must at least stand on, for the volts per turn stated and the flux of [core].

    A band is left at hi/g at the latest, where a turn carries hi/(output's turns): every output tap keeps to it.
    The last band is held to the top of the range, where a turn carries Vmax/(line's turns): the highest tap of the
    line keeps to that. E = 4.44 f N B A, as for the ratings.
    """
    limits = [] if fit.volts_per_turn_max is None else [fit.volts_per_turn_max]
    iron = iron_of(design)
    flux = iron.core.flux_limit_t if iron is not None else None
    if iron is not None and flux is not None and iron.net_mm2 is not None:
        hertz = float(design.mains.frequency_hz[0])
        per_turn = EMF * hertz * float(flux) * iron.net_mm2 * 1e-6
        limits.append(Fraction(per_turn).limit_denominator(10**9))
    if not limits:
        return Fraction(1), Fraction(1)
    most = min(limits)
    return design.mains.span.high / most, design.output.window.high / most


def used(request: Request, ratios: Ratios) -> Used | None:
    """Of the ratios a wiring gives, those a plan uses; None: the range is not served.

    A ratio between two others only widens the rooms beside it, so all between the ends are used; the ends are the
    lowest ratio that serves the lowest input and the highest that serves the highest one.
    """
    falling = sorted({ratio for ratio in ratios if ratio > 0}, reverse=True)
    firsts = [n for n, ratio in enumerate(falling) if ratio >= request.first_least]
    lasts = [n for n, ratio in enumerate(falling) if ratio <= request.last_most]
    if not firsts or not lasts:
        return None
    first, last = firsts[-1], lasts[0]
    if first >= last:
        return Used((falling[first],), None)
    chosen = tuple(falling[first : last + 1])
    return Used(chosen, min(request.room(a, b) for a, b in pairwise(chosen)))


@dataclass(frozen=True, slots=True)
class PlanBound:
    """The least number of ratios any plan needs, and the least number of relays that can give as many."""

    ratios: int
    relays: int


MOST_RATIOS = 4096


def bound(request: Request) -> PlanBound | None:
    """No plan needs fewer, even with real-valued ratios; None when no number of ratios is enough.

    With u = 1/g: from the largest u1 that serves Vmin each next one follows by (1-e) hi u - (1+e) lo u' = s, s the
    least room of any plan and u' with the load on, until u reaches Vmax/hi; passes it, where s is all noise, for the
    overlap must then be more (own derivation). k relays give at most 2^k ratios.
    """
    reach, last = 1 / request.first_least, 1 / request.last_most
    ratios = 1
    strict = request.hysteresis <= request.noise
    while reach < last or (strict and ratios > 1 and reach == last):
        onward = request.sag.unloaded((request.high * reach - request.needed_least) / request.low)
        if onward <= reach or ratios >= MOST_RATIOS:
            return None
        reach = onward
        ratios += 1
    return PlanBound(ratios, (ratios - 1).bit_length())


def widened(request: Request, share: Fraction) -> Request:
    """The same request with the window's ends further apart by this share, about its middle."""
    middle, half = (request.window.low + request.window.high) / 2, (request.window.high - request.window.low) / 2
    return replace(request, window=Span(middle - half * (1 + share), middle + half * (1 + share)))


def narrowed(request: Request, share: Fraction) -> Request:
    """The same request with the mains range shrunk by this share, about its middle."""
    middle, half = (request.mains.low + request.mains.high) / 2, (request.mains.high - request.mains.low) / 2
    return replace(request, mains=Span(middle - half * (1 - share), middle + half * (1 - share)))
