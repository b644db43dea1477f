"""Rows of cells changed: marks, cells, times, order."""

from __future__ import annotations

import re
from random import Random

from tests.fuzz.odd import NUMBERS, TEXTS, place_of, put

# --- changes of rows of cells ---


def mark_changed(chance: Random, text: str) -> str:
    """Another mark between cells, everywhere or in one line."""
    one, two = chance.sample([",", ";", "\t", "|", " "], 2)
    if chance.random() < 0.6:
        return text.replace(one, two)
    lines = text.split("\n")
    place = chance.randrange(len(lines))
    lines[place] = lines[place].replace(one, two)
    return "\n".join(lines)


def cell_changed(chance: Random, text: str) -> str:
    """A cell replaced, dropped, doubled, or put into quotes."""
    lines = text.split("\n")
    place = chance.randrange(len(lines))
    mark = next((one for one in ",;\t" if one in lines[place]), ",")
    cells = lines[place].split(mark)
    at = chance.randrange(len(cells))
    kind = chance.randrange(7)
    if kind == 0:
        cells.pop(at)
    elif kind == 1:
        cells.insert(at, cells[at])
    elif kind == 2:
        cells[at] = f'"{cells[at]}"'
    elif kind == 3:
        cells[at] = '"' + cells[at]
    else:
        odd = (*TEXTS, *NUMBERS, "OL", "open", "0,2 ohm", "4k7", "yes", "sometimes", "unknown", "230 V AC", "-", "?")
        cells[at] = chance.choice(odd)
    lines[place] = mark.join(cells)
    return "\n".join(lines)


def time_changed(chance: Random, text: str) -> str:
    """An odd time where there is one."""
    found = place_of(chance, re.compile(r"\d+[-./]\d+[-./]\d+(?:[T ]\d+:\d+(?::\d+)?)?(?:Z|[+-]\d\d:\d\d)?"), text)
    odd = (
        "0000-00-00", "9999-12-31T23:59:59Z", "10000-01-01", "2024-02-30", "2024-01-01T24:00:00Z",
        "2024-01-01T25:61:61", "1/1/1", "2024-03-31T02:30:00+99:99", "0001-01-01T00:00:00+23:59",
        "9999-12-31T23:59:59-23:59", "31.12.2024 23:59:60", "1e99", "-1", "2024-1-1 1:1", "NaT",
        "2024-01-01T00:00:00.123456789123Z", "20240101T000000Z", "01-02-03",
    )  # fmt: skip
    return text if found is None else put(text, found, chance.choice(odd))


def rows_turned(chance: Random, text: str) -> str:
    """The rows the other way round, or mixed."""
    lines = text.split("\n")
    head, rows = lines[:1], lines[1:]
    if chance.random() < 0.5:
        rows.reverse()
    else:
        chance.shuffle(rows)
    return "\n".join(head + rows)
