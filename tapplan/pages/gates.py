"""Hand-over to hardware: Boolean equations of the controller, and the same as a netlist of gates."""

from __future__ import annotations

from tapplan.answers.words import CAUTION
from tapplan.control.equations import Equation, Equations, Product, Variable
from tapplan.control.program import Program
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.cnames import comment, identifiers, wrapped
from tapplan.version import __version__


def logic(found: Equations, made: Program) -> str:
    """The equations, and the same as gates with two levels."""
    named = written(found)
    unit = "counts" if made.counted else "mV"
    lines = [
        f"# {comment(made.table.design.title)}",
        f"# design {fingerprint(made.table.stated)}, tapplan {__version__}",
    ]
    lines += [f"# {line}" for line in wrapped(comment(CAUTION))]
    lines += ["# comparators: 1 where the reading is at least"]
    lines += [
        f"#   {named[one]}: {reading} {unit}" for one, reading in zip(found.variables, found.thresholds, strict=False)
    ]
    lines += ["# coils, each by its relay"]
    lines += [f"#   {named[one]}: {comment(one.name)}" for one in found.states if one.kind == "coil"]
    lines += ["# states, from the present to the next; away: no band in force", ""]
    for one in found.each:
        lines.append(f"next_{named[one.state]} = {summed(one, found, named)}")
    lines += ["", "# gates: name, kind, inputs"]
    for one in found.each:
        lines += _gates(one, found, named)
    return "\n".join(lines) + "\n"


Written = dict[Variable, str]


def written(found: Equations) -> Written:
    """A name for each bit: comparators, coils, away, gates and next states begin with words of their own.

    So that no name of a relay can meet another or a word of a language: `cmp_3`, `coil_ka`, `away`; `and_2_coil_ka`,
    `next_coil_ka`.
    """
    coils = [one for one in found.states if one.kind == "coil"]
    plain = [name.lower() for name in identifiers(tuple(one.name for one in coils))]
    named = {one: f"coil_{name}" for one, name in zip(coils, plain, strict=True)}
    return {one: named.get(one, f"cmp_{one.name}" if one.kind == "comparator" else "away") for one in found.variables}


def _literals(term: Product, found: Equations, named: Written) -> list[str]:
    return [("" if value else "!") + named[found.variables[variable]] for variable, value in term]


def summed(one: Equation, found: Equations, named: Written) -> str:
    """The next state of a bit as a sum of products, in signs that C and Verilog share."""
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
