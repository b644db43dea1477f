"""Rules over volts, the core, published names and the request of `fit`."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from tapplan.design.limb import HALF_CIRCLE
from tapplan.design.model import Design, Fit
from tapplan.design.objection import Objection, nearest, quoted
from tapplan.design.shape import Path

ANY_CORE = "choose"


def volts(design: Design) -> Iterator[Objection]:
    """Ranges whose lower end is above 0 V."""
    ranges: list[tuple[Path, tuple[Fraction, Fraction]]] = [
        (("mains", "range_v"), design.mains.range_v),
        (("output", "window_v"), design.output.window_v),
    ]
    ranges += [(("feed", index, "volts_v"), feed.volts_v) for index, feed in enumerate(design.feeds)]
    for path, (low, _) in ranges:
        if low == 0:
            yield Objection(path, "a lower end of 0", "a lower end above 0 V")


def tolerance_curve(design: Design) -> Iterator[Objection]:
    """A curve that is known."""
    asked = design.output.tolerance_curve
    if asked is None:
        return
    from tapplan.design.standards import CURVES  # only where one is named

    known = [curve.key for curve in CURVES]
    if asked not in known:
        yield Objection(
            ("output", "tolerance_curve"), f'"{asked}"', f"a curve of {quoted(known)}", nearest(asked, known)
        )


def core(design: Design) -> Iterator[Objection]:
    """A core of a winding, of a lamination and a grade that are known, with a wire that goes into its window."""
    core = design.core
    if core is None:
        return
    from tapplan.design.materials import LAMINATIONS, STEELS  # tables of a trade that most designs do not name

    cores = {winding.core for winding in design.windings}
    if design.windings and core.name not in cores:
        yield Objection(("core", "name"), f'"{core.name}"', f"a core of a winding: {quoted(sorted(cores))}")
    laminations, steels = [one.key for one in LAMINATIONS], [one.key for one in STEELS]
    if core.lamination is not None and core.lamination not in laminations:
        accepted = f"a lamination of {quoted(laminations, 30)}, or area_mm2, window_mm2 and mean_turn_mm"
        hint = nearest(core.lamination, laminations)
        yield Objection(("core", "lamination"), f'"{core.lamination}"', accepted, hint)
    elif core.lamination is not None and core.stack_mm is None:
        yield Objection(("core", "lamination"), "a lamination without stack_mm", "stack_mm beside it")
    if core.grade is not None and core.grade not in steels:
        accepted = f"a grade of {quoted(steels, 30)}"
        yield Objection(("core", "grade"), f'"{core.grade}"', accepted, nearest(core.grade, steels))
    window = core.window_mm2
    for index, winding in enumerate(design.windings):
        if window is not None and winding.wire_mm is not None and winding.wire_mm**2 * HALF_CIRCLE / 4 >= window:
            found = f"{float(winding.wire_mm):g} mm, thicker than the window of {float(window):g} mm2"
            yield Objection(("winding", index, "wire_mm"), found, "a wire that goes into the window")


def fit(design: Design) -> Iterator[Objection]:
    """Turns or taps, and limits that do not contradict one another."""
    fit = design.fit
    if fit is None:
        return
    if fit.total_turns is None and not fit.taps and not _flux_known(design, fit):
        yield Objection(
            ("fit",),
            "neither total_turns nor taps",
            "total_turns, the taps of a winding that exists, or a [core] whose size and flux_limit_t say it",
        )
    if fit.total_turns is not None and fit.taps:
        yield Objection(("fit", "taps"), "taps beside total_turns", "one of them")
    if len(set(fit.taps)) != len(fit.taps) or any(tap.denominator != 1 for tap in fit.taps) or len(fit.taps) == 1:
        yield Objection(
            ("fit", "taps"), f"{', '.join(map(str, fit.taps))}", "two or more different whole numbers of turns"
        )
    if fit.relays is not None and fit.relays > fit.relays_max:
        yield Objection(("fit", "relays"), f"{fit.relays}", f"at most relays_max, {fit.relays_max}")
    yield from _cores(design, fit)
    if fit.sensing_v is not None and isinstance(design.sensing.at, str):
        accepted = "sensing_v beside two points in [sensing] at, the ends of the winding"
        yield Objection(("fit", "sensing_v"), f'sensing_v with at = "{design.sensing.at}"', accepted)
    window, preferred = design.output.window, fit.preferred_v
    if preferred is not None and not window.low <= preferred[0] < preferred[1] <= window.high:
        yield Objection(
            ("fit", "preferred_v"), f"{preferred[0]} to {preferred[1]} V", "a window inside output.window_v"
        )


def _flux_known(design: Design, fit: Fit) -> bool:
    """Whether a flux limit and a core that is known, or is to be chosen, say how many turns there are."""
    core = design.core
    if core is None or core.flux_limit_t is None:
        return False
    from tapplan.design.limb import gross_mm2  # only in a request with a core

    return bool(fit.cores) or gross_mm2(core) is not None


def _cores(design: Design, fit: Fit) -> Iterator[Objection]:
    """Laminations that are known, or the word for all of them; and what a core is chosen by."""
    if not fit.cores:
        return
    if design.output.load_va is None or design.core is None or design.core.flux_limit_t is None:
        accepted = "cores beside output.load_va and [core] flux_limit_t, by which one is chosen"
        yield Objection(("fit", "cores"), "cores without a load or a flux limit", accepted)
    if design.core is not None and (design.core.lamination is not None or design.core.leg_mm is not None):
        accepted = "one of them: the core that is stated, or cores to choose from"
        yield Objection(("fit", "cores"), "cores beside the size of a core in [core]", accepted)
    if fit.cores == (ANY_CORE,):
        return
    from tapplan.design.materials import LAMINATIONS  # only where some are named

    known = [one.key for one in LAMINATIONS]
    for number, name in enumerate(fit.cores):
        if name not in known:
            accepted = f'laminations of {quoted(known, 30)}, or ["{ANY_CORE}"] alone'
            yield Objection(("fit", "cores", number), f'"{name}"', accepted, nearest(name, known))
