"""The JSON answers of the verbs that prove: margins, steps, moves, compare."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import TYPE_CHECKING

from tapplan.checks.review import Review
from tapplan.control.table import Row
from tapplan.pages.answers import Json, ends, findings, number, ratio_keys

if TYPE_CHECKING:
    from tapplan.checks.budget import Budget
    from tapplan.checks.comparison import BandChange, Comparison
    from tapplan.checks.flight import Flight
    from tapplan.checks.growths import Growth
    from tapplan.checks.margins import Margin, Sharing
    from tapplan.checks.mends import Cure
    from tapplan.checks.recovery import Verdict
    from tapplan.checks.samples import Samples
    from tapplan.control.counts import Converter, CountedHold
    from tapplan.control.response import Side


def margins(found: Sequence[Margin], shared: Sequence[Sharing], grown: Sequence[Growth]) -> Json:
    """The worst corners, the use of each overlap, and how far each tolerance may grow."""
    return {
        "margins": [_margin(one) for one in found],
        "handovers": [_sharing(one) for one in shared],
        "growth": [
            {
                "quantity": one.quantity,
                "now": number(one.now),
                "most": number(one.most),
                "breaks": one.code or None,
                "where": one.where or None,
            }
            for one in grown
        ],
        "smallest_margin_v": number(min((one.margin_v for one in found), default=None)),
    }


def _margin(one: Margin) -> Json:
    return {
        "band": one.row.name,
        "end": one.end,
        "input_v": number(one.input_v),
        "reading_v": number(one.reading_v),
        "load": "full" if one.end == "low" else "none",
        "output_v": number(one.output_v),
        "limit_v": number(one.limit_v),
        "margin_v": number(one.margin_v),
        "eaten_by": {
            "noise_v": number(one.noise_v),
            "error_v": number(one.error_v),
            "load_v": number(one.load_v),
        },
    }


def _sharing(one: Sharing) -> Json:
    return {
        "below": one.below.name,
        "above": one.above.name,
        "whole_v": number(one.whole_v),
        "eaten_by": {
            "load_v": number(one.load_v),
            "error_v": number(one.error_v),
            "noise_v": number(one.noise_v),
            "hysteresis_v": number(one.hysteresis_v),
        },
        "spare_above_v": number(one.spare_above_v),
        "spare_below_v": number(one.spare_below_v),
        "overlap_v": number(one.overlap_v),
        "overlap_at_source_v": number(one.open_overlap_v),
    }


# The converter, every row in counts, counts of hysteresis between them, and the return from the backup in counts.
Counted = tuple["Converter", Sequence["CountedHold"], Sequence[Fraction], tuple[int, int] | None]


def budget(found: Budget, counted: Counted) -> Json:
    """The error budget and the thresholds in counts."""
    reading, holds, left, back = counted
    return {
        "budget": {
            "lines": [
                {"name": one.name, "worst_pct": float(100 * one.worst), "likely_pct": 100 * one.likely}
                for one in found.lines
            ],
            "worst_pct": float(100 * found.worst),
            "sum_pct": float(100 * found.total),
            "likely_pct": 100 * found.likely,
        },
        "counts": {
            "step_v": number(reading.step_v),
            "highest_v": number(reading.highest_v),
            "return_counts": None if back is None else list(back),
            "bands": [
                {
                    "name": one.row.name,
                    "hold_counts": [one.low, one.high],
                    "left_above": number(left[place]) if place < len(left) else None,
                }
                for place, one in enumerate(holds)
            ],
        },
    }


def samples(drawn: Samples) -> Json:
    """The random draws, band by band."""
    return {
        "samples": {
            "count": drawn.count,
            "seed": drawn.seed,
            "unheld": drawn.unheld,
            "bands": [
                {
                    "name": one.row.name,
                    "count": one.count,
                    "output_v": None if one.volts is None else [one.volts[0], one.volts[4]],
                    "percentiles_v": None
                    if one.volts is None
                    else dict(zip(("1", "50", "99"), one.volts[1:4], strict=True)),
                    "outside_window": one.outside_window,
                    "outside_worst": one.outside_worst,
                }
                for one in drawn.bands
            ],
        }
    }


def steps(reviewed: Review, found: Sequence[Verdict], cures: Mapping[Side, Cure | None]) -> Json:
    """Every sudden step against a curve, and for each side what would keep them all, in figures and in words."""
    from tapplan.checks.aftermath import named
    from tapplan.checks.recovery import highest_jump_v
    from tapplan.checks.sentences.mends import change

    return {
        "cures": {
            side: None
            if one is None
            else {
                "confirm_ms": number(one.confirm_ms),
                "window_cycles": number(one.window_cycles),
                "told": change(one),
            }
            for side, one in cures.items()
        },
        "steps": [
            {
                "from": named(reviewed, one.response.start),
                "entered": [named(reviewed, row) for row in one.response.entered],
                "line_v": ends(one.response.line),
                "phases": [
                    {
                        "name": phase.name,
                        "from_ms": number(phase.from_ms),
                        "until_ms": number(phase.until_ms),
                        "output_v": ends(phase.output),
                    }
                    for phase in one.response.phases
                ],
                "settled_ms": number(one.response.settled_ms),
                "curve": one.curve.key,
                "side": one.side,
                "kept": one.kept,
                "output_v": number(one.output_v),
                "percent": float(one.percent),
                "lasts_ms": number(one.lasts_ms),
                "allowed_ms": number(one.allowed_ms),
                "allowed_percent": float(one.allowed_percent),
                "highest_jump_v": number(highest_jump_v(reviewed, one)),
            }
            for one in found
        ],
    }


def moves(found: Sequence[Flight]) -> Json:
    """Every move with what its relays can pass through, as they are commanded, and the safest order."""
    return {
        "moves": [
            {
                "name": one.move.name,
                "from": sorted(one.move.old),
                "to": sorted(one.move.new),
                "movers": list(one.move.movers),
                "inputs_v": ends(one.move.inputs),
                "mixtures": one.mixtures + 2,
                "shorted": one.shorts,
                "without_ratio": one.without_ratio,
                "highest": ratio_keys(max(one.met, default=None)),
                "lowest": ratio_keys(min(one.met, default=None)),
                "gap_ms": number(one.gap_ms),
                "order": list(one.flown.given.order) if one.flown.given.ordered else None,
                "takes_ms": number(one.takes_ms),
                "safest_takes_ms": number(one.best_ms),
                "safest_order": None if one.best is None else list(one.best.relays),
                "order_shorts": None if one.best is None else one.best.shorts,
                "passes": None if one.best is None else [str(ratio) for ratio in one.best.ratios],
            }
            for one in found
        ]
    }


def compared(found: Comparison) -> Json:
    """Two revisions, difference by difference."""
    return {
        "promises": [
            {"key": one.key, "old": ends(one.old), "new": ends(one.new), "worse": one.worse} for one in found.promises
        ],
        "bands": [_band_change(one) for one in found.bands],
        "margins": [
            {"what": one.what, "old_v": number(one.old_v), "new_v": number(one.new_v), "won_v": number(one.won_v)}
            for one in (*found.margins, *found.smallest)
        ],
        "gained": findings(found.gained)["findings"],
        "lost": findings(found.lost)["findings"],
        "changed": [
            {
                "code": one.new.code,
                "where": one.new.where,
                "old": one.old.told,
                "new": one.new.told,
                "worse": one.worse,
            }
            for one in found.grown
        ],
        "traits": [
            {
                "code": one.new.code,
                "side": one.new.side or None,
                "unit": one.new.unit,
                "old": number(one.old.value),
                "new": number(one.new.value),
                "old_lasts_ms": number(one.old.lasts_ms),
                "new_lasts_ms": number(one.new.lasts_ms),
                "worse": one.worse,
            }
            for one in found.traits
        ],
        "stated": [{"key": one.key, "old": stated(one.old), "new": stated(one.new)} for one in found.stated],
        "worse": found.worse,
    }


def stated(value: object) -> object:
    """A value of the file as JSON has it."""
    if isinstance(value, Fraction):
        return number(value)
    return [stated(one) for one in value] if isinstance(value, tuple) else value


def _band_change(one: BandChange) -> Json:
    return {"name": one.name, "change": one.change, "old": _band(one.old), "new": _band(one.new)}


def _band(row: Row | None) -> Json | None:
    return (
        None if row is None else {"energised": list(row.energised), **ratio_keys(row.ratio), "hold_v": ends(row.kept)}
    )
