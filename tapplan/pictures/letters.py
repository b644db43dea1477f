"""How much room a text takes: measured before it is drawn, so that no label has to lie on another.

Widths are those of DejaVu Sans, the widest of the letters that `style.LETTERS` asks for; a text is rather thought too
wide than too narrow.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import cache

from tapplan.pictures.style import RULES

# Letters by their width in hundredths of their size, each group rounded up.
_WIDTHS = {
    one: wide
    for wide, letters in {
        32: "'IJijl ,.",
        36: "/:;\\|",
        40: "()-[]ft",
        43: "!r\u201c\u201d",
        48: '"',
        55: "*?_`csz\u00b7",
        60: "FLkvxy",
        64: "0123456789$EPSTYabdeghnopqu{}",
        69: "AKVXZ",
        72: "BCR",
        78: "DHNUG",
        84: "#+<=>~^O&Qw",
        90: "M",
        100: "mW%@\u2026",
    }.items()
    for one in letters
}
_BOLD = 1.14  # a word in bold over the same in plain letters
_ABOVE, _BELOW = 0.93, 0.24  # of the size: how far letters reach over and under their line
_LATIN, _WIDE = 80, 105


@dataclass(frozen=True, slots=True)
class Font:
    """The letters of a class of the style: their size in points of the picture, and whether they are bold."""

    size: float
    bold: bool = False

    @property
    def above(self) -> float:
        """How far they reach above the line that they stand on."""
        return self.size * _ABOVE

    @property
    def below(self) -> float:
        """How far they reach below it."""
        return self.size * _BELOW

    def wide(self, text: str) -> float:
        """The width of a text, rather more than less."""
        return sum(_width(one) for one in text) * self.size / 100 * (_BOLD if self.bold else 1)

    def cut(self, text: str, most: float) -> str:
        """The text where it is not wider than that, else as much of it as fits, and a mark that some is left out."""
        if self.wide(text) <= most:
            return text
        shown = len(text)
        while shown and self.wide(text[:shown].rstrip() + "\u2026") > most:
            shown -= 1
        return text[:shown].rstrip() + "\u2026"


@cache
def _width(letter: str) -> int:
    if letter in _WIDTHS:
        return _WIDTHS[letter]
    plain = unicodedata.normalize("NFD", letter)[0]
    if plain in _WIDTHS:
        return _WIDTHS[plain]
    return _WIDE if unicodedata.east_asian_width(letter) in "WF" else _LATIN if letter.isascii() else _WIDE


@cache
def letters(named: str) -> Font:
    """The letters that a class of the style has."""
    found = re.search(rf"^\.{named} {{[^}}]*font: (bold )?(\d+)px", RULES, re.MULTILINE)
    if found is None:
        raise ValueError(f"the style has no letters for .{named}")
    return Font(float(found[2]), found[1] is not None)
