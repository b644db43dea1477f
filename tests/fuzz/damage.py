"""Sound files and words changed in ways that know their form: seldom much, so that many are still accepted."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Sequence
from itertools import pairwise
from random import Random

from tests.fuzz.cells import cell_changed, mark_changed, rows_turned, time_changed
from tests.fuzz.odd import KEYS, NUMBERS, TEXTS, place_of, put
from tests.fuzz.turned import bytes_changed, json_changed

NUMBER = re.compile(r"(?<![\w.\"-])[+-]?\d+(?:\.\d+)?(?:[eE][+-]?\d+)?(?![\w.])")
STRING = re.compile(r'"(?:\\.|[^"\\\n])*"')
ARRAY = re.compile(r"\[[^\[\]\n]*\]")
HEADER = re.compile(r"^\[{1,2}[^\]\n]+\]{1,2}", re.MULTILINE)

Change = Callable[[Random, str], str]


def quoted(text: str) -> str:
    """A text as TOML and JSON write it; a lone surrogate as an escape that neither of them takes."""
    return json.dumps(text)


# --- small changes, after which a file mostly still reads ---


def nudged(chance: Random, text: str) -> str:
    """Some number a little larger or smaller."""
    found = place_of(chance, NUMBER, text)
    if found is None:
        return text
    value = float(found.group())
    kind = chance.randrange(6)
    if kind == 0:
        new = f"{value * chance.uniform(0.97, 1.03):.6g}"
    elif kind == 1:
        new = f"{value + chance.choice((-1, 1)):g}"
    elif kind == 2:
        new = f"{value:.2f}"
    elif kind == 3:
        new = found.group() + ".0" * ("." not in found.group() and "e" not in found.group().lower())
    elif kind == 4:
        new = f"{value * chance.choice((0.5, 2, 10, 0.1)):.6g}"
    else:
        new = str(chance.randrange(1, 1000))
    return put(text, found, new)


def renamed(chance: Random, text: str) -> str:
    """A name in quotes called otherwise, everywhere."""
    found = place_of(chance, STRING, text)
    if found is None:
        return text
    new = chance.choice((*TEXTS, f"{found.group()[1:-1]}'", "Ω1", f"n{chance.randrange(100)}", "a b"))
    return text.replace(found.group(), quoted(new))


def remarked(chance: Random, text: str) -> str:
    """A comment or an empty line more."""
    lines = text.split("\n")
    lines.insert(chance.randrange(len(lines) + 1), chance.choice(("", "# a remark", "#", "# Ω \t")))
    return "\n".join(lines)


def without_line(chance: Random, text: str) -> str:
    """A line less."""
    lines = text.split("\n")
    lines.pop(chance.randrange(len(lines)))
    return "\n".join(lines)


def ends_of_line(chance: Random, text: str) -> str:
    """The ends of lines of another system, here or there or everywhere."""
    return text.replace("\n", "\r\n") if chance.random() < 0.7 else text.replace("\n", "\r\n", 3)


# --- changes of any text ---


def number_put(chance: Random, text: str) -> str:
    """Some number replaced by one that is odd."""
    found = place_of(chance, NUMBER, text)
    return text if found is None else put(text, found, chance.choice(NUMBERS))


def text_put(chance: Random, text: str) -> str:
    """Some text in quotes replaced by one that is odd."""
    found = place_of(chance, STRING, text)
    if found is None:
        return text
    new = chance.choice(TEXTS)
    return put(text, found, chance.choice((quoted, "'{}'".format, "{}".format))(new))


def line_doubled(chance: Random, text: str) -> str:
    """A line there twice, or often."""
    lines = text.split("\n")
    place = chance.randrange(len(lines))
    lines[place:place] = [lines[place]] * chance.choice((1, 1, 1, 40))
    return "\n".join(lines)


def lines_swapped(chance: Random, text: str) -> str:
    """Two lines in each other's place."""
    lines = text.split("\n")
    one, two = chance.randrange(len(lines)), chance.randrange(len(lines))
    lines[one], lines[two] = lines[two], lines[one]
    return "\n".join(lines)


def inserted(chance: Random, text: str) -> str:
    """An odd text somewhere."""
    place = chance.randrange(len(text) + 1)
    return text[:place] + chance.choice((*TEXTS, *NUMBERS, *"[]{}=,;:\"'#\t\r\n\\ .-")) + text[place:]


def cut_out(chance: Random, text: str) -> str:
    """Some letters less."""
    place = chance.randrange(len(text) + 1)
    return text[:place] + text[place + chance.choice((1, 1, 2, 5, 40)) :]


def ended(chance: Random, text: str) -> str:
    """Cut off somewhere."""
    return text[: chance.randrange(len(text) + 1)]


def word_put(chance: Random, text: str) -> str:
    """A word replaced by another of the same text."""
    words = re.findall(r"[^\s,;:=\"\[\]]+", text)
    if not words:
        return text
    return text.replace(
        chance.choice(words), chance.choice((*words, chance.choice(TEXTS), chance.choice(NUMBERS))), 1
    )


def deep(chance: Random, text: str) -> str:
    """Brackets in brackets."""
    opened = chance.choice(("[", "{a=", '{"a":', "a.", "(", "[["))
    closed = {"[": "]", "{a=": "}", '{"a":': "}", "[[": "]]", "(": ")"}.get(opened, "")
    many = opened * chance.choice((30, 80, 150, 220, 280, 320, 450, 900, 100_000))
    if chance.random() < 0.6:
        depth = many.count(opened)
        many += "1" + closed * depth
    return text + "\nx = " + many if chance.random() < 0.7 else many + text


# --- changes of TOML ---


