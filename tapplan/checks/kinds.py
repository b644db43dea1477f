"""What the relay states are: unusable ones, duplicates, and the state with every coil off."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from tapplan.checks.finding import Finding, Severity, Witness, relays, volts
from tapplan.checks.review import Review
from tapplan.design.model import Feed
from tapplan.network.states import Census, State, in_file_order, state_of
from tapplan.network.turns import Kind, NoGain
from tapplan.rating.fed import fed, stated_state

UNUSABLE: dict[Kind, str] = {
    Kind.SHORTED: "closed contacts bridge turns or tie the line to neutral",
    Kind.FLOATING: "the output is joined to nothing that is fed",
    Kind.UNFED: "no closed circuit runs from the line through turns to neutral",
    Kind.DEAD: "the output stands at neutral",
    Kind.REVERSED: "the output is in antiphase to the line",
    Kind.UNDETERMINED: "nothing fixes the volts per turn of every core in the path",
}


def unusable_states(review: Review) -> Iterator[Finding]:
    """States no band may use: a fault where one does, a note where only wrong coil drive leads there."""
    used = set()
    for row in review.table.rows:
        if row.state.kind in UNUSABLE:
            used.add(row.energised)
            yield _used(f'band "{row.name}"', row.state, (row.name,))
    backup = review.design.backup
    if backup is not None:
        away = state_of(review.circuit, tuple(name for name in review.circuit.relays if name in backup.energised))
        if away.kind is Kind.SHORTED:
            used.add(away.energised)
            yield _used("backup", away, None)
    for feed in review.design.feeds:
        yield from _while_fed(review, feed, used)
    for kind, reason in UNUSABLE.items():
        yield from _unused(review, kind, (reason, used))


def _while_fed(review: Review, feed: Feed, used: set[tuple[str, ...]]) -> Iterator[Finding]:
    """The state stated for a feed, when it shorts turns or leaves the output without the feed's volts."""
    stated = stated_state(review.design, feed)
    if stated is None:
        return
    one = fed(review.design, review.circuit, feed, in_file_order(review.circuit, stated))
    if one.fault is Kind.SHORTED:
        used.add(one.state.energised)
        yield _used(f'feed "{feed.name}"', one.state, None)
    elif one.fault is not None:
        yield Finding(
            f"{one.fault.value}-state",
            Severity.FAULT,
            f'feed "{feed.name}"',
            f"while it runs with {relays(one.state.energised)} {UNUSABLE[one.fault]}",
            Witness(energised=one.state.energised),
        )


def _used(where: str, state: State, bands: tuple[str, ...] | None) -> Finding:
    reason = state.outcome.reason if isinstance(state.outcome, NoGain) else UNUSABLE[state.kind]
    return Finding(
        f"{state.kind.value}-state",
        Severity.FAULT,
        where,
        f"with {relays(state.energised)} {reason}",
        Witness(bands=bands, energised=state.energised, ratio=state.ratio),
    )


def _unused(review: Review, kind: Kind, known: tuple[str, set[tuple[str, ...]]]) -> Iterator[Finding]:
    reason, used = known
    entries = [entry for entry in review.census if entry.kind is kind]
    count = sum(entry.count for entry in entries)
    count -= sum(1 for energised in used if state_of(review.circuit, energised).kind is kind)
    examples = [e for entry in entries for e in entry.examples if e not in used]
    if count and examples:
        states = f"{count} relay states" if count > 1 else "one relay state"
        yield Finding(
            f"{kind.value}-state",
            Severity.NOTE,
            "relay states",
            f"{states} no band uses, such as {relays(examples[0])}: {reason}",
            Witness(energised=examples[0], states=tuple(examples[:8]), count=count),
        )


def duplicate_states(review: Review) -> Iterator[Finding]:
    """Relay states that give the same ratio."""
    by_ratio: dict[Fraction | None, list[Census]] = {}
    for entry in review.census:
        by_ratio.setdefault(entry.ratio, []).append(entry)
    for ratio, alike in by_ratio.items():
        count = sum(entry.count for entry in alike)
        examples = tuple(example for entry in alike for example in entry.examples)
        if ratio is not None and count > 1:
            yield Finding(
                "duplicate-state",
                Severity.NOTE,
                f"ratio {ratio}",
                f"{count} relay states give it, among them "
                + " and ".join(relays(example) for example in examples[:2]),
                Witness(ratio=ratio, states=examples[:8], count=count),
            )


def unsafe_rest(review: Review) -> Iterator[Finding]:
    """What the load gets with every coil off, over the whole mains range."""
    rest = review.rest
    if rest.kind is Kind.SHORTED:
        yield Finding(
            "unsafe-rest",
            Severity.FAULT,
            "all relays at rest",
            f"with every coil off, {UNUSABLE[Kind.SHORTED]}: a dead controller burns the stage",
            Witness(energised=()),
        )
    elif rest.ratio is None:
        yield _rest(review, rest, (review.mains.low, Fraction(0)), Severity.NOTE)
    else:
        yield from _rest_with_ratio(review, rest, rest.ratio)


def _rest_with_ratio(review: Review, rest: State, ratio: Fraction) -> Iterator[Finding]:
    full = next((one.full for one in review.serving if one.state.energised == ()), ratio)
    low, high = full * review.mains.low, ratio * review.mains.high
    if abs(high) > review.window.high:
        yield _rest(review, rest, (review.mains.high, high), Severity.WARNING)
    elif low < review.window.low:
        yield _rest(review, rest, (review.mains.low, low), Severity.NOTE)


def _rest(review: Review, rest: State, worst: tuple[Fraction, Fraction], severity: Severity) -> Finding:
    volt, output = worst
    factor = output / review.design.output.nominal_v
    return Finding(
        "unsafe-rest",
        severity,
        "all relays at rest",
        f"with every coil off, {volts(volt)} in gives {volts(output)} out, {float(factor):.3f} of nominal, "
        f"outside the window: so it is until the controller wakes, and when it dies",
        Witness(energised=(), ratio=rest.ratio, input_v=volt, output_v=output, factor=factor),
    )
