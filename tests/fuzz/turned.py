"""Lines of JSON, and bytes of any file, changed."""

from __future__ import annotations

import json
from random import Random
from typing import Any

from tests.fuzz.odd import CANARY

# --- changes of lines of JSON ---


def json_changed(chance: Random, text: str) -> str:
    """A value in some line replaced by one of another kind, or keys dropped or doubled."""
    lines = text.split("\n")
    place = chance.randrange(len(lines))
    try:
        found = json.loads(lines[place])
    except (ValueError, RecursionError):
        return text
    lines[place] = json.dumps(_changed(chance, found))
    if chance.random() < 0.1:
        lines[place] = lines[place].replace('"kind"', '"kind": 1, "kind"', 1)
    return "\n".join(lines)


ODD_VALUES: tuple[Any, ...] = (
    None, True, False, 0, -1, 1, 2**63, -(2**63) - 1, 10**400, 1.5, 1e308, float("nan"), float("inf"),
    float("-inf"), "", "a", CANARY, "\n" + CANARY, "\x1b[31m", "\ud800", [], [[]], {}, {"a": 1}, [1, 2], [None],
    ["a"], "1", "nan", [[1, 2, 3]] * 3,
)  # fmt: skip


def _changed(chance: Random, value: Any) -> Any:
    """A value, or something within it, replaced."""
    if isinstance(value, dict) and value and chance.random() < 0.9:
        key = chance.choice(list(value))
        if chance.random() < 0.1:
            return {one: kept for one, kept in value.items() if one != key}
        return {**value, key: _changed(chance, value[key])}
    if isinstance(value, list) and value and chance.random() < 0.85:
        at = chance.randrange(len(value))
        kind = chance.randrange(8)
        if kind == 0:
            return value[:at] + value[at + 1 :]
        if kind == 1:
            return [*value[:at], value[at], *value[at:]]
        return [*value[:at], _changed(chance, value[at]), *value[at + 1 :]]
    if isinstance(value, int) and not isinstance(value, bool) and chance.random() < 0.4:
        return value + chance.choice((-1, 1, 2))
    return chance.choice(ODD_VALUES)


# --- changes of bytes ---


def bytes_changed(chance: Random, raw: bytes) -> bytes:
    """Bytes turned, dropped, put in, or the whole in another coding."""
    place = chance.randrange(len(raw) + 1)
    kind = chance.randrange(9)
    if kind == 0:
        return raw[:place]
    if kind == 1:
        return b"\xef\xbb\xbf" + raw
    if kind == 2:
        return raw[:place] + b"\0" + raw[place:]
    if kind == 3:
        return raw.replace(b"\n", b"\r")
    if kind == 4:
        return raw.decode("utf-8", "replace").encode(
            chance.choice(("utf-16", "utf-16-le", "utf-32", "latin-1", "cp037")), "replace"
        )
    if kind == 5:
        return raw[:place] + bytes(chance.randrange(256) for _ in range(chance.choice((1, 4, 16)))) + raw[place:]
    if kind == 6:
        return raw[:place] + raw[place + chance.choice((1, 4, 100)) :]
    turned = bytearray(raw)
    for _ in range(chance.choice((1, 1, 2, 8))):
        if turned:
            turned[chance.randrange(len(turned))] ^= 1 << chance.randrange(8)
    return bytes(turned)
