from fractions import Fraction

from hypothesis import given
from hypothesis import strategies as st

from tapplan.design.edit import WrittenBand, with_bands
from tapplan.design.file import parse
from tapplan.design.starter import STARTER
from tapplan.exact import Span


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
