"""The README of a design's firmware: what it is, what it needs, how long things take, the caution."""

from __future__ import annotations

from collections.abc import Iterable

from tapplan.answers.words import CAUTION, number
from tapplan.control.program import shorted_retreats
from tapplan.control.standing import AWAY
from tapplan.control.ticks import settlings, times
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.cnames import comment, wrapped
from tapplan.pages.firmware.averaging import Averaging
from tapplan.pages.firmware.parts import Parts
from tapplan.version import __version__


def readme(parts: Parts) -> str:
    """A plain text."""
    sections = {
        "MARK": [fingerprint(parts.made.table.stated)],
        "VERSION": [__version__],
        "CAUTION": wrapped(CAUTION),
        "READINGS": _readings(parts),
        "TIMES": _times(parts),
        "PROVEN": _proven(parts),
        "SIZES": _sizes(parts),
        "MOVES": _moves(parts),
    }
    return parts.filled(TEXT, {word: "\n".join(lines) for word, lines in sections.items()})


def _readings(parts: Parts) -> list[str]:
    """What a reading and a sample are, and which are none."""
    taken, made = parts.averaging, parts.made
    lines = [*parts.told]
    most = parts.most_reading
    beyond = "Below 0" if made.most_reading is None else f"Below 0 or above {most}, where the converter cuts off,"
    lines += wrapped(
        f"{beyond} a reading is none: it leads away, as one beyond every band would, once it has stood for as long. "
        f"Until the first window is full, hand {parts.upper}_NO_READING to {parts.lower}_step."
    )
    return [*lines, "", *wrapped(_samples(taken))]


def _samples(taken: Averaging) -> str:
    kinds = {
        "rms": "alternating, the RMS value of a window",
        "average": "of the rectified wave, averaged over a window",
        "peak": "of the rectified or held wave, the highest of a window",
    }
    where = f"from {taken.lowest} to {taken.highest}"
    if taken.detector != "rms" and not taken.counted:
        where += ", millivolts as set to read a sine right"
    middle = f", {taken.middle} where the wave crosses nought" if taken.detector == "rms" else ""
    number = f"{taken.samples} in one window" + ("" if taken.stated else " are an example, the design states none")
    mean = " The mean of a window is taken off first, so an offset of the converter does no harm." * taken.centred
    return (
        f"Samples are {where}{middle}: {kinds[taken.detector]}, rounded to the nearest whole number. {number}; "
        f"up to {taken.most} fit.{mean}"
    )


def _times(parts: Parts) -> list[str]:
    """Each time as stated, and as it acts at the tick where that differs."""
    tick = parts.tick_ms
    lines = [f"  longest time between two calls (--tick-ms): {tick} ms"]
    for one in (*times(parts.made), *settlings(parts.made)):
        acts = one.acts_ms(tick)
        late = "" if acts == one.ms else f"; with a call each {tick} ms: {acts} ms"
        lines.append(f"  {one.key}: {number(one.ms)} ms{late}")
    return lines


def _proven(parts: Parts) -> list[str]:
    """What the proof says with the times as they are at the tick."""
    if parts.worse is None:
        return []
    asked = f"Proven again with a call each {parts.tick_ms} ms, so that readings, confirmations, pauses and settling"
    if not parts.worse:
        return [
            "",
            *wrapped(f"{asked} are as late as they can be: nothing is found that the times alone do not bring."),
        ]
    lines = ["", *wrapped(f"{asked} are as late as they can be, there is found besides:")]
    for one in parts.worse:
        lines += wrapped(comment(f"- {one.severity}, {one.code}, {one.where}: {one.message}"))
    return lines


def _sizes(parts: Parts) -> list[str]:
    return [
        f"  tables: {parts.packed.size} bytes of constant data (flash)",
        f"  state: {parts.state_bytes} bytes of RAM; a window: {parts.window_bytes}; more where they are padded",
        "  nothing else is static; no function has an array, and calls go five deep at most",
    ]


def _moves(parts: Parts) -> list[str]:
    """Where a reading that is none leads straight to away, which the proof of the table may not know, and how."""
    made = parts.made
    known = {change.start for change in made.passings if change.end is AWAY}
    only = [
        name for name, one in zip(made.names, made.standings, strict=True) if one not in known and one is not AWAY
    ]
    lines = ["Every band is left for away by some reading of the table, too."]
    if only:
        lines = [f"Only a reading that is none leads straight to away from {_listed(only)}."]
    shorted = shorted_retreats(made)
    if shorted:
        lines.append(f"On the way to away turns may be shorted while relays fly, from {_listed(shorted)}.")
    return wrapped(comment(" ".join(lines)))


def _listed(names: Iterable[str]) -> str:
    return ", ".join(f'"{name}"' for name in names)


TEXT = """TITLE
design MARK, tapplan VERSION

CAUTION

LOWER.h   what your program calls
LOWER.c   the controller
vectors.c   a test program for a computer:
            cc -std=c99 -o vectors vectors.c LOWER.c && ./vectors

What your program does

  at power-up      coils at rest; LOWER_self_test() must give
                   UPPER_SOUND; LOWER_start() and LOWER_clear()
  at each sample   LOWER_sample()
  a window over    LOWER_reading(), kept until the next
  at each tick     LOWER_step() with the ms since the last call
                   and the reading kept; the bits of what it returns are the coils to
                   drive, the lowest that of the first relay in the design file
  at any failure   (self-test, watchdog, supply) coils at rest

No call comes while another runs, so not from two interrupts. Let a watchdog drop the
coils when calls stop: nothing here can. A bit that flips in what the state remembers of
band and step is found at the next call, and all begins anew, coils as while away.

Readings

READINGS

Times

TIMES

A wait ends at the first call at its end or later: nothing is shorter than stated, and each
wait is longer by less than the time between two calls. A late call makes waits longer.
PROVEN

Sizes

SIZES

Moves

MOVES
"""
