"""The dialogue at the bench: one question after the other, with everything that was done open to be taken back."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from functools import partial
from typing import TYPE_CHECKING

from tapplan.answers.isolate import Isolated, isolated
from tapplan.answers.words import CAUTION
from tapplan.bench.isolation import Isolation, Reading
from tapplan.bench.measures import Measure
from tapplan.bench.phrase import Names, ReadingError
from tapplan.bench.probes import probes_told
from tapplan.bench.readings import reading_of
from tapplan.bench.session import Deed, Skipped, line_told, session_text
from tapplan.bench.words import source_told, told
from tapplan.cli.output import show, write_whole
from tapplan.control.table import ControlTable
from tapplan.errors import OutputError, visible

if TYPE_CHECKING:
    from rich.console import RenderableType

STOP_WORDS = ("stop", "quit", "exit", "")
SHORT = "Answer with a value or unknown; help lists what else is understood; stop, or nothing, ends."
HELP = """a value, such as 231, 0,2 ohm, open, yes or sometimes: what the measurement shows
unknown    it cannot be had
skip       not now: it is not asked for again
else       something else was measured; or at once a whole reading, such as 'line 200 V rising: output = 226'
list       the readings so far, by number
wrong N    takes reading N out
undo       takes back the last reading or skip, or puts back what wrong took out
save FILE  writes the session to FILE, for --resume
stop       ends, as an empty line does
"""
AT_THE_END = (
    "accepted: a whole reading such as 'line 200 V rising: output = 226', list, wrong N, undo, save FILE, help, stop"
)


@dataclass(frozen=True, slots=True)
class _TakenOut:
    """A reading that was taken out, its place among the deeds, and how many deeds were left."""

    place: int
    reading: Reading
    left: int


class Session:
    """What was done at the bench, one thing after the other, and the reasoning that follows it."""

    def __init__(self, isolation: Isolation, table: ControlTable) -> None:
        self.isolation, self.table = isolation, table
        self.names = Names.of(table)
        self.deeds: list[Deed] = []
        self._out: list[_TakenOut] = []
        self._listed = {told(measure): measure for measure in isolation.measures}

    def do(self, deed: Deed) -> None:
        """A reading is taken into account, a measurement put off no longer asked for.

        What is on the list of measurements is taken as it stands there, where words round its volts: else it would
        be asked for once more.
        """
        deed = replace(deed, measure=self._listed.get(told(deed.measure), deed.measure))
        self.deeds.append(deed)
        if isinstance(deed, Skipped):
            self.isolation.skip(deed.measure)
        else:
            self.isolation.add(deed)

    def undo(self) -> Deed | None:
        """Takes back the last deed, or puts back what was taken out since; None where there is none."""
        if self._out and self._out[-1].left == len(self.deeds):
            return self._put_back(self._out.pop())
        if not self.deeds:
            return None
        deed = self.deeds.pop()
        if isinstance(deed, Skipped):
            if deed not in self.deeds:
                self.isolation.unskip(deed.measure)
        else:
            self.isolation.drop(len(self.isolation.readings) - 1)
        return deed

    def readings(self) -> Iterator[Reading]:
        """The readings that stand, in their order."""
        return (deed for deed in self.deeds if isinstance(deed, Reading))

    def take_out(self, place: int) -> Reading:
        """Takes out the reading of this place, counted from 0."""
        at = [number for number, deed in enumerate(self.deeds) if isinstance(deed, Reading)][place]
        deed = self.deeds.pop(at)
        self.isolation.drop(place)
        assert isinstance(deed, Reading)  # noqa: S101 - chosen as one above
        self._out.append(_TakenOut(at, deed, len(self.deeds)))
        return deed

    def _put_back(self, out: _TakenOut) -> Reading:
        """The reading stands where it stood, and those after it follow."""
        self.deeds.insert(out.place, out.reading)
        for place in reversed(range(len(self.isolation.readings))):
            self.isolation.drop(place)
        for reading in self.readings():
            self.isolation.add(reading)
        return out.reading

    def warnings(self, reading: Reading) -> list[str]:
        """That what was measured should have waited: the line, or a source that lifts a point too high."""
        isolation, condition = self.isolation, reading.measure.condition
        read = frozenset(one.measure for one in self.readings())
        bars = isolation.unsafe.bars(condition, isolation.weight, read)
        if bars is None:
            return []
        if condition.power == "low":
            return ["Careful: fed like this, more than 50 V can stand somewhere on the winding. Switch off."]
        return [
            "Careful: a short is still possible, and this should have waited for its test. Switch off until then."
        ]

    def text(self) -> str:
        """The session as its file has it."""
        return session_text(self.table, self.deeds)


class Dialogue:
    """Asks for one measurement after the other until nobody answers; goes on where readings contradict."""

    def __init__(self, session: Session, save: str | None = None) -> None:
        self.session, self.save = session, save
        self._own = {save}  # files that this dialogue wrote, and so may write again

    def run(self) -> None:
        """Asks and takes answers; ends at a word of `STOP_WORDS` or at the end of the input."""
        if hasattr(sys.stdin, "reconfigure"):
            sys.stdin.reconfigure(errors="replace")  # bytes that are no text are refused like any other answer
        show(lambda _: f"{CAUTION}\n\n{SHORT}\n")
        session = self.session
        going = True
        while going:
            found = isolated(session.isolation, session.table.design.title)
            asked = None if found.next is None else f"{found.next.condition}: {found.next.measure}"
            measure = None if asked is None else reading_of(f"{asked} = unknown", session.names).measure
            show(partial(_card, found, measure, session))
            going = self._answered(asked, measure)

    def _answered(self, asked: str | None, measure: Measure | None) -> bool:
        """Takes answers until one changes what is known; False when nobody goes on."""
        while (given := _prompt("reading: ")).lower() not in STOP_WORDS:
            if self._changed(given, asked, measure):
                self._keep()
                return True
        return False

    def _changed(self, given: str, asked: str | None, measure: Measure | None) -> bool:
        """Does what an answer says; whether anything is known that was not, or no longer."""
        word, _, rest = given.partition(" ")
        match word.lower():
            case "help":
                sys.stdout.write(HELP)
            case "list":
                _tell(_numbered(self.session.deeds) or ["no readings yet"])
            case "save":
                self._save(rest.strip())
            case "undo":
                return self._undone()
            case "wrong":
                return self._taken_out(rest.strip())
            case "skip":
                return self._skipped(measure)
            case "else":
                return self._read(rest.strip() or _prompt("whole reading: "))
            case _:
                return self._read(given if ":" in given or asked is None else f"{asked} = {given}")
        return False

    def _read(self, text: str) -> bool:
        if ":" not in text:
            _tell([f'found "{text}", without its condition; {AT_THE_END}'])
            return False
        try:
            reading = reading_of(text, self.session.names)
        except ReadingError as error:
            _tell([f"found {error.found}; accepted: {error.accepted}"])
            return False
        _tell(self.session.warnings(reading))
        self.session.do(reading)
        return True

    def _skipped(self, measure: Measure | None) -> bool:
        if measure is None:
            _tell([f"found skip where nothing is asked; {AT_THE_END}"])
            return False
        self.session.do(Skipped(measure))
        return True

    def _undone(self) -> bool:
        count = len(self.session.deeds)
        deed = self.session.undo()
        back = "put" if len(self.session.deeds) > count else "taken"
        _tell(["nothing to take back" if deed is None else f"{back} back: {line_told(deed).removeprefix('# ')}"])
        return deed is not None

    def _taken_out(self, number: str) -> bool:
        count = len(list(self.session.readings()))
        place = int(number) if number.isascii() and number.isdigit() and len(number) <= 5 else 0
        if not 1 <= place <= count:
            accepted = f"wrong 1 to wrong {count}, as list numbers them" if count else "a reading first"
            _tell([f"found wrong {number}".rstrip() + f"; accepted: {accepted}"])
            return False
        _tell([f"taken out: {line_told(self.session.take_out(place - 1))}"])
        return True

    def _keep(self) -> None:
        if self.save is not None:
            self._write(self.save)

    def _save(self, path: str) -> None:
        if not path:
            _tell(["found save alone; accepted: save FILE"])
        elif self._write(path):
            self._own.add(path)
            _tell([f"wrote {path}"])

    def _write(self, path: str) -> bool:
        """Writes the session; a file that cannot be written ends no dialogue."""
        try:
            write_whole(path, self.session.text(), force=path in self._own)
        except OutputError as error:
            _tell([str(error)])
            return False
        return True


def _prompt(asks: str) -> str:
    sys.stdout.write(asks)
    sys.stdout.flush()
    line = "" if sys.stdin is None else sys.stdin.readline()
    if not line:  # the end of the input: what follows begins on a line of its own
        sys.stdout.write("\n")
    return line.strip()


def _tell(lines: Iterable[str]) -> None:
    sys.stdout.write("".join(f"{visible(line)}\n" for line in lines))


def _numbered(deeds: Iterable[Deed]) -> list[str]:
    """The readings by number, and what was put off."""
    lines, count = [], 0
    for deed in deeds:
        count += isinstance(deed, Reading)
        lines.append(f"{count}. {line_told(deed)}" if isinstance(deed, Reading) else f"   {line_told(deed)[2:]}")
    return lines


def _card(found: Isolated, measure: Measure | None, session: Session, _: int) -> RenderableType:
    """What is likely so far, what to measure and what its outcomes mean, and where the probes go."""
    from rich.console import Group
    from rich.text import Text

    from tapplan.pages.screens.isolate import asking

    parts: list[RenderableType] = []
    if found.conflict:
        numbered = _numbered(session.readings())
        doubtful = [numbered[number - 1] for number in found.conflict]
        parts += [Text(f"\n{found.conflict_told}"), *map(Text, doubtful), Text("wrong N takes reading N out.")]
    where = [] if measure is None else list(_where(measure, session.table))
    if found.groups:
        parts.append(asking(found, where))
    if found.next is None and not found.conflict:
        parts.append(Text(f"\n{found.end_told} {AT_THE_END[0].upper()}{AT_THE_END[1:]}."))
    return Group(*parts)


def _where(measure: Measure, table: ControlTable) -> Iterator[str]:
    """The source, where there is one, and the probes."""
    if measure.condition.power == "low":
        yield f"Source: {source_told(measure.condition, whole=True)}; 10 kohm across the output."
    yield f"Probes: {probes_told(measure, table.circuit)}"
