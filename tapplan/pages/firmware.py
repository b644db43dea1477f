"""Hand-over to a controller: a C header, Boolean equations with a gate netlist, and test vectors."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from math import ceil
from typing import Any

from tapplan.answers.forms import safe
from tapplan.answers.words import CAUTION
from tapplan.control.equations import Equation, Equations, Product, Variable
from tapplan.control.program import Program
from tapplan.design.fingerprint import fingerprint
from tapplan.design.model import Design
from tapplan.version import __version__

COMMENT_WIDTH = 90


def identifiers(names: tuple[str, ...]) -> list[str]:
    """Names as C knows them: letters, digits and underscores, each once."""
    found: list[str] = []
    for name in names:
        plain = re.sub(r"[^A-Za-z0-9]+", "_", name).strip("_").upper()[:40] or "X"
        number, one = 2, plain
        while one in found:
            one = f"{plain}_{number}"
            number += 1
        found.append(one)
    return found


def comment(text: str) -> str:
    """Text that cannot end a comment, and that every compiler reads."""
    plain = text.encode("ascii", "backslashreplace").decode().replace("\\", "/").replace("??/", "?? /")
    return plain.replace("*/", "* /").replace("/*", "/ *")


def c_header(made: Program) -> str:
    """The compiled controller as arrays, coil masks, orders and times, with nothing but <stdint.h>.

    Every name begins with the design's own, so that several designs go into one program; two revisions of one design
    in one unit are refused by the preprocessor.
    """
    design = made.table.design
    mark, name = fingerprint(made.table.stated), identifiers((design.title.split(",")[0],))[0]
    upper = f"TAPPLAN_{name}"
    lower = upper.lower()
    bands, relays = identifiers(made.names[:-1]), identifiers(made.table.circuit.relays)
    unit = "counts of the converter" if made.counted else "millivolts"
    steps = max((len(path) for path in made.paths.values()), default=1) or 1
    lines = [
        "/*",
        f" * {comment(design.title)}",
        f" * Control table of design {mark}, made by tapplan {__version__}.",
        f" * Readings are {unit} of the voltage sensed ({_sensed(design)}): {float(made.per_volt):.9g} for one volt.",
        *(f" * {line}" for line in _wrapped(comment(CAUTION))),
        " */",
        f"#ifndef {upper}_{mark.upper()}_H",
        f"#define {upper}_{mark.upper()}_H",
        f"#ifdef {upper}_BANDS",
        f'#error "two revisions of {name.lower()} in one unit: leave one out, or give it a title of its own"',
        "#endif",
        "",
        "#include <stdint.h>",
        "",
        f"#define {upper}_BANDS {len(made.nodes) - 1}",
        f"#define {upper}_AWAY {upper}_BANDS /* no band in force: backup, or nothing promised */",
        f"#define {upper}_STEPS {steps} /* most masks from one band to another */",
        *(f"#define {upper}_{one.macro} {one.microseconds}L /* {one.what} */" for one in _times(made)),
        *(f"#define {upper}_BAND_{band} {number}" for number, band in enumerate(bands)),
        *(f"#define {upper}_COIL_{relay} 0x{1 << number:X}UL" for number, relay in enumerate(relays)),
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


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, COMMENT_WIDTH)


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


def vectors(made: Program) -> str:
    """Every band in force with every reading at and just below a threshold: the band and coils that must follow."""
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    relays = made.table.circuit.relays
    writer.writerow(["from", "reading", "volts", "to", *map(safe, relays)])
    readings = sorted({one for mark in made.thresholds for one in (mark - 1, mark) if one >= 0})
    for name, standing in zip(made.names, made.standings, strict=True):
        for reading in readings:
            then = made.number(made.decided(standing, reading))
            coils = [made.coils[then] >> number & 1 for number in range(len(relays))]
            volts = f"{float(reading / made.per_volt):.4f}"
            writer.writerow([safe(name), reading, volts, safe(made.names[then]), *coils])
    return written.getvalue()


def logic(found: Equations, made: Program) -> str:
    """The equations, and the same as gates with two levels."""
    named = _written(found)
    unit = "counts" if made.counted else "mV"
    lines = [
        f"# {comment(made.table.design.title)}",
        f"# design {fingerprint(made.table.stated)}, tapplan {__version__}",
    ]
    lines += [f"# {line}" for line in _wrapped(comment(CAUTION))]
    lines += ["# comparators: 1 where the reading is at least"]
    lines += [
        f"#   {named[one]}: {reading} {unit}" for one, reading in zip(found.variables, found.thresholds, strict=False)
    ]
    lines += ["# coils, each by its relay"]
    lines += [f"#   {named[one]}: {comment(one.name)}" for one in found.states if one.kind == "coil"]
    lines += ["# states, from the present to the next; away: no band in force", ""]
    for one in found.each:
        lines.append(f"next_{named[one.state]} = {_sum(one, found, named)}")
    lines += ["", "# gates: name, kind, inputs"]
    for one in found.each:
        lines += _gates(one, found, named)
    return "\n".join(lines) + "\n"


Written = dict[Variable, str]


def _written(found: Equations) -> Written:
    """A name for each bit: comparators, coils, away, gates and next states begin with words of their own.

    So that no name of a relay can meet another: `cmp_3`, `coil_ka`, `away`; `and_2_coil_ka`, `next_coil_ka`.
    """
    coils = [one for one in found.states if one.kind == "coil"]
    plain = [name.lower() for name in identifiers(tuple(one.name for one in coils))]
    named = {one: f"coil_{name}" for one, name in zip(coils, plain, strict=True)}
    return {one: named.get(one, f"cmp_{one.name}" if one.kind == "comparator" else "away") for one in found.variables}


def _literals(term: Product, found: Equations, named: Written) -> list[str]:
    return [("" if value else "!") + named[found.variables[variable]] for variable, value in term]


def _sum(one: Equation, found: Equations, named: Written) -> str:
    products = [" & ".join(_literals(term, found, named)) or "1" for term in one.terms]
    return " | ".join(products) or "0"


def _gates(one: Equation, found: Equations, named: Written) -> list[str]:
    """An AND for each product, an OR over them; an inverted input begins with an exclamation mark."""
    name = named[one.state]
    if not one.terms or () in one.terms:
        return [f"next_{name}  const  {int(bool(one.terms))}"]
    outputs = [f"and_{number}_{name}" for number in range(1, len(one.terms) + 1)]
    lines = [
        f"{output}  and  {' '.join(_literals(term, found, named))}"
        for output, term in zip(outputs, one.terms, strict=True)
    ]
    return [*lines, f"next_{name}  or  {' '.join(outputs)}"]