def _tables(text: str) -> list[str]:
    """A text cut before each header of a table."""
    starts = [0, *(found.start() for found in HEADER.finditer(text)), len(text)]
    return [text[one:two] for one, two in pairwise(starts)]


def table_moved(chance: Random, text: str) -> str:
    """A table dropped, doubled, or put elsewhere."""
    tables = _tables(text)
    place = chance.randrange(len(tables))
    one = tables.pop(place)
    many = chance.choice((0, 1, 2, 2, 30))
    at = chance.randrange(len(tables) + 1)
    tables[at:at] = [one] * many
    return "".join(tables)


def header_changed(chance: Random, text: str) -> str:
    """A table of tables where one is meant, or the other way; or another name."""
    found = place_of(chance, HEADER, text)
    if found is None:
        return text
    name = found.group().strip("[]")
    new = chance.choice(
        (f"[{name}]", f"[[{name}]]", f"[{name}.x]", f"[{chance.choice(KEYS)}]", f"[[{name}.{name}]]", "[]")
    )
    return put(text, found, new)


def key_changed(chance: Random, text: str) -> str:
    """A key called otherwise."""
    found = place_of(chance, re.compile(r"^[A-Za-z_]+(?=\s*=)", re.MULTILINE), text)
    return text if found is None else put(text, found, chance.choice(KEYS))


def array_changed(chance: Random, text: str) -> str:
    """A list emptied, grown, put into a list, or replaced."""
    found = place_of(chance, ARRAY, text)
    if found is None:
        return text
    inner = found.group()[1:-1]
    entry = inner.split(",")[0] or "1"
    new = chance.choice(
        (
            "[]", f"[{inner},{inner}]", f"[[{inner}]]", f"[{entry}]", f"[{','.join([entry] * 3000)}]", entry,
            f"{{a = {entry}}}", f"[{','.join(reversed(inner.split(',')))}]", f"[{inner}, 1]", f"[{inner}, true]",
            f'[{inner}, "a"]', f"[{inner},,]",
        )
    )  # fmt: skip
    return put(text, found, new)


def value_changed(chance: Random, text: str) -> str:
    """What stands behind a key replaced by something of another kind."""
    found = place_of(chance, re.compile(r"(?<== )[^\n]+"), text)
    if found is None:
        return text
    kinds = (
        "true",
        "[]",
        "{}",
        '""',
        "1",
        "[1, 2]",
        '["a", "b"]',
        "{x = 1}",
        "1979-05-27",
        "07:32:00",
        "nan",
        '"""\n"""',
    )
    return put(text, found, chance.choice((*kinds, chance.choice(NUMBERS), quoted(chance.choice(TEXTS)))))


GENTLE: tuple[Change, ...] = (nudged, nudged, nudged, renamed, remarked, without_line, ends_of_line)
ANY_TEXT: tuple[Change, ...] = (
    number_put, number_put, text_put, line_doubled, lines_swapped, inserted, cut_out, ended, word_put, without_line,
)  # fmt: skip
OF_TOML: tuple[Change, ...] = (
    *ANY_TEXT, table_moved, table_moved, header_changed, key_changed, array_changed, array_changed, value_changed,
    value_changed, number_put, text_put,
)  # fmt: skip
OF_ROWS: tuple[Change, ...] = (
    *ANY_TEXT,
    mark_changed,
    cell_changed,
    cell_changed,
    cell_changed,
    time_changed,
    rows_turned,
)
OF_JSON: tuple[Change, ...] = (json_changed,) * 16 + (cut_out, ended, inserted, line_doubled, number_put)
OF_WORDS: tuple[Change, ...] = (*ANY_TEXT, word_put, word_put)
GENTLE_ROWS: tuple[Change, ...] = (nudged, nudged, nudged, remarked, without_line, ends_of_line, rows_turned)
FORMS: dict[str, Sequence[Change]] = {
    "design": OF_TOML,
    "request": OF_TOML,
    "priors": OF_TOML,
    "frame": OF_TOML,
    "log": OF_ROWS,
    "sheet": OF_ROWS,
    "learn": OF_ROWS,
    "weights": OF_ROWS,
    "session": OF_WORDS,
    "answers": OF_WORDS,
    "reading": OF_WORDS,
    "search": OF_JSON,
    "runs": OF_JSON,
}
GENTLE_FORMS = {"log": GENTLE_ROWS, "sheet": GENTLE_ROWS, "learn": GENTLE_ROWS, "weights": GENTLE_ROWS}
SHARE_GENTLE = 0.4


def damaged(chance: Random, kind: str, raw: bytes) -> bytes:
    """A file of this kind changed once or a few times."""
    if kind == "parquet":
        return parquet_changed(chance, raw)
    is_gentle = chance.random() < SHARE_GENTLE
    changes = GENTLE_FORMS.get(kind, GENTLE) if is_gentle else FORMS[kind]
    text = raw.decode("utf-8", "surrogateescape")
    for _ in range(chance.choice((1, 1, 1, 2, 2, 3, 5))):
        text = chance.choice(changes)(chance, text)
    if not is_gentle and chance.random() < 0.01:
        text = deep(chance, text)
    raw = text.encode("utf-8", "surrogateescape" if _fits(text) else "replace")
    return bytes_changed(chance, raw) if not is_gentle and chance.random() < 0.12 else raw


def _fits(text: str) -> bool:
    try:
        text.encode("utf-8", "surrogateescape")
    except UnicodeEncodeError:
        return False
    return True


def parquet_changed(chance: Random, raw: bytes) -> bytes:
    """Bytes of a Parquet file turned; or a file made anew of odd columns, values and names."""
    if chance.random() < 0.6:
        return bytes_changed(chance, raw)
    from tests.fuzz.columns import odd_table

    return odd_table(chance)
