"""The words of one reading, taken one by one, with the names they may use and the error they raise."""

from __future__ import annotations

import re
from collections import deque
from dataclasses import dataclass

from tapplan.bench.quantities import DECIMAL, goes_on
from tapplan.control.table import ControlTable
from tapplan.errors import UsageError

GRAMMAR = (
    "CONDITION: QUANTITY = VALUE, such as 'line 203 V rising: output = 231,5', "
    "'low 6 V on LINE NEUTRAL coils K1: volts OUT NEUTRAL = 6.4', 'off coils K1: ohms K1.com K1.no = 0.2' or "
    f"'battery: rail = 12.1'; {DECIMAL}"
)
LONGEST = 300  # characters of a reading that a message repeats
TOKENS = re.compile(r"""\s*("(?:[^"\\]|\\.)*"|'[^']*'|[:=+]|[^\s:="'+]+)""")
JOINERS = ("+", "and", ",")


@dataclass(frozen=True, slots=True)
class Names:
    """The names that readings may use; None: any, as long as a wiring is not known yet."""

    relays: tuple[str, ...] | None
    points: tuple[str, ...] | None
    bands: tuple[str, ...]
    output: tuple[str, str]  # output and neutral

    @staticmethod
    def of(table: ControlTable) -> Names:
        """The names of a design."""
        neutral, output = (table.circuit.points[end] for end in table.circuit.terminals[1:])
        bands = tuple(row.name for row in table.rows)
        return Names(table.circuit.relays, places(table), bands, (output, neutral))


def places(table: ControlTable) -> tuple[str, ...]:
    """All points at which a probe can stand."""
    circuit = table.circuit
    wound = {end for section in circuit.sections for end in (section.start, section.finish)}
    pins = [contact.label for contact in circuit.contacts]
    commons = [f"{label.rpartition('.')[0]}.com" for label in pins]
    lugs = [f"lug {circuit.points[point]}" for point in sorted(wound)]
    return tuple(dict.fromkeys([*circuit.points, *pins, *commons, *lugs]))


class ReadingError(UsageError):
    """A reading that means nothing, or cannot be."""

    def __init__(self, text: str, found: str, accepted: str) -> None:
        self.found = found
        self.accepted = accepted
        super().__init__(f'reading "{_cut(text)}": found {_cut(found)}; accepted: {accepted}')


def _cut(text: str) -> str:
    """A text that a message repeats, cut where it is longer than any reading is."""
    return text if len(text) <= LONGEST else f"{text[:LONGEST]}..."


class Phrase:
    """The words of one reading, taken one by one."""

    def __init__(self, text: str, names: Names) -> None:
        self.text, self.names = text, names
        self.words: deque[str] = deque(TOKENS.findall(text))
        if TOKENS.sub("", text).strip():
            raise self.error("a quote that is not closed", GRAMMAR)

    def error(self, found: str, accepted: str) -> ReadingError:
        """What to raise for a word that cannot be."""
        return ReadingError(self.text, found, accepted)

    def peek(self) -> str:
        """The next word in small letters; nothing at the end."""
        return self.words[0].lower() if self.words else ""

    def take(self) -> str:
        """The next word, out of its quotes."""
        if not self.words:
            raise self.error("too few words", GRAMMAR)
        word = self.words.popleft()
        if word[0] == '"' and len(word) > 1:
            return re.sub(r"\\(.)", r"\1", word[1:-1])
        return word[1:-1] if word[0] == "'" and len(word) > 1 else word

    def expect(self, mark: str) -> None:
        """Takes a mark that has to stand here."""
        if self.peek() != mark:
            raise self.error(f'"{self.peek() or "the end"}" where "{mark}" should stand', GRAMMAR)
        self.take()

    def rest(self) -> list[str]:
        """All words that are left."""
        return [self.take() for _ in range(len(self.words))]

    def amount(self) -> str:
        """A number with the unit that follows it, if one does."""
        told = self.take()
        while self.words and goes_on(self.peek()):
            told += " " + self.take()
        return told

    def listed(self) -> list[str]:
        """Names up to the colon, with blanks, commas, + or `and` between them."""
        found: list[str] = []
        while self.words and self.peek() != ":":
            quoted = self.words[0][0] in "\"'"
            if self.peek() in JOINERS:
                self.take()
            elif quoted:
                found.append(self.take())
            else:
                found += [part for part in self.take().split(",") if part]
        return found
