"""Hand-over to a controller: a C header, Boolean equations with a gate netlist, and test vectors."""

from __future__ import annotations

import csv
import io
import re

from tapplan.control.equations import Equation, Equations
from tapplan.control.program import Program
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.sheets import safe
from tapplan.pages.words import CAUTION
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
    plain = text.encode("ascii", "replace").decode().replace("*/", "* /").replace("/*", "/ *")
    return plain.replace("??/", "?? /").replace("\\", "/")


def c_header(made: Program) -> str:
    """Thresholds, coil masks, move orders and the decision, with nothing but <stdint.h>."""
    design = made.table.design
    bands, relays = identifiers(made.names[:-1]), identifiers(made.table.circuit.relays)
    unit = "counts of the converter" if made.counted else "millivolts at the inlet"
    steps = max((len(path) for row in made.paths for path in row), default=1) or 1
    confirm = float(design.sensing.confirm_ms)
    lines = [
        "/*",
        f" * {comment(design.title)}",
        f" * Control table of design {fingerprint(design)}, made by tapplan {__version__}.",
        f" * Readings are {unit}: {float(made.per_volt):.9g} for one volt at the inlet.",
        *(f" * {line}" for line in _wrapped(comment(CAUTION))),
        " */",
        "#ifndef TAPPLAN_TABLE_H",
        "#define TAPPLAN_TABLE_H",
        "",
        "#include <stdint.h>",
        "",
        f"#define TAPPLAN_BANDS {len(made.holds)}",
        "#define TAPPLAN_AWAY TAPPLAN_BANDS /* no band in force: backup, or nothing promised */",
        f"#define TAPPLAN_STEPS {steps} /* most masks from one band to another */",
        f"#define TAPPLAN_CONFIRM_US {round(confirm * 1000)}L /* a reading must stand this long before a move */",
        *(f"#define TAPPLAN_BAND_{name} {number}" for number, name in enumerate(bands)),
        *(f"#define TAPPLAN_COIL_{name} 0x{1 << number:X}UL" for number, name in enumerate(relays)),
        "",
        "/* Readings that keep each band, both ends included. */",
        _array("int32_t", "tapplan_low", [str(low) for low, _ in made.holds]),
        _array("int32_t", "tapplan_high", [str(high) for _, high in made.holds]),
        "",
        "/* Coils driven in each band and, last, while away. */",
        _array("uint32_t", "tapplan_coils", [f"0x{code:X}UL" for code in made.coils]),
        "",
        "/* From away: up to each reading, the band to take. */",
        f"#define TAPPLAN_STARTS {len(made.starts)}",
        _array("int32_t", "tapplan_start_upto", [str(upto) for upto, _ in made.starts]),
        _array("int32_t", "tapplan_start_band", [_band(row) for _, row in made.starts]),
        "",
        "/* Masks to set one after the other from [band] to [band], each relay settled before the next;",
        " * the last repeated. */",
        _paths(made, steps),
        DECISION,
        "#endif",
    ]
    return "\n".join(lines) + "\n"


def _wrapped(text: str) -> list[str]:
    import textwrap

    return textwrap.wrap(text, COMMENT_WIDTH)


def _band(row: int) -> str:
    return "TAPPLAN_AWAY" if row < 0 else str(row)


def _array(kind: str, name: str, values: list[str]) -> str:
    return f"static const {kind} {name}[{len(values)}] = {{{', '.join(values)}}};"


def _paths(made: Program, steps: int) -> str:
    rows = []
    for here, paths in enumerate(made.paths):
        cells = []
        for path in paths:
            masks = [*path, *[path[-1] if path else made.coils[here]] * (steps - len(path))]
            cells.append("{" + ", ".join(f"0x{code:X}UL" for code in masks) + "}")
        rows.append("  {" + ", ".join(cells) + "}")
    size = "[TAPPLAN_BANDS + 1][TAPPLAN_BANDS + 1][TAPPLAN_STEPS]"
    return f"static const uint32_t tapplan_path{size} = {{\n" + ",\n".join(rows) + "\n};\n"


