"""How often each defect is met, as a repairer knows it: a file of `FAULT = number` or `"PART FAULT" = number`."""

from __future__ import annotations

from fractions import Fraction

from tapplan.bench.defects import PRIORS, defects
from tapplan.control.table import ControlTable
from tapplan.design.file import read_text, toml_tables
from tapplan.design.numbers import read_number
from tapplan.design.objection import nearest, shown
from tapplan.design.places import key_lines, line_of
from tapplan.errors import DesignError, Problem


def load_priors(path: str, table: ControlTable) -> dict[str, Fraction]:
    """The priors in a file in TOML; what it does not name keeps its default.

    Raises:
        DesignError: the file cannot be read, names a defect the design cannot have, or a number is not above 0.
    """
    text = read_text(path, "a file in TOML that can be read, of faults and how often they are met")
    given = toml_tables(text, path, "lines such as stuck-rest = 5")
    known = [*PRIORS, *dict.fromkeys(f"{one.part} {one.fault}" for one in defects(table))]
    found: dict[str, Fraction] = {}
    problems = []
    lines = key_lines(text)
    for key, value in given.items():
        number = read_number(value)
        line = line_of(lines, (key,))
        if key not in known:
            accepted = f"{', '.join(PRIORS)}, or a part before one of them"
            problems.append(Problem(key, f'unknown fault "{key}"', accepted, line, nearest(key, known)))
        elif number is None or number <= 0:
            problems.append(Problem(key, shown(value), "a number above 0", line))
        else:
            found[key] = number
    if problems:
        raise DesignError(path, tuple(problems))
    return found
