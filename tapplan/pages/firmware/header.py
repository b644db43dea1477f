"""The compiled controller as a C header: arrays, and one search."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Any

from tapplan.answers.words import CAUTION
from tapplan.control.program import Program
from tapplan.design.fingerprint import fingerprint
from tapplan.design.model import Design
from tapplan.pages.cnames import comment, identifiers, wrapped
from tapplan.version import __version__


def c_header(made: Program) -> str:
    """The compiled controller as arrays, coil masks, orders and times, with nothing but <stdint.h>.

    Every name begins with the design's own, so that several designs go into one program; two revisions of one design
    in one unit are refused by the preprocessor.
    """
    (name,) = identifiers((made.table.design.title.split(",")[0],))
    mark = fingerprint(made.table.stated)
    upper = f"TAPPLAN_{name}"
    lower = upper.lower()
    steps = max((len(path) for path in made.paths.values()), default=1) or 1
    lines = [
        *_about(made, mark),
        f"#ifndef {upper}_{mark.upper()}_H",
        f"#define {upper}_{mark.upper()}_H",
        f"#ifdef {upper}_BANDS",
        f'#error "two revisions of {name.lower()} in one unit: leave one out, or give it a title of its own"',
        "#endif",
        "",
        "#include <stdint.h>",
        "",
        *_macros(made, upper, steps),
        "",
        "/* Of each band and, last, of being away: where its cuts begin; the readings at which a new answer begins;",
        " * the answers, one more than cuts. */",
        *_nodes(made, lower),
        "",
        "/* Coils driven in each band and, last, while away. */",
        _array("uint32_t", f"{lower}_coils", [f"0x{code:X}UL" for code in made.coils]),
        "",
        "/* Masks to set one after the other from [band] to [band], the last repeated; the milliseconds after each",
        " * before the next; and the milliseconds from the first mask until readings count again. */",
        *_paths(made, upper, steps),
        DECISION.replace("UPPER", upper).replace("LOWER", lower),
        "#endif",
    ]
    return "\n".join(lines) + "\n"


def _about(made: Program, mark: str) -> list[str]:
    """The comment at the head: which design, by what, and what a reading is."""
    design = made.table.design
    unit = "counts of the converter" if made.counted else "millivolts"
    return [
        "/*",
        f" * {comment(design.title)}",
        f" * Control table of design {mark}, made by tapplan {__version__}.",
        f" * Readings are {unit} of the voltage sensed ({_sensed(design)}): {float(made.per_volt):.9g} for one volt.",
        *(f" * {line}" for line in wrapped(comment(CAUTION))),
        " */",
    ]


def _macros(made: Program, upper: str, steps: int) -> list[str]:
    """How many bands and masks, the times, and a name for each band and coil."""
    bands, relays = identifiers(made.names[:-1]), identifiers(made.table.circuit.relays)
    return [
        f"#define {upper}_BANDS {len(made.nodes) - 1}",
        f"#define {upper}_AWAY {upper}_BANDS /* no band in force: backup, or nothing promised */",
        f"#define {upper}_STEPS {steps} /* most masks from one band to another */",
        *(f"#define {upper}_{one.macro} {one.microseconds}L /* {one.what} */" for one in _times(made)),
        *(f"#define {upper}_BAND_{band} {number}" for number, band in enumerate(bands)),
        *(f"#define {upper}_COIL_{relay} 0x{1 << number:X}UL" for number, relay in enumerate(relays)),
    ]


def _sensed(design: Design) -> str:
    at = design.sensing.at
    return f"at the {at}" if isinstance(at, str) else comment(f"between {at[0]} and {at[1]}")


@dataclass(frozen=True, slots=True)
class _Time:
    """A time of the decision as a macro of C."""

    macro: str
    microseconds: int
    what: str


def _times(made: Program) -> list[_Time]:
    """The times of the decision, in microseconds, rounded up."""
    sensing, backup = made.table.design.sensing, made.table.design.backup
    back = Fraction(0) if backup is None else backup.return_after_ms
    return [
        _Time(
            "CONFIRM_UP_US", ceil(1000 * sensing.confirmation_ms(upward=True)), "readings above must stand so long"
        ),
        _Time(
            "CONFIRM_DOWN_US",
            ceil(1000 * sensing.confirmation_ms(upward=False)),
            "readings below must stand this long",
        ),
        _Time("RETURN_AFTER_US", ceil(1000 * back), "away, readings that lead to a band must stand this long"),
    ]


def _array(kind: str, name: str, values: list[str]) -> str:
    return f"static const {kind} {name}[{len(values)}] = {{{', '.join(values)}}};"


def _nodes(made: Program, lower: str) -> list[str]:
    begins = [sum(len(node.firsts) for node in made.nodes[:number]) for number in range(len(made.nodes) + 1)]
    firsts = [str(first) for node in made.nodes for first in node.firsts]
    answers = [str(made.number(answer)) for node in made.nodes for answer in node.answers]
    return [
        _array("int16_t", f"{lower}_begin", [str(begin) for begin in begins]),
        _array("int32_t", f"{lower}_cut", firsts or ["0"]),
        _array("int16_t", f"{lower}_answer", answers),
    ]


def _paths(made: Program, upper: str, steps: int) -> list[str]:
    lower = upper.lower()
    every = [[made.step(one, two) for two in made.standings] for one in made.standings]
    masks = [[[f"0x{code:X}UL" for code in _filled(one.masks, steps)] for one in row] for row in every]
    whole = [[[ceil(wait) for wait in one.waits_ms] for one in row] for row in every]
    waits = [[[str(wait) for wait in [*one, *[0] * (steps - len(one))]] for one in row] for row in whole]
    settles = [[str(sum(one)) for one in row] for row in whole]
    size = f"[{upper}_BANDS + 1][{upper}_BANDS + 1]"
    return [
        f"static const uint32_t {lower}_path{size}[{upper}_STEPS] = {{\n{_rows(masks)}\n}};",
        f"static const int32_t {lower}_wait_ms{size}[{upper}_STEPS] = {{\n{_rows(waits)}\n}};",
        f"static const int32_t {lower}_blind_ms{size} = {{\n"
        + ",\n".join("  {" + ", ".join(row) + "}" for row in settles)
        + "\n};\n",
    ]


def _filled(values: Sequence[Any], steps: int) -> list[Any]:
    return [*values, *[values[-1]] * (steps - len(values))]


def _rows(cells: list[list[list[str]]]) -> str:
    return ",\n".join("  {" + ", ".join("{" + ", ".join(cell) + "}" for cell in row) + "}" for row in cells)


DECISION = """/* The band after one reading, from the band in force (or UPPER_AWAY): one search. */
static inline int LOWER_next(int band, int32_t reading)
{
  int low, high;
  if (band < 0 || band > UPPER_AWAY) band = UPPER_AWAY;
  low = LOWER_begin[band];
  high = LOWER_begin[band + 1];
  while (low < high) {
    const int middle = low + (high - low) / 2;
    if (reading < LOWER_cut[middle]) high = middle;
    else low = middle + 1;
  }
  return (int)LOWER_answer[low + band];
}
"""