DECISION = """/* The band after one reading, from the band in force (or TAPPLAN_AWAY). */
static inline int tapplan_next(int band, int32_t reading)
{
  int n;
  if (band < 0 || band >= TAPPLAN_BANDS) {
    for (n = 0; n < TAPPLAN_STARTS; n++) {
      if (reading <= tapplan_start_upto[n]) return (int)tapplan_start_band[n];
    }
    return TAPPLAN_AWAY;
  }
  if (reading > tapplan_high[band]) {
    for (n = band + 1; n < TAPPLAN_BANDS; n++) {
      if (reading >= tapplan_low[n] && reading <= tapplan_high[n]) return n;
    }
    return TAPPLAN_AWAY;
  }
  if (reading < tapplan_low[band]) {
    for (n = band - 1; n >= 0; n--) {
      if (reading >= tapplan_low[n] && reading <= tapplan_high[n]) return n;
    }
    return TAPPLAN_AWAY;
  }
  return band;
}
"""


def vectors(made: Program) -> str:
    """Every band in force with every reading at and just below a threshold: the band and coils that must follow."""
    written = io.StringIO()
    writer = csv.writer(written, lineterminator="\n")
    relays = made.table.circuit.relays
    writer.writerow(["from", "reading", "volts", "to", *map(safe, relays)])
    for standing in (*range(len(made.holds)), -1):
        for reading in sorted({one for mark in made.thresholds for one in (mark - 1, mark)}):
            then = made.decided(standing, reading)
            coils = [made.coils[then] >> number & 1 for number in range(len(relays))]
            volts = f"{float(reading / made.per_volt):.4f}"
            writer.writerow([safe(made.names[standing]), reading, volts, safe(made.names[then]), *coils])
    return written.getvalue()


def logic(found: Equations, made: Program) -> str:
    """The equations, and the same as gates with two levels."""
    named = dict(zip(found.variables, _plain(found), strict=True))
    unit = "counts" if made.counted else "mV"
    lines = [
        f"# {comment(made.table.design.title)}",
        f"# design {fingerprint(made.table.design)}, tapplan {__version__}",
    ]
    lines += [f"# {line}" for line in _wrapped(comment(CAUTION))]
    lines += ["# comparators: 1 where the reading is at least"]
    lines += [f"#   {named[f'c{n + 1}']}: {reading} {unit}" for n, reading in enumerate(found.thresholds)]
    lines += ["# states, from the present to the next; away: no band in force", ""]
    for one in found.each:
        lines.append(f"next_{named[one.name]} = {_sum(one, found, named)}")
    lines += ["", "# gates: name, kind, inputs"]
    for one in found.each:
        lines += _gates(one, found, named)
    return "\n".join(lines) + "\n"


def _plain(found: Equations) -> list[str]:
    return [name.lower() for name in identifiers(found.variables)]


def _sum(one: Equation, found: Equations, named: dict[str, str]) -> str:
    products = []
    for term in one.terms:
        literals = [("" if value else "!") + named[found.variables[variable]] for variable, value in term]
        products.append(" & ".join(literals) or "1")
    return " | ".join(products) or "0"


def _gates(one: Equation, found: Equations, named: dict[str, str]) -> list[str]:
    """An AND for each product, an OR over them; an inverted input begins with an exclamation mark."""
    name = named[one.name]
    if not one.terms or () in one.terms:
        return [f"next_{name}  const  {int(bool(one.terms))}"]
    lines, outputs = [], []
    for number, term in enumerate(one.terms, 1):
        literals = [("" if value else "!") + named[found.variables[variable]] for variable, value in term]
        lines.append(f"{name}_{number}  and  {' '.join(literals)}")
        outputs.append(f"{name}_{number}")
    return [*lines, f"next_{name}  or  {' '.join(outputs)}"]
