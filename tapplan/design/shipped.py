"""The shipped designs and requests by name: in a wheel they lie in the package, in a clone beside it."""

from __future__ import annotations

from pathlib import Path as FilePath

from tapplan.design.objection import nearest
from tapplan.errors import UsageError

PACKAGE = FilePath(__file__).parents[1]
HOMES = (PACKAGE / "designs", PACKAGE.parent / "designs")


def shipped(name: str) -> str:
    """The text of a shipped design or request, as it is.

    Raises:
        UsageError: there is none of this name.
    """
    there = _files()
    if name not in there:
        hint = nearest(name, there)
        accepted = f"accepted: {', '.join(there)}" + (f" ({hint})" if hint else "")
        raise UsageError(f'found no shipped design "{name}"; {accepted}')
    return there[name].read_text(encoding="utf-8")


def _files() -> dict[str, FilePath]:
    """Each by its name: designs, then requests."""
    home = next((home for home in HOMES if home.is_dir()), None)
    if home is None:
        return {}
    return {file.stem: file for folder in (home, home / "requests") for file in sorted(folder.glob("*.toml"))}
