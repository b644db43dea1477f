"""The table of a stage as it will be built: where the file leaves a wire open, the wire that its current asks for.

Wire that is chosen has resistance like wire that is stated, so that every verb sees one drop and one permitted load.
It is chosen only where its resistance could be known, which takes [core] with the length of a turn, and where a load
makes it matter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from tapplan.control.table import ControlTable, control_table
from tapplan.design.model import Design
from tapplan.design.wound import open_wires

MOST_ROUNDS = 12  # a table made anew moves the holds a little, and a wire by a size at most


def built_table(design: Design, make: Callable[[Design], ControlTable] = control_table) -> ControlTable:
    """The control table with every open wire chosen; as `make` gives it where none is to be chosen.

    A wire changes the holds, and these the currents: it is chosen again until none grows. None shrinks.

    Raises:
        TableError: the bands contradict themselves.
    """
    table = make(design)
    left_open = open_wires(design)
    if not left_open:
        return table
    from tapplan.rating.rated import wound  # numpy, only where a wire is to be chosen

    for _ in range(MOST_ROUNDS):
        thicker = wound(table)
        if thicker == table.design:
            break
        table = make(thicker)
    return replace(table, wires_chosen=left_open)
