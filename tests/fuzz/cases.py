"""Which calls read which files, and how often each is made: cheap ones often, dear ones seldom."""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from random import Random

from tapplan.cli.arguments import parser
from tapplan.cli.verbs import VERBS, WITHOUT_DESIGN
from tests.fuzz.corpus import shelf
from tests.fuzz.damage import ANY_TEXT, damaged, word_put
from tests.fuzz.odd import NUMBERS, TEXTS
from tests.fuzz.trials import OUTPUT, Case

EXPORTS = ("c", "spice", "csv", "markdown", "logic", "verilog", "vectors", "decisions", "winding", "svg")
# The calls that read a kind of file, with how often each is made.
CALLS: dict[str, dict[str, float]] = {
    "design": {
        "read": 2000,
        "table {design}": 60,
        "table {design} --json": 20,
        "table {design} -o answer.out": 10,
        "states {design}": 20,
        "states {design} --json": 10,
        "at {design} 200 230 --json": 20,
        "at {design} --sweep 150:280:10": 10,
        "bands {design}": 6,
        "bands {design} --write --force": 6,
        "check {design} --json": 6,
        "check {design}": 6,
        "check {design} {frame}": 6,
        "check {design} --format sarif": 3,
        "check {design} --explain chatter": 6,
        "moves {design}": 3,
        "steps {design} --json": 2,
        "margins {design}": 3,
        "rate {design} --json": 6,
        "faults {design} --json": 3,
        "compare {design} {design} --json": 2,
        "report {design}": 1,
        "bench {design}": 1,
        "bench {design} --to csv": 1,
        "isolate {design} --reading nothing": 6,
        "isolate {design} --plan --json": 0.5,
        "trace rough --days 0.01 --to csv --design {design}": 10,
        "fit {design}": 6,
        "replay {design} {log} --json": 6,
        **{f"export {{design}} --to {form}": 4 for form in EXPORTS},
        "export {design} --to firmware -o answer.out": 2,
    },
    "request": {
        "read": 100,
        "fit {request} --seconds 1": 0.3,
        "fit {request} --seconds 1 --json": 0.3,
        "table {request}": 30,
    },
    "frame": {"bench {frame} --learn {learn}": 1},
    "log": {
        "replay {design} {log}": 10,
        "replay {design} {log} --json": 10,
        "replay {design} {log} --unit mV --scale 1000": 2,
        "replay {design} {log} --zone Europe/Paris --dates day-first": 2,
        "replay {design} {log} --time 1 --column 2": 3,
        "replay {design} {log} --step 10 --column 1 --json": 3,
        "replay {design} {log} --max-gap 15 --spread answer.out": 2,
        "fit {design} --log {log} --seconds 1": 0.3,
        "report {design} --log {log}": 0.1,
    },
    "parquet": {
        "replay {design} {parquet}": 10,
        "replay {design} {parquet} --json": 10,
        "replay {design} {parquet} --epoch s --zone Europe/Paris": 3,
        "replay {design} {parquet} --step 10 --column 2": 3,
        "fit {design} --log {parquet} --seconds 1": 0.3,
    },
    "sheet": {
        "read": 300,
        "read --any-revision": 200,
        "isolate {design} --sheet {sheet}": 1,
        "isolate {design} --sheet {sheet} --any-revision --json": 1,
    },
    "session": {"read": 300, "read --any-revision": 200, "isolate {design} --resume {session} --json": 1},
    "weights": {"read": 100, "fit {request} --weights {weights} --seconds 1 --json": 0.5},
    "priors": {
        "read": 400,
        "isolate {design} --priors {priors} --reading nothing": 4,
        "isolate {design} --priors {priors}": 1,
    },
    "learn": {"read": 100, "bench {frame} --learn {learn}": 4, "bench {frame} --learn {learn} --json": 4},
    "search": {"fit {request} --keep {search} --json": 1},
    "runs": {"replay {design} {log} --keep {runs} --json": 1},
    "reading": {"read": 400, "isolate {design} --json": 1},
    "answers": {"isolate {design} --ask": 1},
    "words": {"": 1},
}
# How many of all inputs each kind gets: much for what is quick to read.
SHARES = {
    "design": 12, "request": 4, "log": 0.8, "parquet": 0.4, "sheet": 15, "session": 15, "weights": 16, "priors": 12,
    "learn": 15, "search": 0.1, "runs": 0.3, "reading": 17, "answers": 0.01, "words": 0.6, "frame": 0.3,
}  # fmt: skip
READINGS = (
    "line 200 V rising: output = 226", "off: coil-ohms K = OL", "off coils K: click K = yes",
    "off coils K: ohms K.com K.no = 0,2 ohm", "line rising: switch straight boost = 211 V",
    "line 210: volts LINE N = 4k7", "low 12 V on IN N: volts TOP N = 13.8",
    "low 12 V through 10 ohm on IN N: current = 0.1 A", "off: part-ohms fuse = open",
    "line 230 start: lamp = bright",
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Maker:
    """Makes cases of some kinds."""

    kinds: tuple[str, ...]

    def case(self, chance: Random) -> Case:
        """The next case."""
        (kind,) = chance.choices(self.kinds, [SHARES[kind] for kind in self.kinds])
        return case_of(kind, chance)


def case_of(kind: str, chance: Random) -> Case:
    """A case of one kind."""
    if kind == "words":
        return Case(kind, _words(chance), b"")
    calls = CALLS[kind]
    (call,) = chance.choices(list(calls), list(calls.values()))
    if kind == "reading":
        text = _reading(chance)
        more = [] if call == "read" else ["--reading", text]
        return Case(kind, (*call.split(), *more), text.encode("utf-8", "replace"))
    return Case(kind, tuple(call.split()), damaged(chance, kind, chance.choice(shelf().files[kind])))


def _reading(chance: Random) -> str:
    text = chance.choice(READINGS)
    for _ in range(chance.choice((0, 1, 1, 2, 3))):
        text = chance.choice((*ANY_TEXT, word_put, word_put))(chance, text)
    return text


# --- words of a call ---

ASIDE = {
    "--watch",
    "--open",
    "--cluster",
    "--ask",
    "--cores",
    "--help",
    "-h",
    "--port",
    "--version",
    "--sites",
    "--to-the-end",
}
SOUND: dict[str, tuple[str, ...]] = {
    "design": ("{design}",), "designs": ("{design}",), "new": ("{design}",), "logs": ("{log}",), "log": ("{log}",),
    "volts": ("200", "230,5", "0"), "sweep": ("150:280:10",), "reading": READINGS, "sheet": ("{sheet}",),
    "resume": ("{session}",), "priors": ("{priors}",), "weights": ("{weights}",), "compare": ("{design}",),
    "beside": ("{design}",), "learn": ("{learn}",), "output": (OUTPUT,), "only": ("chatter",),
    "explain": ("chatter", "dead-zone"), "energised": ("K",), "name": ("stage",), "tick_ms": ("10",),
    "time": ("time", "1"), "column": ("volts", "2"), "scale": ("0.5",), "zone": ("Europe/Paris", "UTC"),
    "step": ("10",), "delimiter": (",",), "max_gap": ("15",), "seconds": ("1",), "pick": ("1",), "days": ("0.01",),
    "around": ("200",), "kind": ("quiet", "rough"), "keep": ("{search}", "{runs}"), "spread": (OUTPUT,),
    "save": ("kept.txt",),
}  # fmt: skip


@cache
def _parser(verb: str) -> argparse.ArgumentParser:
    top = parser("0", [verb])
    (added,) = top._subparsers._group_actions  # type: ignore[union-attr]
    return added.choices[verb]  # type: ignore[no-any-return,index]


def _words(chance: Random) -> tuple[str, ...]:
    """A verb with some of its options, most of them sound."""
    verb = chance.choice(list(VERBS))
    oddness = chance.choice((0.0, 0.0, 0.1, 0.3))
    words = [verb if chance.random() > oddness / 4 else _odd(chance)]
    quick = verb in ("guide", "schema", "standards", "completion", "new", "trace")
    actions = [one for one in _parser(verb)._actions if not set(one.option_strings) & ASIDE]
    for action in actions:
        is_needed = action.required or action.dest in ("design", "topic")
        if not is_needed and chance.random() > (0.4 if quick else 0.12):
            continue
        words += _given(chance, action, oddness)
    if verb == "fit":
        words += ["--seconds", "1"]
    if chance.random() < oddness / 3:
        words.insert(chance.randrange(len(words) + 1), _odd(chance))
    return tuple(word.replace("\0", "") if chance.random() < 0.9 else word for word in words)


def _given(chance: Random, action: argparse.Action, oddness: float) -> list[str]:
    option = [chance.choice(action.option_strings)] if action.option_strings else []
    if action.nargs == 0:
        return option
    count = (
        action.nargs if isinstance(action.nargs, int) else 1 + (action.nargs in ("+", "*") and chance.random() < 0.3)
    )
    return option + [_value(chance, action, oddness) for _ in range(count)]


def _value(chance: Random, action: argparse.Action, oddness: float) -> str:
    if chance.random() < oddness:
        return _odd(chance)
    if action.choices:
        return str(chance.choice(list(action.choices)))
    return chance.choice(SOUND.get(action.dest, ("1", "2", "limits")))


def _odd(chance: Random) -> str:
    """An odd word; none that leads out of the folder."""
    texts: Sequence[str] = [one for one in (*TEXTS, *NUMBERS) if "/" not in one and len(one) < 3000]
    return chance.choice(texts).replace("\ud800", "\udcff")


assert set(WITHOUT_DESIGN) <= set(VERBS)
