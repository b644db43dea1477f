"""The table of a stage as it will be built: where the file leaves a wire open, the wire that its current asks for.

Wire that is chosen has resistance like wire that is stated, so that every verb sees one drop and one permitted load.
It is chosen only where its resistance could be known, which takes [core] with the length of a turn, and where a load
makes it matter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Design, Winding
from tapplan.design.wound import mean_turn_mm

MOST_ROUNDS = 12  # a table made anew moves the holds a little, and a wire by a size at most


def built_table(design: Design, make: Callable[[Design], ControlTable] = control_table) -> ControlTable:
    """The control table with every open wire chosen; as `make` gives it where none is to be chosen.

    A wire changes the holds, and these the currents: it is chosen again until none grows. None shrinks.

    Raises:
        TableError: the bands contradict themselves.
    """
    table = make(design)
    left_open = tuple(one.name for one in design.windings if chosen_for(design, one))
    if not left_open:
        return table
    from tapplan.rating.rated import wound  # numpy, only where a wire is to be chosen

    for _ in range(MOST_ROUNDS):
        thicker = wound(table)
        if thicker == table.design:
            break
        table = make(thicker)
    return replace(table, wires_chosen=left_open)


def chosen_for(design: Design, winding: Winding) -> bool:
    """Whether the wire of a section is left open, and its resistance could be known."""
    core = design.core
    return (
        design.output.load_va is not None
        and winding.wire_mm is None
        and winding.resistance_ohm is None
        and core is not None
        and winding.core == core.name
        and mean_turn_mm(core) is not None
    )
