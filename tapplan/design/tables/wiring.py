"""What is wired to what: terminals, windings, relays and their poles."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated

from tapplan.design.marks import Entries
from tapplan.design.names import TWO_POINTS, Name
from tapplan.design.numbers import NotNegative, Positive, Times, Turns

# The most that each relay time takes where a design gives none; common practice, no source.
DEFAULT_OPERATE_MS = Fraction(15)
DEFAULT_RELEASE_MS = Fraction(10)
DEFAULT_TRANSFER_MS = Fraction(10)
DEFAULT_BOUNCE_MS = Fraction(5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Terminals:
    """The three points where the stage meets the world."""

    line: Name
    neutral: Name
    output: Name


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """One section between two points of a core; its finish stands `turns` above its start."""

    name: Name
    ends: Annotated[tuple[Name, Name], TWO_POINTS]
    turns: Turns
    resistance_ohm: NotNegative | None = None
    leakage_ohm: NotNegative = Fraction(0)
    wire_mm: Positive | None = None
    core: Name = "core"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pole:
    """One changeover contact: COM rests on NC and moves to NO when the coil is driven."""

    com: Name
    nc: Name | None = None
    no: Name | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay:
    """A coil and the contacts it moves: one pole written in the table itself, or several as `poles`.

    Times are the least and the most a relay can take: from the coil's change to the first change of a contact
    (operate, release), from one throw's opening to the other's first touch (transfer), and until that is still
    (bounce). A file that gives one number gives the most; the least is then 0.
    """

    name: Name
    com: Name | None = None
    nc: Name | None = None
    no: Name | None = None
    poles: Annotated[tuple[Pole, ...], Entries(least=1)] | None = None
    operate_ms: Times | None = None
    release_ms: Times | None = None
    transfer_ms: Times | None = None
    bounce_ms: Times | None = None
    contact_a: Positive | None = None
    contact_v: Positive | None = None
    contact_ohm: NotNegative | None = None
    contact_make_a: Positive | None = None
    coil_v: Positive | None = None
    coil_w: Positive | None = None
    endurance: Positive | None = None
    moves_a_day: Positive | None = None

    @property
    def all_poles(self) -> tuple[Pole, ...]:
        """The poles, however the file wrote them."""
        if self.poles is not None:
            return self.poles
        return () if self.com is None else (Pole(com=self.com, nc=self.nc, no=self.no),)
