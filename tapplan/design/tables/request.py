"""What `fit` may choose, and what it must keep to."""

from dataclasses import dataclass
from fractions import Fraction
from typing import Annotated, Literal, get_args

from tapplan.design.marks import Entries
from tapplan.design.numbers import Few, Positive, Range, Turns, TurnsSpan

Arrangement = Literal["line-chain", "output-chain", "both-sides", "add-in", "reversing", "free"]
Objective = Literal["room", "moves", "deviation", "transformed"]
OBJECTIVES: tuple[str, ...] = get_args(Objective)
Rest = Literal["lowest", "direct"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Fit:
    """What `fit` may choose: the turns from neutral to the highest tap, the arrangements, and limits people have.

    `taps`: the taps of a winding that exists, in place of `total_turns`. `relays`: just so many. `require_direct`:
    one ratio is exactly 1. `rest`: what the output stands on with all coils off, the lowest ratio or the direct one.
    `single_moves`: neighbouring bands differ in one relay. Turns are multiples of `turns_multiple`;
    neighbouring ratios differ by at most `largest_step_pct`; no turn carries more than `volts_per_turn_max`.
    `preferred_v`: outputs wanted, inside the window that is a must.
    """

    total_turns: TurnsSpan | None = None
    taps: Annotated[tuple[Turns, ...], Entries(most=12)] = ()
    arrangements: Annotated[tuple[Arrangement, ...], Entries(least=1)] = (
        "line-chain",
        "output-chain",
        "both-sides",
        "add-in",
        "reversing",
    )
    relays: Few | None = None
    relays_max: Few = Fraction(4)
    taps_max: Few | None = None
    require_direct: bool = False
    single_moves: bool = False
    rest: Rest = "lowest"
    turns_multiple: Few = Fraction(1)
    largest_step_pct: Positive | None = None
    volts_per_turn_max: Positive | None = None
    preferred_v: Range | None = None
    objective: Objective = "room"
