"""Made-up traces against the room on the disk: what surely does not fit is refused before a row is drawn."""

from __future__ import annotations

from math import ceil
from pathlib import Path
from shutil import disk_usage

from tapplan.errors import OutputError, escaped
from tapplan.logs.recipe import Recipe

# Bytes of a row at the least. CSV: a time of 20 letters, comma, end of line. The others about a third of what rows of
# whole volts were measured to take, so that what may fit is never refused.
LEAST_BYTES = {"csv": 22.0, "csv.gz": 0.8, "parquet": 0.12}
GIGABYTE = 10**9


def keep_to_the_disk(path: str, recipe: Recipe, form: str, files: int = 1) -> None:
    """Refuses traces that are larger than the room beside their place.

    Raises:
        OutputError: they are.
    """
    place = next((one for one in Path(path).absolute().parents if one.is_dir()), None)
    if place is None:
        return
    rows = recipe.clock.readings * files
    least, free = ceil(rows * (1 - recipe.gaps) * LEAST_BYTES[form]), disk_usage(place).free
    if least > free:
        raise OutputError(
            f"{escaped(path)}: found {rows:,} rows, at least {_gigabytes(least)} as {form}, and room for "
            f"{_gigabytes(free)} on its disk; accepted: fewer --days, a longer --step, --to parquet, or a larger disk"
        )


def _gigabytes(count: int) -> str:
    return f"{count / GIGABYTE:,.1f} GB"
