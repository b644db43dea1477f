"""The map of the rooms in DEVELOPERS.md, made from the code: layers, arrows between rooms, a phrase for each module.

Layers are those of `pyproject.toml`; an arrow is an import anywhere in a room, also one that waits for a call; a
phrase is what a module's docstring says first.
"""

from __future__ import annotations

import re
import tomllib
from collections import defaultdict
from pathlib import Path

from tests.rooms import SOURCES, Source, imported_anywhere

FILE = Path(__file__).parent.parent / "DEVELOPERS.md"
PYPROJECT = FILE.parent / "pyproject.toml"

FEWEST_WORDS = 3  # that say something without what follows a colon
MOST_WORDS = 9  # of a phrase that is cut at a comma, a bracket or the like; one before a colon may have some more
BLOCK = re.compile(
    r"(<!-- (rooms|modules), made by python -m tests\.test_readme -->\n).*?(<!-- end -->\n)", re.DOTALL
)


def room_of(name: str) -> str:
    return name.partition("/")[0].removesuffix(".py")


ROOMS: dict[str, list[Source]] = defaultdict(list)
for _one in SOURCES.values():
    ROOMS[room_of(_one.name)].append(_one)


def layers() -> list[list[str]]:
    """The rooms from the top down, those of one layer beside each other."""
    made = tomllib.loads(PYPROJECT.read_text("utf-8"))
    told = made["tool"]["importlinter"]["contracts"][0]["layers"]
    return [[room.removeprefix("tapplan.") for room in layer.split(" | ")] for layer in told]


def phrase(docstring: str) -> str:
    """What a docstring says first, without what follows a colon and, where that is long, a comma."""
    first = re.split(r"\.(?:\s|$)", docstring.partition("\n\n")[0].replace("\n", " "), maxsplit=1)[0]
    named, colon, more = first.partition(": ")
    if colon and len(named.split()) < FEWEST_WORDS:
        return f"{named}: {_cut(more)}"
    return _cut(first)


def _cut(told: str) -> str:
    for mark in (": ", "; ", " (", ", "):
        if len(told.split()) > MOST_WORDS:
            told = told.partition(mark)[0]
    return told


def about(room: str) -> str:
    """What the room's own docstring says, whole."""
    (own,) = (one for one in ROOMS[room] if one.name in (f"{room}/__init__.py", f"{room}.py"))
    return re.split(r"\.(?:\s|$)", own.docstring.partition("\n\n")[0].replace("\n", " "), maxsplit=1)[0]


def arrows(room: str) -> list[str]:
    """The rooms it imports from, in the order of the layers."""
    met = {room_of(other) for one in ROOMS[room] for other in imported_anywhere(one)} - {room}
    return [other for layer in layers() for other in layer if other in met]


def rooms_block() -> str:
    """The layers with their rooms, and what each imports from."""
    rows = ["| room | what it is about | modules | imports from |", "| --- | --- | --- | --- |"]
    for layer in layers():
        rows += [f"| `{one}` | {about(one)} | {len(ROOMS[one])} | {_told(arrows(one))} |" for one in layer]
    picture = ["   ".join(layer) for layer in layers()]
    return "\n".join(["```text", *picture, "```", "", *rows]) + "\n"


def _told(rooms: list[str]) -> str:
    return " ".join(f"`{one}`" for one in rooms) or "none"


def modules_block() -> str:
    """Every module of every room with its phrase."""
    parts = [f"### {room}\n\n" + _listed(room) for layer in layers() for room in layer if len(ROOMS[room]) > 1]
    return "\n".join(parts)


def _listed(room: str) -> str:
    inner = [one for one in ROOMS[room] if one.name != f"{room}/__init__.py"]
    named_after = [one for one in inner if _says_its_name(one)]
    return "".join(_line(one, named_after) for one in inner if one not in named_after)


def _line(one: Source, named_after: list[Source]) -> str:
    """A module, or a folder with those of its modules that say no more than their name."""
    names = [_short(other).rpartition("/")[2] for other in named_after if _short(other).startswith(_short(one))]
    more = f": {', '.join(f'`{name}`' for name in names)}" if _short(one).endswith("/") and names else ""
    return f"- `{_short(one)}`: {_lowered(phrase(one.docstring))}{more}\n"


def _says_its_name(one: Source) -> bool:
    """A verb's module, or the screen of a verb, whose phrase is just that."""
    name = _short(one).rpartition("/")[2]
    return re.fullmatch(rf"The (verb|screens? of) `{name}`", phrase(one.docstring)) is not None


def _short(one: Source) -> str:
    return one.name.partition("/")[2].removesuffix(".py").removesuffix("__init__")


def _lowered(told: str) -> str:
    """As it stands after a colon: a small letter first, but for a name."""
    return told[0].lower() + told[1:] if re.match(r"[A-Z][a-z'-]*\b(?![A-Z])", told) else told


def refreshed_map(text: str) -> str:
    """DEVELOPERS.md with both blocks as the code gives them now."""
    made = {"rooms": rooms_block, "modules": modules_block}
    return BLOCK.sub(lambda found: f"{found[1]}\n{made[found[2]]()}\n{found[3]}", text)


def write_map() -> None:
    """Writes both blocks into DEVELOPERS.md."""
    FILE.write_text(refreshed_map(FILE.read_text("utf-8")), "utf-8")
