"""Sentences about rounds at a steady source, relays in flight, readings after a move, and sudden steps."""

from __future__ import annotations

from tapplan.checks.sentences.words import mixture, times_note, volts
from tapplan.checks.witnesses.moving import (
    BackupRound,
    EndlessRound,
    FlightRead,
    InrushSag,
    OpenLine,
    OpenOutput,
    RatioPassed,
    ShortDropped,
    ShortPassed,
    SteppedThrough,
    StepsLeft,
    SuddenStep,
    TooMany,
)


def hunting(one: EndlessRound) -> str:
    """Moves that undo each other."""
    return (
        f"at a steady source of {volts(one.from_v)} to {volts(one.to_v)} each move undoes itself: a "
        f"round can take as little as {float(one.lasts_ms):g} ms, without end"
    )


def cycling(one: BackupRound) -> str:
    """Mains and backup that follow each other."""
    bound = "begin above" if one.side == "low" else "end below"
    return (
        f"on the {one.side} side the load goes to the backup and comes back without end at one steady source: just "
        f"gone, it can be read at {volts(one.reading_v)}, and return_v lets it back at {volts(one.limit_v)}; it must "
        f"{bound} that"
    )


def short_passed(one: ShortPassed | ShortDropped) -> str:
    """A short met by relays that move, or fall."""
    return f"with {mixture(one.movers, one.positions)}, turns are shorted or line is tied to neutral"


def ratio_passed(one: RatioPassed) -> str:
    """A ratio met in between."""
    return (
        f"with {mixture(one.movers, one.positions)}, {volts(one.input_v)} in gives {volts(one.output_v)}, {one.side} "
        f"the window's {volts(one.limit_v)}, for up to {float(one.lasts_ms):g} ms"
    )


def too_many(one: TooMany) -> str:
    """A move whose mixtures were not gone through."""
    return f"{one.count} relays move at once; mixtures of more than {one.most} are not gone through"


def steps_left(one: StepsLeft) -> str:
    """Sudden steps that were not gone through."""
    return (
        f"the table has {one.count} rows; sudden steps whose reading stops at a row on its way are not gone through "
        f"beyond {one.most}"
    )


def open_output(one: OpenOutput) -> str:
    """The longest time on nothing."""
    return (
        f"while {', '.join(one.movers)} fly, the output can be on nothing for up to {float(one.lasts_ms):g} ms, "
        f"the longest of all moves ({times_note(one.assumed)})"
    )


def open_line(one: OpenLine) -> str:
    """The line off the winding, and the flux after it."""
    return (
        f"the line leaves the winding for up to {float(one.lasts_ms):g} ms and comes back: peak flux up to "
        f"{float(one.factor):.2f} times normal ({times_note(one.assumed)})"
    )


def stepped_through(one: SteppedThrough) -> str:
    """A step that calls for another."""
    return (
        f"left at a source of {volts(one.emf_v)}, the stage does not stay in the next band, where the inlet "
        f'stands at {volts(one.input_v)}, but moves on: "' + '" to "'.join(one.bands) + '"'
    )


def flight_read(one: FlightRead) -> str:
    """A reading that holds the flight."""
    return (
        f"a reading that holds the open flight of {float(one.lasts_ms):g} ms shows {volts(one.reading_v)} of input, "
        f"outside the band just entered, which ends at {volts(one.limit_v)}"
    )


def inrush_sag(one: InrushSag) -> str:
    """An inrush that is read."""
    return (
        f"the load's inrush of {float(one.inrush_a):g} A pulls the inlet down to {volts(one.input_v)}, below the "
        f"band's {volts(one.limit_v)}: where it lasts longer than {float(one.limit_ms):.4g} ms, until readings count "
        f"and are confirmed, the stage moves again; a hysteresis of {float(one.hysteresis_pct):.1f} % stops it, "
        "as does a blank_ms for as long as it lasts"
    )


def sudden_step(one: SuddenStep) -> str:
    """A step that leaves the curve."""
    time = "no time at all" if not one.limit_ms else f"{float(one.limit_ms):.3g} ms"
    percent, steps = f"{float(100 * one.factor):.0f} %", "step" if one.count == 1 else "steps"
    return (
        f"a sudden change of the line to {volts(one.input_v)} puts {volts(one.output_v)}, {percent} of nominal, on "
        f"the load for up to {float(one.lasts_ms):.0f} ms; {one.curve} allows {time} at that level, and "
        f"{float(one.allowed_pct):.0f} % for so long. The worst of {one.count} such {steps}"
    )
