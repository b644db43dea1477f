import re
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tapplan.design.edit import StatedNumber, WrittenBand, rewritten, stated_numbers, with_bands, with_numbers
from tapplan.design.file import parse, read_text
from tapplan.design.starter import STARTER
from tapplan.errors import DesignError, OutputError
from tapplan.exact import Span
from tests.examples import SHIPPED


def band(name: str, low: str, high: str, energised: tuple[str, ...] = ()) -> WrittenBand:
    return WrittenBand(name, energised, Span(Fraction(low), Fraction(high)))


def test_bands_are_replaced_and_every_comment_is_kept() -> None:
    text = with_bands(STARTER, [band("one", "180", "230.5", ("KA",)), band("two", "225.25", "280")])
    made = parse(text)
    assert [(b.name, b.energised, b.hold_v) for b in made.bands] == [
        ("one", ("KA",), (180, Fraction("230.5"))),
        ("two", (), (Fraction("225.25"), 280)),
    ]
    for line in STARTER.splitlines():
        if "#" in line:
            assert line[line.index("#") :] in text


def test_bands_are_added_to_a_file_without_any() -> None:
    bare = STARTER.split("# The control table")[0]
    made = parse(
        with_bands(bare, [band("one", "180", "280"), band("two", "200", "290"), band("three", "201", "300")])
    )
    assert [b.name for b in made.bands] == ["one", "two", "three"]
    assert with_bands(bare, [band("one", "180", "280")]).startswith(bare.rstrip("\n"))


@given(st.lists(st.integers(1, 4), min_size=1, max_size=4))
def test_writing_again_and_again_leaves_the_last_bands(counts: list[int]) -> None:
    text = STARTER
    for count in counts:
        text = with_bands(text, [band(f"b{n}", str(n + 1), str(n + 2)) for n in range(count)])
    assert [b.name for b in parse(text).bands] == [f"b{n}" for n in range(counts[-1])]


def test_bands_written_as_an_inline_array_are_replaced_by_tables() -> None:
    bare = STARTER.split("# The control table")[0]
    text = bare.replace(
        "format = 1\n", 'format = 1\nband = [{ name = "q", energised = ["KA"], hold_v = [160, 300] }]\n'
    )
    assert parse(text).bands[0].name == "q"
    made = parse(with_bands(text, [band("one", "180", "230"), band("two", "225", "280")]))
    assert [b.name for b in made.bands] == ["one", "two"]


def test_ends_that_are_no_decimal_are_written_inward() -> None:
    exact = WrittenBand("third", (), Span(Fraction(550, 3), Fraction(700, 3)))
    low, high = parse(with_bands(STARTER, [exact])).bands[0].hold_v or (0, 0)
    assert Fraction(550, 3) < low < Fraction(550, 3) + Fraction(2, 10**6)
    assert Fraction(700, 3) - Fraction(2, 10**6) < high < Fraction(700, 3)


MIXED = """format = 1 # kinds of tables in any order
title = "Mixed"
backup.leave_v = [ 150 , # low
    290 ]   # high
winding = [{ name = "a", ends = ["N", "P"], turns = 5_00 }, # as it is wound
  { name = 'b # no comment', turns = "25/2", ends = ["P", "Q"] }]
mains = { nominal_v = 220, range_v = [180, 250] }
output = { nominal_v = 220, window_v = [198, 242] }
terminals = { line = "P", neutral = "N", output = "O" }
[[band]] # the first
name = "one"
energised = []
hold_v=[1.5e2,2.1E2]# crowded
[[relay]]
name = "K"
com = "O"
nc = "P"
no = "Q"
[[ band ]]
"name" = "two"
energised = ["K"]
'hold_v' = [
  205, # from here
  # and
  290.00,
]
[backup]
return_v = [ 160, 280 ]
"""


