"""Witnesses of states and wiring: unusable states, duplicates, rest, bands nobody enters, parts nobody needs."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from tapplan.network.turns import Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class UsedState:
    """A state that cannot serve, and what uses it: a band; or, `bands` being None, the backup or a feed.

    `reason` is what the network says of it; `contacts` are those to blame, and `told` the loop or gap they make.
    """

    bands: tuple[str, ...] | None
    energised: tuple[str, ...]
    ratio: Fraction | None
    reason: str
    contacts: tuple[str, ...] = ()
    told: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class FedState:
    """The relays stated for a feed, and as which kind of state the stage fails while it runs."""

    energised: tuple[str, ...]
    kind: Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class IdleStates:
    """How many states of a kind only wrong coil drive leads to, with some of them, the first as `energised`."""

    kind: Kind
    energised: tuple[str, ...]
    states: tuple[tuple[str, ...], ...]
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Duplicates:
    """How many relay states give one ratio, with some of them."""

    ratio: Fraction
    states: tuple[tuple[str, ...], ...]
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class ShortedRest:
    """No relay is driven, and turns are shorted."""

    energised: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class RestOutput:
    """No relay is driven: the output at the worst input of the range, and as a multiple of nominal.

    The ratio is None where the load gets nothing.
    """

    energised: tuple[str, ...] = ()
    ratio: Fraction | None
    input_v: Fraction
    output_v: Fraction
    factor: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class NeverEntered:
    """A band that nothing enters, its relays, and the inputs it would hold."""

    bands: tuple[str, ...]
    energised: tuple[str, ...]
    from_v: Fraction
    to_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class EitherStart:
    """Two bands of one ratio, the inputs that both hold, and the output at the lowest of them."""

    bands: tuple[str, ...]
    input_v: Fraction
    from_v: Fraction
    to_v: Fraction
    ratio: Fraction
    output_v: Fraction


@dataclass(frozen=True, slots=True, kw_only=True)
class LoosePoint:
    """A point that one contact alone touches."""

    points: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Undriven:
    """A relay that no band drives."""

    energised: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OnePoint:
    """A relay with a pole both of whose throws go to one point."""

    energised: tuple[str, ...]
    points: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StuckShort:
    """A fault that shorts turns or ties line to neutral: the bands in which it does, and the first one's relays."""

    bands: tuple[str, ...]
    energised: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class StuckHigh:
    """A fault that drives the output above the window's end `limit_v`: the band in which it goes farthest.

    `factor` is the output as a multiple of nominal; `energised` are the relays then driven.
    """

    bands: tuple[str, ...]
    energised: tuple[str, ...]
    ratio: Fraction
    input_v: Fraction
    output_v: Fraction
    limit_v: Fraction
    factor: Fraction


OfStates = (
    UsedState
    | FedState
    | IdleStates
    | Duplicates
    | ShortedRest
    | RestOutput
    | NeverEntered
    | EitherStart
    | LoosePoint
    | Undriven
    | OnePoint
    | StuckShort
    | StuckHigh
)
