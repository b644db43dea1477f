"""What a design promises: each fault code that applies, held or broken, with its least margin where it has one."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks import where
from tapplan.checks.coverage import unheld_readings
from tapplan.checks.margins import margins
from tapplan.checks.review import Review
from tapplan.checks.rules import CODES
from tapplan.checks.sentences.words import short_volts
from tapplan.design.model import Design, Relay
from tapplan.exact import Span


@dataclass(frozen=True, slots=True)
class Promise:
    """One fault code that applies: whether it is free of faults, and its least margin and place, where it has one.

    Margins of `out-of-window` are output volts, of `chatter` input volts of overlap beyond the noise, of `dead-zone`
    and `stranded` readings beyond those that must be held; negative when broken.
    """

    code: str
    held: bool
    margin: Fraction | None = None
    where: str = ""


Applies = Callable[[Design], bool]


@dataclass(frozen=True, slots=True, order=True)
class Least:
    """The least margin of a promise, and where it stands."""

    margin: Fraction
    where: str


LeastOf = Callable[[Review], Least | None]


def _always(_: Design) -> bool:
    return True


def _several(design: Design) -> bool:
    return len(design.bands) != 1


def _rated(limits: Callable[[Relay], tuple[Fraction | None, ...]]) -> Applies:
    return lambda design: any(limit is not None for relay in design.relays for limit in limits(relay))


APPLIES: dict[str, Applies] = {
    "uncovered-range": _always,
    "dead-zone": _always,
    "stranded": lambda design: design.backup is not None,
    "out-of-window": _always,
    "chatter": _several,
    "wrong-way": _several,
    "hunting": _several,
    "backup-cycling": lambda design: design.backup is not None,
    "blind-reading": lambda design: design.sensing.at != "input",
    "shorted-state": _always,
    "floating-state": _always,
    "unfed-state": _always,
    "dead-state": _always,
    "reversed-state": _always,
    "undetermined-state": lambda design: len({winding.core for winding in design.windings}) > 1,
    "race-short": lambda design: len(design.relays) > 1,
    "lost-in-counts": lambda design: design.controller is not None,
    "error-budget": lambda design: design.controller is not None,
    "converter-range": lambda design: design.controller is not None,
    "backfeed": lambda design: bool(design.feeds),
    "load-collapse": lambda design: design.output.load_va is not None,
    "feed-out-of-window": lambda design: bool(design.feeds),
    "charger-reach": lambda design: design.battery is not None and design.battery.charger == "step-down",
    "over-load": lambda design: (
        design.output.load_va is not None
        and (design.copper.density_a_mm2 is not None or any(relay.contact_a is not None for relay in design.relays))
    ),
    "over-flux": lambda design: design.core is not None and design.core.flux_limit_t is not None,
    "over-current": lambda design: design.copper.density_a_mm2 is not None,
    "contact-overload": _rated(lambda relay: (relay.contact_a, relay.contact_v)),
    "make-overload": _rated(lambda relay: (relay.contact_make_a,)),
    "window-full": lambda design: (
        design.core is not None and (design.core.fill_limit is not None or design.former is not None)
    ),
    "coil-starved": lambda design: design.coil_supply is not None,
    "fuse-overload": lambda design: design.protection is not None and design.protection.fuse_a is not None,
    "slow-recovery": lambda design: design.output.tolerance_curve is not None,
    "unsafe-rest": _always,
}


def _window_margin(review: Review) -> Least | None:
    worst = min(margins(review), key=lambda one: one.margin_v, default=None)
    if worst is None:
        return None
    return Least(worst.margin_v, f"{where.in_band(worst.row.name)} at {short_volts(worst.input_v)}")


def _overlap_margin(review: Review) -> Least | None:
    meeting = (one for one in review.table.meetings() if one.overlap >= 0)  # else it is a dead zone, and only that
    worst = min(meeting, key=lambda one: one.margin, default=None)
    return None if worst is None else Least(worst.margin, where.in_bands(worst.below.name, worst.above.name))


def _hold_margin(review: Review) -> Least | None:
    """How far what is held reaches beyond the readings of promised inputs; less where it parts among them."""
    blur, mains = review.table.blur, review.mains
    found: list[Least] = []
    for one in unheld_readings(review.table):
        below, above = one.below, one.above
        if below is not None and above is not None:
            if one.inputs(blur).meet(mains) is not None:
                found.append(Least(one.low - one.high, one.where))
        elif above is not None and above.read is not None:
            beyond = blur.readings(mains, above.read).low - above.kept.low
            found.append(Least(beyond, one.where))
        elif below is not None and below.read is not None:
            beyond = below.kept.high - blur.readings(mains, below.read).high
            found.append(Least(beyond, one.where))
    return min(found, default=None)


def _return_margin(review: Review) -> Least | None:
    backup, read = review.design.backup, review.table.away.read
    if backup is None or read is None:
        return None
    needed, given = review.table.blur.readings(review.mains, read), Span(*backup.return_v)
    low = Least(needed.low - given.low, "return_v, low side")
    return min(low, Least(given.high - needed.high, "return_v, high side"))


MEASURES: dict[str, LeastOf] = {
    "out-of-window": _window_margin,
    "chatter": _overlap_margin,
    "dead-zone": _hold_margin,
    "stranded": _return_margin,
}


def _applies(code: str, design: Design) -> bool:
    return code in APPLIES and APPLIES[code](design)


def promises(review: Review, faults: Collection[str]) -> Iterator[Promise]:
    """Every fault code that applies; one that applies only by its fault, such as a limit stated, is there as well."""
    applying = [code for code in CODES if code in faults or _applies(code, review.design)]
    for code in applying:
        found = MEASURES[code](review) if code in MEASURES else None
        kept = code not in faults
        yield Promise(code, kept) if found is None else Promise(code, kept, found.margin, found.where)
