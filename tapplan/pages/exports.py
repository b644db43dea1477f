"""The control table in each form that is text."""

from __future__ import annotations

import json
from collections.abc import Callable

from tapplan.answers.decisions import compiled
from tapplan.answers.table import truth_table
from tapplan.checks.review import review_of
from tapplan.control.equations import equations
from tapplan.control.program import program
from tapplan.control.table import ControlTable
from tapplan.errors import UsageError
from tapplan.pages import firmware, netlists
from tapplan.pages.documents import table_csv, table_markdown
from tapplan.pages.verilog import verilog


def _verilog(table: ControlTable) -> str:
    made = program(table)
    return verilog(equations(made), made)


def _logic(table: ControlTable) -> str:
    made = program(table)
    return firmware.logic(equations(made), made)


FORMS: dict[str, Callable[[ControlTable], str]] = {
    "c": lambda table: firmware.c_header(program(table)),
    "decisions": lambda table: json.dumps(compiled(table).told(), indent=1) + "\n",
    "logic": _logic,
    "verilog": _verilog,
    "spice": lambda table: netlists.spice(table.stated, table.circuit, ()),
    "vectors": lambda table: firmware.vectors(program(table)),
    "csv": lambda table: table_csv(truth_table(review_of(table))),
    "markdown": lambda table: table_markdown(truth_table(review_of(table))),
}


def exported(table: ControlTable, to: str) -> str:
    """The text of one form; for `spice`, with every relay at rest.

    Raises:
        UsageError: there is no such form.
    """
    if to not in FORMS:
        raise UsageError(f'found "{to}"; accepted: {", ".join(FORMS)}')
    return FORMS[to](table)
