"""What `fit` may choose, and what it must keep to."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal, get_args

from tapplan.design.marks import Entries, Says
from tapplan.design.names import Name
from tapplan.design.numbers import Few, NotNegative, Positive, Range, Turns, TurnsSpan

Arrangement = Literal["line-chain", "output-chain", "both-sides", "add-in", "reversing", "free", "trees", "mixed"]
Objective = Literal["room", "moves", "deviation", "transformed"]
OBJECTIVES: tuple[str, ...] = get_args(Objective)
Rest = Literal["lowest", "direct"]

# Between what the stack of a lamination is high, in widths of its leg, where not stated; common practice, no source.
STACK_RATIO = (Fraction(8, 10), Fraction(16, 10))


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What `fit` may choose: the turns from neutral to the highest tap, the arrangements, and limits people have.

    `taps`: the taps of a winding that exists, in place of `total_turns`. `relays`: just so many. `require_direct`:
    one ratio is exactly 1. `rest`: what the output stands on with all coils off, the lowest ratio or the direct one.
    `single_moves`: neighbouring bands differ in one relay. Turns are multiples of `turns_multiple`;
    neighbouring ratios differ by at most `largest_step_pct`; no turn carries more than `volts_per_turn_max`.
    `preferred_v`: outputs wanted, inside the window that is a must. `cores` are those to choose from; `contact_*` and
    `coil_*` are those of every relay that is made.
    """

    total_turns: Annotated[
        TurnsSpan | None,
        Says(
            "Turns from neutral to the highest tap: so many, or the least and the most.",
            unit="turns",
            example="[200, 1000]",
            default="required, or `taps` in its place; where [core] or `cores` sets the flux, as many as it asks for",
        ),
    ] = None
    taps: Annotated[
        tuple[Turns, ...],
        Entries(most=12),
        Says(
            "The taps of a winding that exists, each in turns from neutral.",
            unit="turns",
            example="[300, 344, 396]",
            instead="`total_turns`",
        ),
    ] = ()
    arrangements: Annotated[
        tuple[Arrangement, ...],
        Entries(least=1),
        Says("The wirings that are tried.", example='["line-chain", "both-sides"]'),
    ] = (
        "line-chain",
        "output-chain",
        "both-sides",
        "trees",
        "add-in",
        "mixed",
        "reversing",
    )
    relays: Annotated[
        Few | None, Says("Just so many relays.", unit="relays", example="3", default="any number up to `relays_max`")
    ] = None
    relays_max: Annotated[Few, Says("The most relays.", unit="relays", example="4")] = Fraction(4)
    two_pole_max: Annotated[
        Few,
        Says("The most relays that have two poles, in trees.", unit="relays", example="2"),
    ] = Fraction(1)
    taps_max: Annotated[
        Few | None,
        Says("The most points that the winding has brought out.", unit="taps", example="4", default="no limit"),
    ] = None
    require_direct: Annotated[bool, Says("Whether one ratio is exactly 1.", example="true")] = False
    single_moves: Annotated[bool, Says("Whether neighbouring bands differ in one relay only.", example="true")] = (
        False
    )
    rest: Annotated[
        Rest,
        Says(
            "What the output stands on with all coils off: the lowest ratio, or the direct one, which must then "
            "be there.",
            example='"direct"',
        ),
    ] = "lowest"
    turns_multiple: Annotated[Few, Says("All turns are multiples of so many.", unit="turns", example="2")] = Fraction(
        1
    )
    largest_step_pct: Annotated[
        Positive | None,
        Says("How far neighbouring ratios may differ at most.", unit="%", example="16", default="no limit"),
    ] = None
    volts_per_turn_max: Annotated[
        Positive | None,
        Says(
            "The most volts on one turn.",
            unit="V",
            place="per turn",
            example="0.5",
            default="no limit but that of `flux_limit_t` in [core]",
        ),
    ] = None
    preferred_v: Annotated[
        Range | None,
        Says(
            "Outputs that are wanted, inside the window that is a must.",
            unit="V",
            place="at the output",
            example="[209, 231]",
            default="the nominal voltage alone",
        ),
    ] = None
    cores: Annotated[
        tuple[Name, ...],
        Says(
            'Laminations of which the smallest that will do is taken, or ["choose"] for all that are known.',
            example='["EI 120", "EI 150N"]',
            default="the core of [core]",
        ),
    ] = ()
    stack_ratio: Annotated[
        Range | None,
        Says(
            "How high the stack of a lamination of `cores` may be, least and most, in widths of its leg.",
            example="[0.8, 1.6]",
            default=f"{float(STACK_RATIO[0]):g} to {float(STACK_RATIO[1]):g} (common practice, no source)",
        ),
    ] = None
    sensing_v: Annotated[
        Positive | None,
        Says(
            "What a winding made for sensing is to show at the nominal mains; `at` of [sensing] names its two ends.",
            unit="V",
            place="between the two ends",
            example="12",
            default="no winding is made for it",
        ),
    ] = None
    contact_a: Annotated[
        Positive | None,
        Says(
            "The `contact_a` of every relay.",
            unit="A",
            place="through the contact",
            example="10",
            default="not stated",
        ),
    ] = None
    contact_v: Annotated[
        Positive | None,
        Says(
            "The `contact_v` of every relay.",
            unit="V",
            place="across the open gap",
            example="600",
            default="not stated",
        ),
    ] = None
    contact_ohm: Annotated[
        NotNegative | None,
        Says("The `contact_ohm` of every relay.", unit="ohm", example="0.02", default="not stated"),
    ] = None
    coil_v: Annotated[
        Positive | None,
        Says("The `coil_v` of every relay.", unit="V", place="at the coil", example="12", default="not stated"),
    ] = None
    coil_w: Annotated[
        Positive | None,
        Says("The `coil_w` of every relay.", unit="W", place="at the coil", example="0.4", default="not stated"),
    ] = None
    objective: Annotated[
        Objective,
        Says(
            "What is best: most room between neighbours, fewest relays a move, least mean distance from what is "
            "wanted, or least power through the core.",
            example='"room"',
        ),
    ] = "room"
