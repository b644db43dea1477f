"""Hand-over to programmable logic: the equations of the controller as one clocked module of Verilog.

A reader of the equations. What never occurs is free in them, so a module made of them alone could follow a comparator
that fails, or an upset of its own bits, into relays that no band drives. So the state after a clock is taken only
where it is one of the table's; any other becomes being away.
"""

from __future__ import annotations

from tapplan.answers.words import CAUTION
from tapplan.control.equations import Equations
from tapplan.control.program import Program
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.cnames import comment, wrapped
from tapplan.pages.firmware.named import firmware_name
from tapplan.pages.gates import Written, summed, written
from tapplan.version import __version__

USE = (
    "One clock with decide at 1 is one decision. Confirmation, blanking and the order and pauses of a move are not "
    "in this module: raise decide when a reading has stood long enough and the relays have settled, and hand the "
    "coils on in the order that the table states. Take each comparator bit through two flip-flops first."
)


def verilog(found: Equations, made: Program) -> str:
    """One module of Verilog 2001: comparator bits in, coils and being away out; reset leads away at once."""
    named = written(found)
    design = made.table.design
    lines = [
        f"// Logic of: {comment(design.title)}",
        f"// Design {fingerprint(made.table.stated)}, made by tapplan {__version__}.",
        *(f"// {line}" for line in (*wrapped(comment(CAUTION)), *wrapped(USE))),
        "",
        f"module {firmware_name(made.table.stated)} (",
        *_ports(found, made, named),
        ");",
        *(f"  wire next_{named[one.state]} = {summed(one, found, named)};" for one in found.each),
        "",
        *_known(found, named),
        *_clocked(found, made, named),
        "endmodule",
    ]
    return "\n".join(lines) + "\n"


def _ports(found: Equations, made: Program, named: Written) -> list[str]:
    unit = "counts" if made.counted else "mV"
    return [
        "  input wire clock,",
        "  input wire reset, // 1: away, without waiting for a clock",
        "  input wire decide, // 1 at a rising clock: the comparators count",
        *(
            f"  input wire {named[one]}, // 1: reading at least {reading} {unit}"
            for one, reading in zip(found.variables, found.thresholds, strict=False)
        ),
        *(f"  output reg {named[one]}, // {comment(one.name)}" for one in found.states if one.kind == "coil"),
        "  output reg away // 1: no band in force",
    ]


def _known(found: Equations, named: Written) -> list[str]:
    """Whether the next state is one that the table has, by its bits in the order of the states."""
    size, first = len(found.states), len(found.thresholds)
    states = dict.fromkeys("".join(map(str, bits[first:])) for bits, _ in found.rows)
    return [
        f"  wire [{size - 1}:0] after = {{{', '.join(f'next_{named[one]}' for one in found.states)}}};",
        "  wire known =",
        " |\n".join(f"    after == {size}'b{one}" for one in states) + ";",
        "",
    ]


def _clocked(found: Equations, made: Program, named: Written) -> list[str]:
    out = {one: made.coils[-1] >> place & 1 for place, one in enumerate(found.states[:-1])} | {found.states[-1]: 1}
    return [
        "  always @(posedge clock or posedge reset)",
        "    if (reset) begin",
        *(f"      {named[one]} <= 1'b{bit};" for one, bit in out.items()),
        "    end else if (decide) begin",
        *(
            f"      {named[one]} <= {f'~known | next_{named[one]}' if bit else f'known & next_{named[one]}'};"
            for one, bit in out.items()
        ),
        "    end",
    ]
