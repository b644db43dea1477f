"""Files of text to lines: encodings, line ends, gzip, lines without end, damage."""

from __future__ import annotations

import gzip
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.errors import LogError
from tapplan.logs.lines import KEPT, LONGEST_LINE, lines_of
from tests.logs.reading import written

ENDS = st.sampled_from(["\n", "\r\n", "\r"])


def every(path: Path, size: int = 1 << 16) -> list[str]:
    """All lines, once their numbers are seen to follow one another."""
    lines: list[str] = []
    for block in lines_of(str(path), size):
        assert block.first == len(lines) + 1
        lines += block.text.split("\n")
    return lines


@given(
    st.lists(st.text("aé1,\x0b\x0c\x85\u2028😀", max_size=6), min_size=1, max_size=20),
    ENDS,
    st.integers(1, 40),
    st.booleans(),
)
def test_lines_are_the_same_however_they_end_and_are_cut(
    tmp_path_factory: pytest.TempPathFactory, lines: list[str], end: str, size: int, last: bool
) -> None:
    content = end.join(lines) + (end if last else "")
    path = written(tmp_path_factory.mktemp("lines"), content)
    kept = lines if last or lines[-1] else lines[:-1]
    assert every(path, size) == (kept if content else [])


@pytest.mark.parametrize(
    ("content", "lines"),
    [
        ("\ufeffzeit,Spannung °\n1,2".encode(), ["zeit,Spannung °", "1,2"]),
        ("zeit,°\n1,2\n".encode("latin-1"), ["zeit,°", "1,2"]),
        ("zeit,°é\n1,2\n".encode("utf-16"), ["zeit,°é", "1,2"]),
        (b"\xfe\xff" + "a\r\nb".encode("utf-16-be"), ["a", "b"]),
        ("µ ".encode() + b"\xb5\n", ["µ µ"]),
        (gzip.compress(b"a\nb\n", mtime=0), ["a", "b"]),
        (gzip.compress(b"a\nb", mtime=0) + gzip.compress(b"c\nd\n", mtime=0), ["a", "bc", "d"]),
        (b"", []),
    ],
)
def test_encodings_and_packing(tmp_path: Path, content: bytes, lines: list[str]) -> None:
    for size in (1, 2, 3, 1000):
        assert every(written(tmp_path, content), size) == lines


@pytest.mark.parametrize("size", [1000, 1 << 18, 1 << 20, 1 << 24])
def test_a_line_without_end_keeps_no_more_than_its_beginning(tmp_path: Path, size: int) -> None:
    long = "x" * (LONGEST_LINE + 1)
    path = written(tmp_path, f"a\n{long}\n{long}y\n{'z' * 3 * LONGEST_LINE}\nb\n{'w' * LONGEST_LINE}\n{long}")
    lines = every(path, size)
    cut = ["\0" + one * KEPT for one in "xxz"]
    assert lines == ["a", *cut, "b", "w" * LONGEST_LINE, "\0" + "x" * KEPT]


def test_how_far_the_file_is_read(tmp_path: Path) -> None:
    path = written(tmp_path, "2020,1\n" * 100_000)
    upto = [block.upto for block in lines_of(str(path), 1 << 16)]
    assert upto == sorted(upto)
    assert upto[-1] == path.stat().st_size
    assert upto[0] < upto[-1] / 2


def test_a_gzip_file_that_ends_too_soon(tmp_path: Path) -> None:
    packed = gzip.compress("".join(f"{number},230\n" for number in range(200_000)).encode())
    path = written(tmp_path, packed[: len(packed) // 2], "cut.csv.gz")
    with pytest.raises(
        LogError, match=r"cut\.csv\.gz: its gzip data are damaged or end too soon, somewhere after line \d\d+ \("
    ):
        every(path, 100)
    for count in range(1, 24):
        with pytest.raises(LogError, match="its gzip data are damaged or end too soon"):
            every(written(tmp_path, packed[: max(count, 2)]), 100)


@given(st.integers(10, 400), st.integers(0, 255))
def test_a_damaged_gzip_file_is_an_error_or_the_same(
    tmp_path_factory: pytest.TempPathFactory, place: int, byte: int
) -> None:
    packed = bytearray(gzip.compress("".join(f"{number},230\n" for number in range(500)).encode(), mtime=0))
    packed[place % len(packed)] = byte
    path = written(tmp_path_factory.mktemp("gz"), bytes(packed))
    try:
        assert len(every(path)) == 500
    except LogError as error:
        assert "\n" not in str(error)


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (b"PK\x03\x04rest", "a zip archive or a workbook"),
        (b"BZh91AY", "packed by bzip2"),
        (b"\xfd7zXZ\0", "packed by xz"),
        (b"\x28\xb5\x2f\xfdabc", "packed by zstd"),
        (b"\x89HDF\r\n", "an HDF5 file"),
        (b"SQLite format 3\0", "a data base"),
        (gzip.compress(b"PAR1...", mtime=0), "a Parquet file inside a gzip file"),
    ],
)
def test_what_is_no_text_is_told_by_its_name(tmp_path: Path, content: bytes, kind: str) -> None:
    path = written(tmp_path, content)
    with pytest.raises(LogError) as refused:
        every(path)
    assert str(refused.value) == f"{path}: found {kind}; accepted: CSV as text or gzip, or Parquet"


def test_a_file_that_is_not_there_or_a_folder(tmp_path: Path) -> None:
    with pytest.raises(LogError, match="there is no such file or folder"):
        every(tmp_path / "none.csv")
    with pytest.raises(LogError, match="it is a folder"):
        every(tmp_path)
