"""Whether what came of a call is what the command promises."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass

from tapplan.errors import visible
from tests.fuzz.corpus import NAMES
from tests.fuzz.odd import CANARY
from tests.fuzz.trials import OUTPUT, Case, Outcome

INSIDE = re.compile(
    r"Traceback|\b[A-Z][A-Za-z]+(?:Error|Warning|Exception)\b|\bat 0x[0-9a-f]{9,}|<class |<function "
    r"|Fraction\(|Decimal\(|Span\("
)
SHAPE = re.compile(
    r"; accepted: |cannot be (?:written|read|made)|is kept unless --force|none of its \d+ rows is a sample"
    r"|found no whole wiring|^\d+ problems in |^\d+ logs cannot|^usage: |^  +|^tapplan",
    re.DOTALL,
)
PLAIN = re.compile(r"[\x20-\x7e\n]*")
LONGEST_LINE = 4000
SPOKEN = ("design", "request", "priors", "sheet", "session", "weights", "learn", "log", "parquet", "search", "runs")


@dataclass(frozen=True, slots=True)
class Fault:
    """A promise that was not kept: which, and what tells it from others of its kind."""

    rule: str
    told: str

    @property
    def mark(self) -> str:
        """The same for what has one cause, as far as can be told."""
        return f"{self.rule}: {blurred(self.told)[:160]}"


def blurred(text: str) -> str:
    """A message without what differs from file to file."""
    text = text[:2000]
    text = re.sub(r'"(?:\\.|[^"\\])*"', '"…"', text)
    text = re.sub(r"\b[\w-]+(?:\[\d+\])?(?:\.[\w-]+(?:\[\d+\])?)+", "k", text)
    return re.sub(r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?", "0", text)


def faults(case: Case, outcome: Outcome) -> Iterator[Fault]:
    """Every promise that an outcome breaks."""
    if outcome.raised:
        yield Fault("raised", f"{outcome.raised.partition(':')[0]} at {outcome.place}")
        return
    if outcome.code not in (0, 1, 2):
        yield Fault("code", f"{outcome.code}")
    yield from _streams(case, outcome)
    yield from _message(case, outcome)
    yield from _files(case, outcome)


def _streams(case: Case, outcome: Outcome) -> Iterator[Fault]:
    """What a terminal would obey, what nobody can read, what an input made look like an answer."""
    for name, text in (("stdout", outcome.out), ("stderr", outcome.err)):
        if _odd(text) and not (name == "stdout" and _is_document(case)):
            yield Fault("raw", f"{case.verb} {name} U+{ord(_odd(text)):04X}")
        if any(line.startswith(CANARY) for line in text.split("\n")) and not (
            name == "stdout" and _is_document(case)
        ):
            yield Fault("injected", f"{case.verb} {name}")
        if name == "stderr" and INSIDE.search(text):
            yield Fault("inside", f"{case.verb} {INSIDE.search(text).group()}: {text[:150]}")  # type: ignore[union-attr]
    if outcome.code in (0, 1) and outcome.err and "--sheet" not in case.call:
        yield Fault("murmur", f"{case.verb} {outcome.err[:100]}")
    if "--json" in case.call and outcome.code in (0, 1) and not {"-o", "--output"} & set(case.call):
        yield from _json(case, outcome.out)


def writes(case: Case) -> bool:
    """Whether the answer goes to the file that is looked for."""
    return any(
        one in ("-o", "--output") and two == OUTPUT for one, two in zip(case.call, case.call[1:], strict=False)
    )


def _odd(text: str) -> str:
    """A character that a terminal would obey, or nothing."""
    if PLAIN.fullmatch(text):
        return ""
    return "" if visible(text) == text else next(one for one in text if visible(one) != one)


def _is_document(case: Case) -> bool:
    """Whether standard output has a document by itself, in its own form."""
    return case.verb in ("export", "report", "completion", "schema") or "--to" in case.call or "--format" in case.call


def _json(case: Case, text: str) -> Iterator[Fault]:
    def refused(name: str) -> object:
        raise ValueError(f"{name} is no JSON")

    try:
        found = json.loads(text, parse_constant=refused)
    except (ValueError, RecursionError) as error:
        yield Fault("json", f"{case.verb} {error}")
        return
    if not isinstance(found, dict) or not {"verb", "design", "version"} <= set(found):
        yield Fault("json", f"{case.verb} without what every answer has")


def _message(case: Case, outcome: Outcome) -> Iterator[Fault]:
    """One message that says where, what was found and what is accepted."""
    if outcome.code != 2:
        return
    err = outcome.err
    if not err.strip():
        yield Fault("silent", case.verb)
        return
    if outcome.out and case.verb not in ("check", "isolate"):
        yield Fault("both", f"{case.verb} prints an answer with exit 2")
    if not err.endswith("\n"):
        yield Fault("unended", err[-60:])
    if (
        case.kind in SPOKEN
        and case.kind != "search"
        and not any(name in err for name in NAMES.values())
        and not _of_the_call(case, err)
    ):
        yield Fault("unnamed", f"{case.verb} {err[:120]}")
    for line in err.splitlines():
        if len(line) > LONGEST_LINE:
            yield Fault("long", f"{case.verb} {case.kind} {re.sub('[^a-z ]', '', line[:60])}")
        if not SHAPE.search(line) and not (case.kind == "reading" and case.verb == "read"):
            yield Fault("shape", f"{case.verb} {line[:120]}")


def _of_the_call(case: Case, err: str) -> bool:
    """Whether a message is of the call's words or of the answer, not of the damaged file."""
    return "-o " in err or "found --" in err or OUTPUT in err or err.startswith('reading "')


def _files(case: Case, outcome: Outcome) -> Iterator[Fault]:
    """What is written is written whole, and only where something was found."""
    left = [name for name in os.listdir() if name.startswith(".tapplan-")]
    if left:
        yield Fault("left", f"{case.verb} {left[0].rpartition('.')[2]}")
        for name in left:
            os.unlink(name)
    if not writes(case):
        return
    if outcome.code == 2 and outcome.written is not None and case.verb != "check":
        yield Fault("half", f"{case.verb} wrote with exit 2")
    if outcome.code in (0, 1) and outcome.written is None and not os.path.isdir(OUTPUT):
        yield Fault("unwritten", case.verb)