def test_stated_numbers_are_those_of_the_file_as_it_writes_them() -> None:
    text = MIXED.replace("[backup]\nreturn_v", "[other]\nreturn_v").replace("backup.leave_v", "backup.return_v")
    told = [(one.key, one.owner, one.told) for one in stated_numbers(text)]
    assert told == [
        ("winding[1].turns", "a", "500"),
        ("winding[2].turns", "b # no comment", "25/2"),
        ("band[1].hold_v[1]", "one", "1.5e2"),
        ("band[1].hold_v[2]", "one", "2.1E2"),
        ("band[2].hold_v[1]", "two", "205"),
        ("band[2].hold_v[2]", "two", "290.00"),
        ("backup.return_v[1]", "", "150"),
        ("backup.return_v[2]", "", "290"),
    ]
    assert [one.path for one in stated_numbers(STARTER.replace("hold_v", "# hold_v"))] == [
        ("winding", number, "turns") for number in range(STARTER.count("[[winding]]"))
    ] + [("backup", key, end) for key in ("leave_v", "return_v") if key in STARTER for end in (0, 1)]


def changed_lines(before: str, after: str) -> list[str]:
    """The lines that differ, as they are after; no line is gained or lost."""
    return [new for old, new in zip(before.split("\n"), after.split("\n"), strict=True) if old != new]


@pytest.mark.parametrize(
    ("key", "told", "line"),
    [
        ("winding[1].turns", "612", 'winding = [{ name = "a", ends = ["N", "P"], turns = 612 }, # as it is wound'),
        ("winding[2].turns", "13.50", '  { name = \'b # no comment\', turns = 13.50, ends = ["P", "Q"] }]'),
        ("winding[2].turns", "26/2", '  { name = \'b # no comment\', turns = "26/2", ends = ["P", "Q"] }]'),
        ("band[1].hold_v[1]", "151,5", "hold_v=[151.5,2.1E2]# crowded"),
        ("band[2].hold_v[1]", "204", "  204, # from here"),
        ("band[2].hold_v[2]", "291", "  291,"),
        ("backup.leave_v[1]", "149.9", "backup.leave_v = [ 149.9 , # low"),
        ("backup.leave_v[2]", "300", "    300 ]   # high"),
    ],
)
@pytest.mark.parametrize("ends", ["\n", "\r\n"])
def test_a_number_is_changed_where_it_stands_and_nothing_else(key: str, told: str, line: str, ends: str) -> None:
    text = MIXED.split("[backup]")[0].replace("\n", ends)
    path = next(one.path for one in stated_numbers(text) if one.key == key)
    assert changed_lines(text, with_numbers(text, {path: told})) == [line + ends[:-1]]


def designed(one: StatedNumber, file: Path, value: Fraction) -> object:
    """What the file means with one number changed, worked out on its values."""
    design = parse(file.read_text(encoding="utf-8"))
    match one.path:
        case ("winding", int(place), _):
            windings = list(design.windings)
            windings[place] = replace(windings[place], turns=value)
            return replace(design, windings=tuple(windings))
        case ("band", int(place), _, int(end)):
            bands = list(design.bands)
            hold = list(bands[place].hold_v or ())
            hold[end] = value
            bands[place] = replace(bands[place], hold_v=tuple(hold))  # type: ignore[arg-type]
            return replace(design, bands=tuple(bands))
    assert design.backup is not None
    _, key, end = one.path
    pair = list(getattr(design.backup, str(key)))
    pair[int(end)] = value
    return replace(design, backup=replace(design.backup, **{str(key): tuple(pair)}))


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_every_number_of_a_shipped_design_can_be_changed(file: Path) -> None:
    """A little more or less, so that the file still reads: one line differs, and the design by that number."""
    text = file.read_text(encoding="utf-8")
    numbers = stated_numbers(text)
    assert len(numbers) > 1
    for one in numbers:
        told = f"{one.told}.001" if re.fullmatch("[0-9]+", one.told) else f"{one.told}1"
        made = with_numbers(text, {one.path: told})
        assert len(changed_lines(text, made)) == 1
        try:
            assert parse(made) == designed(one, file, Fraction(told))
        except DesignError as error:  # ends that must not differ from others
            assert one.key.startswith(("backup", "band"))
            assert re.search("band|backup", str(error))


def test_several_at_once_and_none() -> None:
    numbers = {
        one.path: "205.5" for one in stated_numbers(MIXED.split("[backup]")[0]) if one.key == "winding[1].turns"
    }
    numbers |= {("band", 1, "hold_v", 0): "206", ("band", 1, "hold_v", 1): "289"}
    made = with_numbers(MIXED.split("[backup]")[0], numbers)
    assert [one.told for one in stated_numbers(made)] == [
        "205.5",
        "25/2",
        "1.5e2",
        "2.1E2",
        "206",
        "289",
        "150",
        "290",
    ]
    assert with_numbers(STARTER, {}) == STARTER


