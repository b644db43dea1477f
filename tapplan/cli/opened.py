"""Design files opened for a verb: what contradicts itself in the control table is told with file and line."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from tapplan.control.table import ControlTable, control_table
from tapplan.design.file import load, placed
from tapplan.design.wound import open_wires
from tapplan.errors import TableError, UsageError, escaped

if TYPE_CHECKING:
    from tapplan.checks.review import Review


@contextmanager
def of_file(path: str) -> Iterator[None]:
    """Whatever contradicts itself in a table made inside is told as a problem of this file.

    Raises:
        DesignError: in place of a TableError.
    """
    try:
        yield
    except TableError as error:
        raise placed(error, path) from None


@contextmanager
def naming(path: str) -> Iterator[None]:
    """What cannot be asked of this file is told with its name."""
    try:
        yield
    except UsageError as error:
        raise UsageError(f"{escaped(path)}: {error}") from None


def table_in(path: str) -> ControlTable:
    """The control table of a design file."""
    with of_file(path):
        design = load(path)
        if not open_wires(design):
            return control_table(design)
        from tapplan.rating.built import built_table  # only where a wire is to be chosen

        return built_table(design)


def review_in(path: str) -> Review:
    """A design file, reviewed."""
    from tapplan.checks.review import review

    with of_file(path):
        return review(load(path))
