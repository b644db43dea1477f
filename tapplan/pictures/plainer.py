"""The same drawing in fewer letters: places to a hundredth, no size that a rule sets, a grid's lines in one path."""

from __future__ import annotations

import re

_TAG = re.compile(r"<[a-z][^>]*>")
_PLACE = re.compile(r'( (?:x|y|x1|y1|x2|y2|cx|cy|r|rx|ry|d|width|height|points|transform)=")([^"]*)"')
_LONG = re.compile(r"-?\d+\.\d+")
_LINES = re.compile(r'<path d="[^"]*" class="(grid)"/>(?:<path d="[^"]*" class="\1"/>)+')


def plainer(body: str, dress: str) -> str:
    """The elements of a drawing that the rules of `dress` dress: what they show stays the same to the eye."""
    sized = frozenset(re.findall(r"^\.([\w-]+) \{[^}]*font:", dress, flags=re.MULTILINE))
    short = _TAG.sub(lambda tag: _short(tag[0], sized), body)
    short = re.sub(r">\n+<", "><", short).replace("<defs></defs>", "").strip("\n")
    return _LINES.sub(_joined, short)


def _short(tag: str, sized: frozenset[str]) -> str:
    tag = _PLACE.sub(lambda found: f'{found[1]}{_LONG.sub(_rounded, found[2])}"', tag)
    dressed = re.search(r'class="([^"]*)"', tag)
    if dressed is not None and sized & set(dressed[1].split()):
        tag = re.sub(r' font-size="[^"]*"', "", tag)
    return tag.replace(" />", "/>")


def _rounded(number: re.Match[str]) -> str:
    return f"{float(number[0]):.2f}".rstrip("0").rstrip(".")


def _joined(lines: re.Match[str]) -> str:
    paths = re.findall(r'd="([^"]*)"', lines[0])
    return f'<path d="{"".join(paths)}" class="{lines[1]}"/>'
