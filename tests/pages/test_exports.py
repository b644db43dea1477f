"""The forms of an export: each is what its own module makes of the table."""

from __future__ import annotations

import json
from functools import cache

import pytest

from tapplan.answers.decisions import compiled
from tapplan.control.equations import equations
from tapplan.control.program import program
from tapplan.control.table import ControlTable, control_table
from tapplan.errors import UsageError
from tapplan.pages.exports import FORMS, exported
from tests.pages.firmware.stages import stage


@cache
def table() -> ControlTable:
    return control_table(stage())


@pytest.mark.parametrize(
    ("form", "begins", "holds"),
    [
        ("c", "/*\n * Mill, 230 V\n", "static inline int tapplan_mill_next("),
        ("decisions", "{\n ", '"row": "boost"'),
        ("logic", "# Mill, 230 V\n", "# gates: name, kind, inputs"),
        ("verilog", "// Logic of: Mill, 230 V\n", "endmodule"),
        ("spice", "* Mill, 230 V\n", "* relays driven: none"),
        ("vectors", "from,reading,volts,to,K\n", "boost,230001,230.0010,straight,0"),
        ("csv", "band,energised,kind,ratio,", "boost,K,boost,11/10,1.1,"),
        ("markdown", "# Mill, 230 V\n", "| boost | energised |"),
    ],
)
def test_each_form_is_written_whole(form: str, begins: str, holds: str) -> None:
    text = exported(table(), form)
    assert text.startswith(begins)
    assert holds in text
    assert text.endswith("\n")


def test_every_form_is_tried_here_and_no_other_is_taken() -> None:
    assert set(FORMS) == {"c", "decisions", "logic", "verilog", "spice", "vectors", "csv", "markdown"}
    with pytest.raises(
        UsageError, match='found "pdf"; accepted: c, decisions, logic, verilog, spice, vectors, csv, m'
    ):
        exported(table(), "pdf")


def test_decisions_are_the_compiled_controller_as_json() -> None:
    told = json.loads(exported(table(), "decisions"))
    assert told == json.loads(json.dumps(compiled(table()).told()))
    made = program(table())
    assert exported(table(), "logic").count("\nnext_") - len(equations(made).each) == len(equations(made).each)
