"""What the stage gives whoever hangs on it: the load while a feed runs, the charger, the load that is promised."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction
from typing import TYPE_CHECKING

import numpy as np

from tapplan.checks import where
from tapplan.checks.finding import Finding, Severity
from tapplan.checks.witnesses.carried import ChargerReach, FedOutput, LoadPermitted, exact

if TYPE_CHECKING:
    from tapplan.rating.rated import FeedRating, Ratings

NEAR = 1e-6  # volts and volt-amperes of floating point that are no difference


def feed_out_of_window(found: Ratings) -> Iterator[Finding]:
    """A feed that somewhere in its range puts the output outside the window, with the load on or without it."""
    window = found.design.output.window
    for one in found.feeds:
        if one.used is None or one.used.fault is not None or one.used.output is None:
            continue
        outputs = [float(one.used.output.low), float(one.used.output.high), *_loaded_outputs(one)]
        least, most = min(outputs), max(outputs)
        if least < float(window.low) - NEAR or most > float(window.high) + NEAR:
            low = float(window.low) - least > most - float(window.high)
            shown = FedOutput(
                energised=one.used.state.energised,
                least_v=exact(least),
                most_v=exact(most),
                output_v=exact(least if low else most),
                limit_v=window.low if low else window.high,
            )
            yield Finding("feed-out-of-window", Severity.FAULT, where.in_feed(one.feed.name), shown)


def _loaded_outputs(one: FeedRating) -> list[float]:
    """The output with the load on, at both ends of the feed's range; a load that collapses is no volts."""
    return [] if one.case is None else np.nan_to_num(np.abs(one.case.cases.output)).tolist()


def charger_reach(found: Ratings) -> Iterator[Finding]:
    """A step-down charger that gets too few volts: a fault where it never makes float, a warning for a part of it."""
    battery = found.design.battery
    if battery is None or battery.charger != "step-down" or not found.charging:
        return
    most = max(one.peak_v[1] for one in found.charging)
    wanted = [("float", battery.float_v)]
    wanted += [] if battery.cyclic_v is None else [("cyclic", battery.cyclic_v)]
    for charge, (needed, _) in wanted:
        never = most < float(needed)
        short = [one for one in found.charging if one.peak_v[0] < float(needed)]
        if short:
            shown = ChargerReach(
                bands=tuple(one.row.name for one in short),
                charge=charge,
                output_v=exact(min(one.peak_v[0] for one in found.charging)),
                most_v=exact(most),
                limit_v=needed,
                enough_v=tuple(_exact(one.from_input(float(needed))) for one in short),
            )
            severity = Severity.FAULT if never and charge == "float" else Severity.WARNING
            yield Finding("charger-reach", severity, f'battery on winding "{battery.winding}"', shown)
        if never:
            return


def _exact(volts: float | None) -> Fraction | None:
    return None if volts is None else exact(volts)


def over_load(found: Ratings) -> Iterator[Finding]:
    """A load beyond the largest permitted somewhere; a warning where only a common practice limits it."""
    load_va = found.design.output.load_va
    known = [(one.va, one) for one in found.permitted if one.va is not None]
    if load_va is None or not known:
        return
    least, worst = min(known, key=lambda pair: pair[0])
    if least < float(load_va) * (1 - 1e-9) - NEAR:
        shown = LoadPermitted(
            bands=(worst.row.name,),
            input_v=exact(worst.input_v),
            permitted_va=exact(least),
            load_va=load_va,
            worst_pct=exact(100 * (float(load_va) / least - 1) if least > 0 else 0.0),
            limited_by=worst.limited_by,
            stated=worst.stated,
        )
        severity = Severity.FAULT if worst.stated else Severity.WARNING
        yield Finding("over-load", severity, where.in_band(worst.row.name), shown)
