"""A log, or a part of one, as text: CSV with any mark between cells, plain or packed by gzip."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from tapplan.arrays import Micros
from tapplan.logs.cleaned import CODES, OF_TIME, Block, Codes
from tapplan.logs.conversion import converted
from tapplan.logs.form import LogForm
from tapplan.logs.head import Layout, layout_of
from tapplan.logs.lines import Lines, lines_of
from tapplan.logs.samples import RowFault
from tapplan.logs.splitting import TextRows, split
from tapplan.logs.stamps import Clock, Stamped, clock_of, micros
from tapplan.logs.volts import Numerals, fault_of, floats


@dataclass(frozen=True, slots=True)
class TextPart:
    """A text file whose layout is known."""

    file: str
    form: LogForm
    layout: Layout

    @property
    def made(self) -> str | None:
        """How it was made up, where it says so."""
        return self.layout.made

    def clock(self) -> Clock | None:
        """The clock that its first rows show, or None in a log whose samples are a step apart.

        Raises:
            LogError: they show none.
        """
        if self.form.step_us is not None:
            return None
        return clock_of(self.layout.seen, self.form, self.layout.named, self.file)

    def blocks(self, clock: Clock | None, size: int) -> Iterator[Block]:
        """Its rows, those of about `size` characters at a time.

        Raises:
            LogError: it cannot be read to its end.
        """
        reader = _Reader(self, clock)
        for rows in split(reader.watched(lines_of(self.file, size)), self.layout.parting, self.layout.first):
            if len(rows.rows):
                yield reader.block(rows)


def text_part(file: str, form: LogForm) -> TextPart:
    """A text file, its first lines looked at.

    Raises:
        LogError: it cannot be opened, or something about its layout cannot be told.
    """
    return TextPart(file, form, layout_of(file, form))


@dataclass(slots=True)
class _Reader:
    """Turns the rows of one file into blocks; keeps how far the file is read."""

    part: TextPart
    clock: Clock | None
    upto: int = 0

    def watched(self, blocks: Iterator[Lines]) -> Iterator[Lines]:
        for block in blocks:
            self.upto = block.upto
            yield block

    def block(self, rows: TextRows) -> Block:
        numerals = Numerals(self.part.layout.decimal, self.part.form.unit or "V")
        volts = converted(rows.volts, lambda cells: floats(cells, numerals))
        codes = np.zeros(len(rows.volts), np.uint8)
        for place in volts.bad:
            codes[place] = CODES[fault_of(rows.volts[place])]
        times = self._times(rows, codes)
        codes[list(rows.broken)] = CODES[RowFault.NO_NUMBER]
        local = isinstance(self.clock, Stamped) and not self.clock.zoned
        readings = volts.values.astype(np.float64, copy=False)
        return Block(self.part.file, rows.rows, times, readings, codes, _Cells(rows).told, local, self.upto)

    def _times(self, rows: TextRows, codes: Codes) -> Micros:
        clock = self.clock
        if clock is None:
            return np.zeros(len(rows.times), np.int64)
        texts = rows.times
        if self.part.layout.decimal == "," and not isinstance(clock, Stamped):
            texts = [text.replace(",", ".") for text in texts]
        times = converted(texts, lambda cells: micros(cells, clock))
        codes[list(times.bad)] = CODES[RowFault.NO_TIME]
        return times.values.astype(np.int64, copy=False)


@dataclass(frozen=True, slots=True)
class _Cells:
    """The texts of some rows, for messages."""

    rows: TextRows

    def told(self, place: int, fault: RowFault) -> str:
        """What a row has as time or as volts, or the whole line of one that could not be parted."""
        texts = self.rows.times if fault in OF_TIME else self.rows.volts
        return self.rows.broken.get(place, texts[place])
