"""The verdict on a design: what it promises and by what margin, what should be mended, what every such stage has.

A *promise* is a fault code that applies to the design, held or broken. A *finding* is what someone can and should
mend. A *trait* is a figure that no relay stage is free of; it is a finding only where the file states a limit that it
breaks, or where a better choice is known and named.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from fractions import Fraction

from tapplan.checks.coverage import unheld_readings
from tapplan.checks.finding import Finding, Severity, Witness, volts
from tapplan.checks.margins import margins
from tapplan.checks.review import Review
from tapplan.checks.rules import CODES, findings_in
from tapplan.design.model import Accept, Design
from tapplan.design.objection import quoted
from tapplan.errors import TableError
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


@dataclass(frozen=True, slots=True)
class Trait:
    """A figure: its worst value and where, how many rows are behind it, how long it lasts, and a limit stated for it.

    `verb` is the one that tells more.
    """

    code: str
    value: Fraction
    unit: str
    where: str
    verb: str
    rows: int
    lasts_ms: Fraction | None = None
    limit: Fraction | None = None

    @property
    def side(self) -> str:
        """Of a sudden step, over or under the curve; else nothing."""
        return self.where.rpartition(", ")[2].partition(" ")[0] if self.code == "slow-recovery" else ""

    @property
    def broken(self) -> bool:
        """Whether it lies beyond its limit: under it for a dip, over it for all else."""
        if self.limit is None:
            return False
        return self.value < self.limit if self.code == "race-dip" else self.value > self.limit


@dataclass(frozen=True, slots=True)
class Accepted:
    """A finding that the file sets apart, and why."""

    finding: Finding
    reason: str


@dataclass(frozen=True, slots=True)
class Judgement:
    """All three parts; findings in order of severity and importance, accepted ones set apart."""

    promises: tuple[Promise, ...]
    findings: tuple[Finding, ...]
    traits: tuple[Trait, ...]
    accepted: tuple[Accepted, ...]

    @property
    def sound(self) -> bool:
        """Whether no fault is left."""
        return all(one.held for one in self.promises)

    @property
    def least(self) -> Promise | None:
        """The promise with the least margin; None where none has any."""
        known = [one for one in self.promises if one.margin is not None]
        return min(known, key=lambda one: one.margin or Fraction(0), default=None)

    @property
    def told(self) -> str:
        """The verdict in a sentence."""
        broken = sum(not one.held for one in self.promises)
        if broken:
            return f"Not sound: {broken} of {len(self.promises)} promises broken"
        least = self.least
        margin = "" if least is None else f"; the least margin is {_short(least.margin)}, {least.where}"
        return f"Sound: all {len(self.promises)} promises hold{margin}"


def _short(value: Fraction | None) -> str:
    return volts(Fraction(round((value or Fraction(0)) * 100), 100))


# --- promises ---

Applies = Callable[[Design], bool]
TraitMeasure = Callable[[Review], tuple[Fraction, str] | None]


def _always(_: Design) -> bool:
    return True


def _several(design: Design) -> bool:
    return len(design.bands) != 1


def _relays(key: str) -> Applies:
    return lambda design: any(getattr(relay, key) is not None for relay in design.relays)


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
    "over-flux": lambda design: design.core is not None and design.core.flux_limit_t is not None,
    "over-current": lambda design: design.copper.density_a_mm2 is not None,
    "contact-overload": lambda design: _relays("contact_a")(design) or _relays("contact_v")(design),
    "make-overload": _relays("contact_make_a"),
    "window-full": lambda design: design.core is not None and design.core.fill_limit is not None,
    "coil-starved": lambda design: design.coil_supply is not None,
    "fuse-overload": lambda design: design.protection is not None and design.protection.fuse_a is not None,
    "slow-recovery": lambda design: design.output.tolerance_curve is not None,
    "unsafe-rest": _always,
}


def _window_margin(review: Review) -> tuple[Fraction, str] | None:
    worst = min(margins(review), key=lambda one: one.margin_v, default=None)
    return None if worst is None else (worst.margin_v, f'band "{worst.row.name}" at {_short(worst.input_v)}')


def _overlap_margin(review: Review) -> tuple[Fraction, str] | None:
    meeting = (one for one in review.table.meetings() if one.overlap >= 0)  # else it is a dead zone, and only that
    worst = min(meeting, key=lambda one: one.margin, default=None)
    return None if worst is None else (worst.margin, f'bands "{worst.below.name}" and "{worst.above.name}"')


def _hold_margin(review: Review) -> tuple[Fraction, str] | None:
    """How far what is held reaches beyond the readings of promised inputs; less where it parts among them."""
    blur, mains = review.table.blur, review.mains
    found: list[tuple[Fraction, str]] = []
    for one in unheld_readings(review.table):
        below, above = one.below, one.above
        if below is not None and above is not None:
            if one.inputs(blur).meet(mains) is not None:
                found.append((one.low - one.high, f'bands "{below.name}" and "{above.name}"'))
        elif above is not None and above.read is not None:
            beyond = blur.readings(mains, above.read).low - above.kept.low
            found.append((beyond, f'below band "{above.name}"'))
        elif below is not None and below.read is not None:
            beyond = below.kept.high - blur.readings(mains, below.read).high
            found.append((beyond, f'above band "{below.name}"'))
    return min(found, default=None)


def _return_margin(review: Review) -> tuple[Fraction, str] | None:
    backup, read = review.design.backup, review.table.away.read
    if backup is None or read is None:
        return None
    needed, given = review.table.blur.readings(review.mains, read), Span(*backup.return_v)
    return min((needed.low - given.low, "return_v, low side"), (given.high - needed.high, "return_v, high side"))


MEASURES: dict[str, TraitMeasure] = {
    "out-of-window": _window_margin,
    "chatter": _overlap_margin,
    "dead-zone": _hold_margin,
    "stranded": _return_margin,
}


def _applies(code: str, design: Design) -> bool:
    return code in APPLIES and APPLIES[code](design)


def _promises(review: Review, faults: set[str]) -> Iterator[Promise]:
    """Every fault code that applies; one that applies only by its fault, such as a limit stated, is there as well."""
    applying = [code for code in CODES if code in faults or _applies(code, review.design)]
    for code in applying:
        found = MEASURES[code](review) if code in MEASURES else None
        margin, where = found if found is not None else (None, "")
        yield Promise(code, code not in faults, margin, where)


# --- traits ---


def _no_limit(_: Design) -> Fraction | None:
    return None


@dataclass(frozen=True, slots=True)
class Figure:
    """How a trait is read from the witnesses of its rows: which value, in which unit, the higher the worse or not."""

    unit: str
    verb: str
    value: Callable[[Witness], Fraction | None]
    higher: bool = True
    limit: Callable[[Design], Fraction | None] = _no_limit


def _limit(key: str) -> Callable[[Design], Fraction | None]:
    return lambda design: getattr(design.limits, key)


def _rest_limit(design: Design) -> Fraction | None:
    rest = design.limits.rest_v
    return None if rest is None else rest / design.output.nominal_v


def _one(_: Witness) -> Fraction:
    return Fraction(1)


FIGURES: dict[str, Figure] = {
    "move-gap": Figure("ms", "moves", lambda one: one.lasts_ms, limit=_limit("move_gap_ms")),
    "race-short": Figure("moves", "moves", _one),
    "race-overvoltage": Figure("V", "moves", lambda one: one.output_v, limit=_limit("surge_v")),
    "race-dip": Figure("V", "moves", lambda one: one.output_v, higher=False, limit=_limit("dip_v")),
    "dropout-unsafe": Figure("V", "moves", lambda one: one.output_v, limit=_limit("surge_v")),
    "flight-inrush": Figure("x flux", "moves", lambda one: one.factor, limit=_limit("flux_factor")),
    "slow-recovery": Figure("V", "steps", lambda one: one.output_v),
    "stuck-short": Figure("faults", "faults", _one, limit=_limit("stuck_shorts")),
    "stuck-overvoltage": Figure("faults", "faults", _one),
    "unsafe-rest": Figure("x nominal", "table", lambda one: one.factor, limit=_rest_limit),
}
COUNTED = ("moves", "faults")  # units of traits whose value is how many rows they have


def traits_of(review: Review, rows: list[Finding]) -> list[Trait]:
    """The figures, one for each code (of sudden steps one for each side of the curve), in the order of the rules."""
    groups: dict[tuple[str, str], list[Finding]] = {}
    for one in rows:
        side = one.where.rpartition(", ")[2] if one.code == "slow-recovery" else ""
        groups.setdefault((one.code, side), []).append(one)
    found = [_trait(review, group) for group in groups.values()]
    return [one for one in found if one is not None]


def _trait(review: Review, rows: list[Finding]) -> Trait | None:
    figure = FIGURES[rows[0].code]
    valued = [(value, one) for one in rows if (value := figure.value(one.witness)) is not None]
    if not valued:
        return None
    value, worst = (max if figure.higher else min)(valued, key=lambda pair: pair[0])
    if figure.unit in COUNTED:
        value = Fraction(len(rows))
    if rows[0].code == "unsafe-rest":
        value, worst = max(valued, key=lambda pair: abs(pair[0] - 1))
    limit = figure.limit(review.design)
    return Trait(rows[0].code, value, figure.unit, worst.where, figure.verb, len(rows), worst.witness.lasts_ms, limit)


def _beyond(trait: Trait) -> Finding:
    side = "under" if trait.code == "race-dip" else "over"
    value, limit = (f"{float(one):.4g} {trait.unit}" for one in (trait.value, trait.limit or Fraction(0)))
    message = f"{value}, {side} the limit of {limit} that [limits] states"
    return Finding(trait.code, Severity.FAULT, trait.where, message, Witness(lasts_ms=trait.lasts_ms))


# --- all of it ---


def judged(review: Review) -> Judgement:
    """Promises, findings, traits, and what the file accepts.

    Raises:
        TableError: the file accepts a code that there is not.
    """
    for number, one in enumerate(review.design.accept):
        if one.code not in CODES:
            raise TableError(("accept", number, "code"), f'"{one.code}"', f"a code of {quoted(CODES, 100)}")
    every = findings_in(review)
    rows = [one for one in every if one.code in FIGURES]
    traits = traits_of(review, rows)
    found = [one for one in every if one.code not in FIGURES or one.severity is Severity.FAULT or one.advice]
    found = [*(_beyond(one) for one in traits if one.broken), *found]
    left, accepted = _accepting(review.design.accept, found)
    faults = {one.code for one in found if one.severity is Severity.FAULT}
    order = {severity: place for place, severity in enumerate(Severity)}
    return Judgement(
        tuple(_promises(review, faults)),
        tuple(sorted(left, key=lambda one: order[one.severity])),
        tuple(traits),
        tuple(accepted),
    )


def _accepting(accept: tuple[Accept, ...], found: list[Finding]) -> tuple[list[Finding], list[Accepted]]:
    """The findings left, and those that the file accepts; an acceptance that meets no warning or note is stale."""
    left, accepted = list(found), []
    for number, one in enumerate(accept, 1):
        met = [
            finding
            for finding in left
            if finding.code == one.code
            and finding.severity is not Severity.FAULT
            and one.where in (None, finding.where)
        ]
        accepted += [Accepted(finding, one.reason) for finding in met]
        left = [finding for finding in left if finding not in met]
        if not met:
            place = f'accept[{number}], "{one.code}"' + (f" at {one.where}" if one.where else "")
            left.append(
                Finding(
                    "stale-accept", Severity.NOTE, place, "no warning or note of this design is like that", Witness()
                )
            )
    return left, accepted
