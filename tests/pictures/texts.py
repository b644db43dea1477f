"""Where texts of pictures really lie: Chromium sets them and measures, which shares nothing with our own widths."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from pathlib import Path
from typing import Any

from tests.chromium import demanded, started

MEASURED = """
for (const group of document.querySelectorAll('[id^="curve-band-"], [id^="bar-"]')) group.classList.add("in-force");
return [...document.querySelectorAll("svg")].map((svg) => ({
  width: svg.viewBox.baseVal.width, height: svg.viewBox.baseVal.height,
  texts: [...svg.querySelectorAll("text")].map((text) => {
    const box = text.getBBox(), from = text.getCTM();
    const corners = [[0, 0], [1, 0], [0, 1], [1, 1]].map(([a, b]) =>
      new DOMPoint(box.x + a * box.width, box.y + b * box.height).matrixTransform(from));
    const xs = corners.map((one) => one.x), ys = corners.map((one) => one.y);
    return [text.textContent, Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
  }),
}));
"""
HAIR = 0.75  # a browser rounds the height of letters to whole points


@dataclass(frozen=True)
class Set:
    """A text as it is set, and the room it takes."""

    text: str
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Set) -> bool:
        across = min(self.right, other.right) - max(self.left, other.left)
        return across > HAIR and min(self.bottom, other.bottom) - max(self.top, other.top) > HAIR

    def holds(self, x: float, y: float) -> bool:
        return self.left < x < self.right and self.top < y < self.bottom


@dataclass(frozen=True)
class Page:
    """The texts of one picture and its size."""

    width: float
    height: float
    texts: tuple[Set, ...]

    @property
    def overlapping(self) -> list[str]:
        return [f"{one.text} on {two.text}" for one, two in combinations(self.texts, 2) if one.meets(two)]

    @property
    def outside(self) -> list[str]:
        return [
            one.text
            for one in self.texts
            if one.left < 0 or one.top < -HAIR or one.right > self.width or one.bottom > self.height + HAIR
        ]

    def of(self, text: str) -> Set:
        found = [one for one in self.texts if one.text == text]
        assert len(found) == 1, f"{text} stands {len(found)} times"
        return found[0]


def measured(pictures: Sequence[str], folder: Path) -> list[Page]:
    """Pictures as SVG documents, each as Chromium sets it; every band as if it were in force, that is in bold."""
    demanded()
    driver = started()
    try:
        page = folder / "pictures.html"
        bodies = (one[one.index("<svg") :] for one in pictures)
        page.write_text(f'<!DOCTYPE html><meta charset="utf-8">{"".join(bodies)}', encoding="utf-8")
        driver.get(page.as_uri())
        return [_page(one) for one in driver.execute_script(MEASURED)]
    finally:
        driver.quit()


def _page(found: dict[str, Any]) -> Page:
    return Page(found["width"], found["height"], tuple(Set(*one) for one in found["texts"]))
