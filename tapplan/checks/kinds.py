"""What the relay states are: unusable ones, duplicates, and the state with every coil off."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import replace
from fractions import Fraction

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.review import Review
from tapplan.checks.sentences.states import UNUSABLE
from tapplan.checks.witnesses.states import Duplicates, FedState, IdleStates, RestOutput, ShortedRest, UsedState
from tapplan.design.model import Feed
from tapplan.network.states import Census, State, in_file_order, state_of
from tapplan.network.turns import Kind, NoGain
from tapplan.rating.fed import fed, stated_state

Energised = tuple[str, ...]


def unusable_states(review: Review) -> Iterator[Finding]:
    """States no band may use: a fault where one does, a note where only wrong coil drive leads there."""
    used = set()
    for row in review.table.rows:
        if row.state.kind in UNUSABLE:
            used.add(row.energised)
            yield _used(review, where.in_band(row.name), row.state, (row.name,))
    backup = review.design.backup
    if backup is not None:
        away = state_of(review.circuit, tuple(name for name in review.circuit.relays if name in backup.energised))
        if away.kind is Kind.SHORTED:
            used.add(away.energised)
            yield _used(review, "backup", away, None)
    for feed in review.design.feeds:
        yield from _while_fed(review, feed, used)
    for kind in UNUSABLE:
        yield from _unused(review, kind, used)


def _while_fed(review: Review, feed: Feed, used: set[Energised]) -> Iterator[Finding]:
    """The state stated for a feed, when it shorts turns or leaves the output without the feed's volts."""
    stated = stated_state(review.design, feed)
    if stated is None:
        return
    one = fed(review.design, review.circuit, feed, in_file_order(review.circuit, stated))
    if one.fault is Kind.SHORTED:
        used.add(one.state.energised)
        yield _used(review, where.in_feed(feed.name), one.state, None)
    elif one.fault is not None:
        shown = FedState(energised=one.state.energised, kind=one.fault)
        yield Finding(f"{one.fault.value}-state", Severity.FAULT, where.in_feed(feed.name), shown)


def _used(review: Review, place: str, state: State, bands: tuple[str, ...] | None) -> Finding:
    from tapplan.network.blame import blame  # networkx, only where there is something to blame

    reason = state.outcome.reason if isinstance(state.outcome, NoGain) else UNUSABLE[state.kind]
    shown = UsedState(bands=bands, energised=state.energised, ratio=state.ratio, reason=reason)
    found = blame(review.circuit, review.circuit.state(state.energised))
    if found is not None:
        shown = replace(shown, contacts=found.contacts, told=found.told)
    return Finding(f"{state.kind.value}-state", Severity.FAULT, place, shown)


def _unused(review: Review, kind: Kind, used: Collection[Energised]) -> Iterator[Finding]:
    entries = [entry for entry in review.census if entry.kind is kind]
    count = sum(entry.count for entry in entries)
    count -= sum(1 for energised in used if state_of(review.circuit, energised).kind is kind)
    examples = [e for entry in entries for e in entry.examples if e not in used]
    if count and examples:
        shown = IdleStates(kind=kind, energised=examples[0], states=tuple(examples[:8]), count=count)
        yield Finding(f"{kind.value}-state", Severity.NOTE, "relay states", shown)


def duplicate_states(review: Review) -> Iterator[Finding]:
    """Relay states that give the same ratio."""
    by_ratio: dict[Fraction | None, list[Census]] = {}
    for entry in review.census:
        by_ratio.setdefault(entry.ratio, []).append(entry)
    for ratio, alike in by_ratio.items():
        count = sum(entry.count for entry in alike)
        examples = tuple(example for entry in alike for example in entry.examples)
        if ratio is not None and count > 1:
            shown = Duplicates(ratio=ratio, states=examples[:8], count=count)
            yield Finding("duplicate-state", Severity.NOTE, f"ratio {ratio}", shown)


_AT_REST = "all relays at rest"


def unsafe_rest(review: Review) -> Iterator[Finding]:
    """What the load gets with every coil off, over the whole mains range."""
    rest, mains, window = review.rest, review.mains, review.window
    if rest.kind is Kind.SHORTED:
        yield Finding("unsafe-rest", Severity.FAULT, _AT_REST, ShortedRest())
        return
    if rest.ratio is None:
        yield Finding("unsafe-rest", Severity.NOTE, _AT_REST, _rest(review, mains.low, Fraction(0)))
        return
    full = next((one.full for one in review.serving if one.state.energised == ()), rest.ratio)
    low, high = full * mains.low, rest.ratio * mains.high
    if abs(high) > window.high:
        yield Finding("unsafe-rest", Severity.WARNING, _AT_REST, _rest(review, mains.high, high))
    elif low < window.low:
        yield Finding("unsafe-rest", Severity.NOTE, _AT_REST, _rest(review, mains.low, low))


def _rest(review: Review, volt: Fraction, output: Fraction) -> RestOutput:
    factor = output / review.design.output.nominal_v
    return RestOutput(ratio=review.rest.ratio, input_v=volt, output_v=output, factor=factor)