@pytest.mark.parametrize(
    "told", ["", "many", "1 2", "0x10", "1e999", "007", '"]\\', "nan", "1_0", "--1", "1.", "inf"]
)
def test_what_is_no_number_is_told_by_the_reader(told: str) -> None:
    made = with_numbers(STARTER, {("winding", 0, "turns"): told})
    assert len(changed_lines(STARTER, made)) == 1
    with pytest.raises(DesignError, match=r"winding\[1\].turns: found .*; accepted: turns above 0") as refused:
        parse(made)
    assert len(refused.value.problems) == 1


@pytest.mark.parametrize("path", [("colour",), ("winding", 0, "colour", 1), ("winding", 99, "turns")])
def test_a_place_that_is_none_is_refused(path: tuple[str | int, ...]) -> None:
    with pytest.raises(OutputError, match="nothing was changed"):
        with_numbers(STARTER, {path: "5"})


# --- the bytes of a file around what is changed ---

MARK = b"\xef\xbb\xbf"
ENDS = st.sampled_from([b"\n", b"\r\n"])
LINES = st.lists(st.sampled_from([b"", b"a = 1", b"b = 2", b"# Ohm \xce\xa9", b"[t]"]), max_size=12)


def laid_out(file: Path, mark: bytes, lines: list[bytes], ends: list[bytes]) -> str:
    """A file of these lines, and the text that reading it gives."""
    file.write_bytes(mark + b"".join(line + end for line, end in zip(lines, ends, strict=True)))
    return read_text(file)


@given(lines=LINES, made=LINES, mark=st.sampled_from([b"", MARK]), draw=st.data())
def test_a_line_that_stays_keeps_its_end_and_the_rest_ends_as_the_first(
    lines: list[bytes], made: list[bytes], mark: bytes, draw: st.DataObject, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """Lines before the first change and after the last are byte for byte as they were; the text is what was made."""
    file = tmp_path_factory.mktemp("laid") / "a"
    ends = draw.draw(st.lists(ENDS, min_size=len(lines), max_size=len(lines)))
    text = laid_out(file, mark, lines, ends)
    wanted = b"".join(line + b"\n" for line in made)
    raw = rewritten(str(file), text, wanted.decode())
    assert raw.startswith(mark)
    assert raw.removeprefix(mark).replace(b"\r\n", b"\n") == wanted
    if made == lines:
        assert raw == file.read_bytes()
    if len(set(ends)) == 1:
        assert raw == mark + b"".join(line + ends[0] for line in made)


def test_mixed_line_ends_stay_where_nothing_changes(tmp_path: Path) -> None:
    lines = [b"one = 1", b"two = 2", b"three = 3", b"four = 4", b"five = 5"]
    ends = [b"\r\n", b"\n", b"\n", b"\r\n", b"\n"]
    text = laid_out(tmp_path / "a", MARK, lines, ends)
    raw = rewritten(str(tmp_path / "a"), text, text.replace("three = 3", "three = 33"))
    assert raw == MARK + b"one = 1\r\ntwo = 2\nthree = 33\r\nfour = 4\r\nfive = 5\n"


@pytest.mark.parametrize(("end", "made"), [(b"\n", b"a\nb\nc\n"), (b"\r\n", b"a\r\nb\r\nc\r\n")])
def test_a_last_line_without_an_end_gets_one_where_more_follows(end: bytes, made: bytes, tmp_path: Path) -> None:
    (tmp_path / "a").write_bytes(b"a" + end + b"b")
    assert rewritten(str(tmp_path / "a"), "a\nb", "a\nb\nc\n") == made
    assert rewritten(str(tmp_path / "a"), "a\nb", "b") == b"b"
    assert rewritten(str(tmp_path / "a"), "a\nb", "a") == b"a"


def test_a_file_that_was_changed_meanwhile_is_not_written_over(tmp_path: Path) -> None:
    (tmp_path / "a").write_text("b = 2\n")
    with pytest.raises(OutputError, match="found it changed since it was read, so nothing was written; accepted"):
        rewritten(str(tmp_path / "a"), "a = 1\n", "a = 3\n")
    with pytest.raises(OutputError, match=r"cannot be read again \(No such file or directory\)"):
        rewritten(str(tmp_path / "none"), "a = 1\n", "a = 3\n")
