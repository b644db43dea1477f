"""What is wired to what: terminals, windings, relays and their poles."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal

from tapplan.design.marks import Entries, Says
from tapplan.design.names import TWO_POINTS, Name
from tapplan.design.numbers import Few, NotNegative, Positive, Sides, Times, Turns

# The most that each relay time takes where a design gives none; common practice, no source.
DEFAULT_OPERATE_MS = Fraction(15)
DEFAULT_RELEASE_MS = Fraction(10)
DEFAULT_TRANSFER_MS = Fraction(10)
DEFAULT_BOUNCE_MS = Fraction(5)


@dataclass(frozen=True, slots=True, kw_only=True)
class Terminals:
    """The three points where the stage meets the world."""

    line: Annotated[Name, Says("The point where the line comes in.", example='"LINE"')]
    neutral: Annotated[
        Name, Says("The point that inlet and output share; turns are counted from it.", example='"NEUTRAL"')
    ]
    output: Annotated[Name, Says("The point where the load is joined.", example='"OUT"')]


@dataclass(frozen=True, slots=True, kw_only=True)
class Winding:
    """One section between two points of a core; its finish stands `turns` above its start."""

    name: Annotated[Name, Says("The name of the section; no other winding has it.", example='"common"')]
    ends: Annotated[
        tuple[Name, Name],
        TWO_POINTS,
        Says("Start and finish: the finish stands `turns` above the start.", example='["NEUTRAL", "T1"]'),
    ]
    turns: Annotated[Turns, Says("The turns between the two ends.", unit="turns", example="516")]
    resistance_ohm: Annotated[
        NotNegative | None,
        Says(
            "The resistance of the section, taken as it is stated.",
            unit="ohm",
            example="0.58",
            default="that of the wire, where `wire_mm` and the length of a turn are known; else none is counted",
        ),
    ] = None
    leakage_ohm: Annotated[
        NotNegative,
        Says("The leakage reactance of the section, in series with its resistance.", unit="ohm", example="0.2"),
    ] = Fraction(0)
    wire_mm: Annotated[
        Positive | None, Says("The diameter of the bare wire.", unit="mm", example="0.9", default="`rate` chooses it")
    ] = None
    strands: Annotated[
        Few | None,
        Says(
            "How many wires, or strips, run side by side as one turn; they share the current.",
            unit="wires",
            example="2",
            default="one; where `rate` chooses the wire, as many as it takes",
        ),
    ] = None
    strip_mm: Annotated[
        Sides | None,
        Says(
            "A bare strip in place of a round wire: its thickness, outward from the limb, and its width along it.",
            unit="mm",
            example="[2, 5]",
            default="a round wire",
            instead="`wire_mm`",
        ),
    ] = None
    covering_mm: Annotated[
        NotNegative | None,
        Says(
            "What the covering of the wire adds to its diameter, or to thickness and width of the strip.",
            unit="mm",
            example="0.1",
            default="that of the enamel, by `enamel_grade` of [copper]",
        ),
    ] = None
    core: Annotated[
        Name,
        Says(
            "The core on which the section is wound; sections that name one core share its volts per turn.",
            example='"core"',
        ),
    ] = "core"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pole:
    """One changeover contact: COM rests on NC and moves to NO when the coil is driven."""

    com: Annotated[Name, Says("The point of the common contact.", example='"OUT"')]
    nc: Annotated[
        Name | None,
        Says(
            "The point on which the common rests while the coil is off.",
            example='"T3"',
            default="nothing: the contact only makes",
        ),
    ] = None
    no: Annotated[
        Name | None,
        Says(
            "The point to which the common moves when the coil is driven.",
            example='"T1"',
            default="nothing: the contact only breaks",
        ),
    ] = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Relay:
    """A coil and the contacts it moves: one pole written in the table itself, or several as `poles`.

    Times are the least and the most a relay can take: from the coil's change to the first change of a contact
    (operate, release), from one throw's opening to the other's first touch (transfer), and until that is still
    (bounce); a contact that makes before it breaks touches and bounces first, and opens after the transfer. A file
    that gives one number gives the most; the least is then 0.
    """

    name: Annotated[Name, Says("The name of the relay; no other relay has it.", example='"K1"')]
    com: Annotated[
        Name | None,
        Says("The point of the common contact.", example='"OUT"', default="required, or `poles` in its place"),
    ] = None
    nc: Annotated[
        Name | None,
        Says(
            "The point on which the common rests while the coil is off.",
            example='"T3"',
            default="nothing: the contact only makes",
        ),
    ] = None
    no: Annotated[
        Name | None,
        Says(
            "The point to which the common moves when the coil is driven.",
            example='"T1"',
            default="nothing: the contact only breaks",
        ),
    ] = None
    poles: Annotated[
        Annotated[tuple[Pole, ...], Entries(least=1)] | None,
        Says(
            "The contacts that one coil moves at one instant, each a table of `com`, `nc` and `no`.",
            example='[{ com = "OUT", nc = "T3", no = "T1" }]',
            default="one, of `com`, `nc` and `no`",
            instead="`com`, `nc` and `no`",
        ),
    ] = None
    contact: Annotated[
        Literal["break-before-make", "make-before-break"],
        Says(
            "What a changeover does first: it opens the old throw, or closes the new one, so that both are closed "
            "for a while.",
            example='"break-before-make"',
        ),
    ] = "break-before-make"
    operate_ms: Annotated[
        Times | None,
        Says(
            "From the coil's drive to the first change of a contact: the most, or the least and the most.",
            unit="ms",
            example="[4, 9]",
            default=f"at most {DEFAULT_OPERATE_MS} (common practice, no source)",
        ),
    ] = None
    release_ms: Annotated[
        Times | None,
        Says(
            "From the end of the coil's drive to the first change of a contact: the most, or the least and the most.",
            unit="ms",
            example="6",
            default=f"at most {DEFAULT_RELEASE_MS} (common practice, no source)",
        ),
    ] = None
    transfer_ms: Annotated[
        Times | None,
        Says(
            "From the opening of one throw to the first touch of the other, or, where it makes before it breaks, how "
            "long both are closed once the new one is still: the most, or the least and the most. Nought where "
            "semiconductors change over at once.",
            unit="ms",
            example="4",
            default=f"at most {DEFAULT_TRANSFER_MS} (common practice, no source)",
        ),
    ] = None
    bounce_ms: Annotated[
        Times | None,
        Says(
            "From the first touch until the contact is still: the most, or the least and the most.",
            unit="ms",
            example="2",
            default=f"at most {DEFAULT_BOUNCE_MS} (common practice, no source)",
        ),
    ] = None
    contact_a: Annotated[
        Positive | None,
        Says(
            "The RMS current that each contact may carry.",
            unit="A",
            place="through the contact",
            example="10",
            default="no verdict on it",
        ),
    ] = None
    contact_v: Annotated[
        Positive | None,
        Says(
            "The RMS voltage that the open gap of each contact may hold off.",
            unit="V",
            place="across the open gap",
            example="300",
            default="no verdict on it",
        ),
    ] = None
    contact_ohm: Annotated[
        NotNegative | None,
        Says("The resistance of each closed contact.", unit="ohm", example="0.01", default="none is counted"),
    ] = None
    contact_make_a: Annotated[
        Positive | None,
        Says(
            "The peak current onto which each contact may close.",
            unit="A",
            place="through the contact",
            example="30",
            default="no verdict on it",
        ),
    ] = None
    coil_v: Annotated[
        Positive | None,
        Says("The rated voltage of the coil.", unit="V", place="at the coil", example="12", default="not known"),
    ] = None
    coil_w: Annotated[
        Positive | None,
        Says(
            "What the coil takes at its rated voltage.",
            unit="W",
            place="at the coil",
            example="0.4",
            default="not known",
        ),
    ] = None
    endurance: Annotated[
        Positive | None,
        Says(
            "How many operations the contacts last at their rated load.",
            unit="operations",
            example="100000",
            default="no life is worked out",
        ),
    ] = None
    moves_a_day: Annotated[
        Positive | None,
        Says(
            "How often the relay moves in a day; with `endurance` it gives the years that the contacts last.",
            unit="moves a day",
            example="20",
            default="no life is worked out",
        ),
    ] = None

    @property
    def makes_first(self) -> bool:
        """Whether it closes the new throw before it opens the old one."""
        return self.contact == "make-before-break"

    @property
    def all_poles(self) -> tuple[Pole, ...]:
        """The poles, however the file wrote them."""
        if self.poles is not None:
            return self.poles
        return () if self.com is None else (Pole(com=self.com, nc=self.nc, no=self.no),)
