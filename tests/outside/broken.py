"""A stage with one fault in it, for the solver of `stage`: contacts taken away or tied, windings and leads cut.

The names of faults are the format's; what they mean is said here once more, in other terms than the package's own.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from fractions import Fraction

from tests.outside.stage import DRIVEN, REST, Network, Outcome, Pole, Relay, Stage, read

OFF = "(the lead that came off)"
FACTORS = {"scaled-high": Fraction(11, 10), "scaled-low": Fraction(9, 10), "lost": Fraction(0)}


def copper_of(text: str) -> Stage:
    """The stage of a file without its bands, which may leave their holds to be placed, and without load."""
    bare = re.sub(r"^\[\[band\]\]\n(?:(?!\[).*\n?)*", "", text, flags=re.MULTILINE)
    return replace(read(bare), load_ohm=None)


@dataclass(frozen=True)
class BrokenStage:
    """A stage, and the relays whose armature stays where it is; `factor` is the reading over the right one."""

    network: Network
    held: dict[str, int]
    factor: Fraction = Fraction(1)

    def outcome(self, energised: frozenset[str]) -> Outcome:
        """What it does when these coils get their volts."""
        stage = self.network.stage
        positions = (self.held.get(one.name, DRIVEN if one.name in energised else REST) for one in stage.relays)
        return self.network.outcome(tuple(positions))

    def read(self, energised: frozenset[str]) -> Fraction | None:
        """The reading of one volt at the inlet; a detector does not see which way round its winding is."""
        at_inlet = self.network.stage.sensing.at == "input"
        sensed = Fraction(1) if at_inlet else self.outcome(energised).sensed
        return None if sensed is None else abs(sensed) * self.factor


def broken_stage(stage: Stage, part: str, fault: str) -> BrokenStage:
    """The stage with that part broken that way."""
    match fault:
        case "stuck-rest":
            return BrokenStage(Network(stage), {part: REST})
        case "stuck-driven":
            return BrokenStage(Network(stage), {part: DRIVEN})
        case "nc-open" | "no-open" | "com-open" | "bridged":
            return _contact(stage, part, fault)
        case "open":
            kept = tuple(one for one in stage.windings if one.name != part)
            return BrokenStage(Network(replace(stage, windings=kept)), {})
        case "lead-open":
            return BrokenStage(Network(_without_lead(stage, part)), {})
        case "frozen":
            return BrokenStage(Network(stage), {})
    return BrokenStage(Network(stage), {}, FACTORS[fault])


def _contact(stage: Stage, part: str, fault: str) -> BrokenStage:
    named, _, number = part.rpartition(".")
    known = {one.name for one in stage.relays}
    name, pole = (part, 0) if part in known else (named, int(number) - 1)
    relays, tied = [], []
    for relay in stage.relays:
        if relay.name != name:
            relays.append(relay)
            continue
        old = relay.poles[pole]
        if fault == "bridged":
            tied = [replace(relay, name=f"tie {end}", poles=(Pole(old.com, end, None),)) for end in (old.nc, old.no)]
        poles = list(relay.poles)
        poles[pole] = Pole(
            old.com,
            None if fault in ("nc-open", "com-open") else old.nc,
            None if fault in ("no-open", "com-open") else old.no,
        )
        relays.append(replace(relay, poles=tuple(poles)))
    return BrokenStage(Network(replace(stage, relays=(*relays, *tied))), {})


def _without_lead(stage: Stage, point: str) -> Stage:
    """What hung on the tap by its lead hangs together still, and on nothing; the windings stay joined."""

    def led(name: str | None) -> str | None:
        return OFF if name == point else name

    def moved(relay: Relay) -> Relay:
        poles = tuple(Pole(led(one.com) or "", led(one.nc), led(one.no)) for one in relay.poles)
        return replace(relay, poles=poles)

    return replace(
        stage,
        relays=tuple(moved(one) for one in stage.relays),
        line=led(stage.line) or "",
        neutral=led(stage.neutral) or "",
        output=led(stage.output) or "",
    )
