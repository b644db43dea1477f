"""What is counted of many cases, by kind of file and by verb."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass, field

from tapplan.cli.verbs import VERBS
from tests.fuzz.judge import Fault, blurred
from tests.fuzz.trials import Case, Outcome


@dataclass
class Line:
    """The counts of one kind or verb."""

    inputs: int = 0
    accepted: int = 0
    refused: int = 0
    faulty: int = 0
    messages: set[int] = field(default_factory=set)
    worst_s: float = 0.0
    cpu_s: float = 0.0

    def take(self, outcome: Outcome, is_faulty: bool) -> bool:
        """Counts an outcome; whether its message is a new one."""
        self.inputs += 1
        self.accepted += outcome.code in (0, 1)
        self.refused += outcome.code == 2
        self.faulty += is_faulty
        self.worst_s = max(self.worst_s, outcome.cpu_s)
        self.cpu_s += outcome.cpu_s
        known = len(self.messages)
        if outcome.err:
            self.messages.add(hash(blurred(outcome.err[:2000])))
        return len(self.messages) > known

    def add(self, other: Line) -> None:
        """Adds the counts of another process."""
        self.inputs += other.inputs
        self.accepted += other.accepted
        self.refused += other.refused
        self.faulty += other.faulty
        self.messages |= other.messages
        self.worst_s = max(self.worst_s, other.worst_s)
        self.cpu_s += other.cpu_s


@dataclass
class Tally:
    """The counts of many cases, and the first cases of each fault."""

    kinds: dict[str, Line] = field(default_factory=dict)
    verbs: dict[str, Line] = field(default_factory=dict)
    faults: Counter[str] = field(default_factory=Counter)
    examples: dict[str, Case] = field(default_factory=dict)
    worst_kb: int = 0

    def take(self, case: Case, outcome: Outcome, found: list[Fault]) -> bool:
        """Counts a case; whether its kind has not said such a thing before."""
        self.verbs.setdefault(self._verb(case), Line()).take(outcome, bool(found))
        for one in found:
            self.faults[one.mark] += 1
            known = self.examples.get(one.mark)
            if known is None or len(case.content) < len(known.content):
                self.examples[one.mark] = case
        return self.kinds.setdefault(case.kind, Line()).take(outcome, bool(found))

    @staticmethod
    def _verb(case: Case) -> str:
        return case.verb if case.verb in (*VERBS, "read") else "(none)"

    def add(self, other: Tally) -> None:
        """Adds the counts of another process."""
        for mine, theirs in ((self.kinds, other.kinds), (self.verbs, other.verbs)):
            for name, line in theirs.items():
                mine.setdefault(name, Line()).add(line)
        self.faults += other.faults
        for mark, case in other.examples.items():
            self.examples.setdefault(mark, case)
        self.worst_kb = max(self.worst_kb, other.worst_kb)

    @property
    def inputs(self) -> int:
        """How many cases there were."""
        return sum(line.inputs for line in self.kinds.values())

    def table(self) -> str:
        """The counts as a table for people."""
        titles = ("inputs", 10), ("accepted", 10), ("refused", 10), ("faulty", 8), ("messages", 10), ("worst s", 9)
        head = " " * 12 + "".join(f"{title:>{width}}" for title, width in (*titles, ("mean ms", 9)))
        rows = []
        for title, lines in (("by file", self.kinds), ("by verb", self.verbs)):
            rows += [title, head]
            for name, one in sorted(lines.items()):
                mean = 1000 * one.cpu_s / max(one.inputs, 1)
                rows.append(
                    f"{name:<12}{one.inputs:>10}{one.accepted:>10}{one.refused:>10}{one.faulty:>8}"
                    f"{len(one.messages):>10}{one.worst_s:>9.2f}{mean:>9.2f}"
                )
            rows.append("")
        rows.append(f"{self.inputs} inputs, {len(self.faults)} kinds of faults, at most {self.worst_kb // 1024} MB")
        rows += [f"{count:>7}  {mark}" for mark, count in self.faults.most_common()]
        return "\n".join(rows)
