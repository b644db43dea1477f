"""What a differential run adds up to: by question and engine how many were compared, what came out, how far apart."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, field


@dataclass(slots=True)
class Compared:
    """One question put to tapplan and to an engine; `apart` is the largest difference, `allowed` what may be."""

    question: str
    engine: str
    allowed: float | None = None
    count: int = 0
    apart: float = 0.0
    outcomes: Counter[str] = field(default_factory=Counter)
    disagreements: list[str] = field(default_factory=list)

    def same(self, ours: object, theirs: object, case: str, outcome: str | None = None) -> None:
        """Two answers that must be equal."""
        self.count += 1
        self.outcomes[str(theirs) if outcome is None else outcome] += 1
        if ours != theirs:
            self.disagreements.append(f"{case}: {ours} here, {theirs} there")

    def near(self, ours: complex, theirs: complex, case: str, *, scale: float = 1.0, outcome: str = "value") -> None:
        """Two values that may be apart by the tolerance times the scale; the scale is at least theirs."""
        self.count += 1
        self.outcomes[outcome] += 1
        apart = abs(ours - theirs) / max(scale, abs(theirs))
        if not apart <= (self.allowed or 0.0):  # nan is no agreement
            self.disagreements.append(f"{case}: {ours:.9g} here, {theirs:.9g} there")
        else:
            self.apart = max(self.apart, apart)


class Tally:
    """Every question of a run."""

    def __init__(self) -> None:
        self.rows: dict[tuple[str, str], Compared] = {}

    def of(self, question: str, engine: str, allowed: float | None = None) -> Compared:
        """The row of a question, made when it is first asked."""
        return self.rows.setdefault((question, engine), Compared(question, engine, allowed))

    def add(self, other: Tally) -> None:
        """The rows of another run to these."""
        for (question, engine), theirs in other.rows.items():
            row = self.of(question, engine, theirs.allowed)
            row.count += theirs.count
            row.apart = max(row.apart, theirs.apart)
            row.outcomes.update(theirs.outcomes)
            row.disagreements += theirs.disagreements

    def disagreements(self) -> list[str]:
        """Every disagreement with its question."""
        return [f"{row.question}: {one}" for row in self.rows.values() for one in row.disagreements]

    def lines(self) -> Iterable[str]:
        """The table as text: a row a question."""
        heads = ("question", "engine", "compared", "largest", "allowed", "apart", "outcomes")
        yield "| " + " | ".join(heads) + " |"
        yield "|" + " --- |" * len(heads)
        for row in self.rows.values():
            outcomes = ", ".join(f"{name} {count}" for name, count in row.outcomes.most_common(10))
            exact = row.allowed is None
            largest, allowed = ("exact", "0") if exact else (f"{row.apart:.1e}", f"{row.allowed:g}")
            cells = (row.question, row.engine, f"{row.count:,}", largest, allowed, len(row.disagreements), outcomes)
            yield "| " + " | ".join(map(str, cells)) + " |"
