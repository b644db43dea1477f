"""A file of text as blocks of whole lines, in bounded memory, whatever its encoding, its line ends and its size.

UTF-8 is read with or without a byte order mark, UTF-16 with one; a byte that is no UTF-8 is taken as Latin-1, so that
a degree sign in a heading keeps nobody from reading numbers. gzip is known by its first bytes.
"""

from __future__ import annotations

import codecs
import gzip
import io
import re
import zlib
from collections.abc import Generator, Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

from tapplan.logs.places import opened, unreadable
from tapplan.logs.told import refusal

LONGEST_LINE = 1 << 20  # characters; a longer line is no row, and only its beginning is kept
DAMAGED = "\0"  # begins what is kept of one, so that it is left out like any line with a NUL
KEPT = 40
GZIP = b"\x1f\x8b"
NOT_TEXT = {
    b"PK\x03\x04": "a zip archive or a workbook",
    b"\xd0\xcf\x11\xe0": "an old workbook",
    b"BZh": "packed by bzip2",
    b"\xfd7zXZ": "packed by xz",
    b"\x28\xb5\x2f\xfd": "packed by zstd",
    b"\x89HDF": "an HDF5 file",
    b"SQLite format": "a data base",
    b"PAR1": "a Parquet file inside a gzip file",
}


@dataclass(frozen=True, slots=True)
class Lines:
    """Whole lines one after the other: the number of the first, their text, and the bytes of the file read so far."""

    first: int
    text: str
    upto: int


def lines_of(file: str, size: int) -> Generator[Lines]:
    """The lines of a text file in order, about `size` characters at a time.

    Raises:
        LogError: it cannot be opened or read to its end, or is no text.
    """
    with opened(file) as raw:
        packed = raw.read(len(GZIP)) == GZIP
        raw.seek(0)
        number = 1
        try:
            with _text(raw, packed, file) as stream:
                for lines in _cut(stream, raw, min(size, LONGEST_LINE)):
                    number = lines.first + lines.text.count("\n")
                    yield lines
        except (EOFError, zlib.error, gzip.BadGzipFile) as error:
            said = f"its gzip data are damaged or end too soon, somewhere after line {number} ({error})"
            raise refusal(file, said, "a whole gzip file") from error
        except (OSError, UnicodeError) as error:
            raise unreadable(file, error) from error


def _text(raw: BinaryIO, packed: bool, file: str) -> io.TextIOWrapper:
    """The file as text, unpacked, with every kind of line end as one."""
    unpacked: Any = gzip.GzipFile(fileobj=raw) if packed else raw
    buffered = io.BufferedReader(unpacked, 1 << 17)
    start = buffered.peek(16)
    kind = next((kind for mark, kind in NOT_TEXT.items() if start.startswith(mark)), None)
    if kind is not None:
        raise refusal(file, f"found {kind}", "CSV as text or gzip, or Parquet")
    utf_16 = start.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    encoding, errors = ("utf-16", "replace") if utf_16 else ("utf-8-sig", "surrogateescape")
    return io.TextIOWrapper(buffered, encoding, errors, newline=None)


def _cut(stream: io.TextIOWrapper, raw: BinaryIO, size: int) -> Iterator[Lines]:
    number, rest = 1, ""
    while piece := stream.read(size):
        rest = _shortened(rest + _as_latin_1(piece))
        end = rest.rfind("\n")
        if end >= 0:
            yield Lines(number, rest[:end], raw.tell())
            number += rest.count("\n", 0, end + 1)
            rest = rest[end + 1 :]
    if rest:
        yield Lines(number, rest, raw.tell())


def _as_latin_1(text: str) -> str:
    """The text with bytes that were no UTF-8, which stand in it as lone surrogates, as the letters of Latin-1."""
    return text if text.isascii() else re.sub("[\udc80-\udcff]", lambda one: chr(ord(one[0]) - 0xDC00), text)


def _shortened(text: str) -> str:
    """The text with its first line shortened where that is too long; no other can be, as less is read at a time."""
    is_marked = text.startswith(DAMAGED)
    most = KEPT + 1 if is_marked else LONGEST_LINE
    if len(text) <= most:
        return text
    end = text.find("\n")
    length = len(text) if end < 0 else end
    return (text if is_marked else DAMAGED + text)[: KEPT + 1] + text[length:] if length > most else text
