"""What a served page has beside the report: strict markup, hostile names kept as text, nothing else of it changed."""

from __future__ import annotations

import re

import html5lib
import pytest

from tapplan.design.edit import StatedNumber, stated_numbers
from tapplan.pages.watched import Watched, watched_page
from tests.examples import SHIPPED

PAGE = "<!DOCTYPE html>\n<html lang='en'><head><title>t</title></head><body><main>a</body>b</main></body></html>\n"
HOSTILE = "</script><script>alert(1)</script>'\"&amp;<!--\u202e"


def watched(numbers: tuple[StatedNumber, ...] = (), **tried: str) -> str:
    told = {key.replace("_", "."): value for key, value in tried.items()}
    return watched_page(PAGE, Watched(HOSTILE, "/secret/", 3, "mark", numbers, told))


def test_the_report_itself_stays_as_it_is() -> None:
    made = watched()
    head = PAGE.rpartition("</body>")[0]
    assert made.startswith(head)
    assert made.endswith("</body></html>\n")
    assert '"home": "/secret/"' in made
    assert '"tried": false' in made


@pytest.mark.parametrize("file", SHIPPED, ids=lambda file: file.stem)
def test_every_number_has_a_field_with_a_name_of_its_own(file: object) -> None:
    numbers = stated_numbers(SHIPPED[SHIPPED.index(file)].read_text(encoding="utf-8"))  # type: ignore[arg-type]
    made = watched(numbers)
    fields = html5lib.parse(made, namespaceHTMLElements=False).findall(".//form//input")
    assert [(one.get("name"), one.get("value")) for one in fields] == [(one.key, one.told) for one in numbers]
    names = [one.get("aria-label") for one in fields]
    assert len(set(names)) == len(names)


def test_hostile_names_stay_text_in_strict_markup() -> None:
    number = StatedNumber(("winding", 0, "turns"), HOSTILE, HOSTILE)
    made = watched((number,), **{"winding[1]_turns": HOSTILE})
    parser = html5lib.HTMLParser(strict=False, namespaceHTMLElements=False)
    page = parser.parse(made.replace("<main>a</body>b</main>", "<main>ab</main>"))
    assert [code for _, code, _ in parser.errors] == []
    assert len(page.findall(".//script")) == 2
    field = page.find(".//form//input")
    assert field is not None
    assert (field.get("value"), field.get("data-stated")) == (HOSTILE, HOSTILE)
    assert "\\u202e" in "".join(page.find(".//form").itertext())
    assert "Tried, not written." in made


def test_nothing_is_fetched_from_elsewhere_and_nothing_printed() -> None:
    made = watched()
    assert re.findall(r"(?:src|href)=\S+|https?://\S+|@import", made) == []
    assert "@media print { .watch { display: none } }" in made


# --- fields by hand ---

NUMBERS = (
    StatedNumber(("winding", 0, "turns"), "main", "200"),
    StatedNumber(("winding", 1, "turns"), "more", "20.5"),
    StatedNumber(("band", 0, "hold_v", 0), "boost", "180"),
    StatedNumber(("band", 0, "hold_v", 1), "boost", "230"),
    StatedNumber(("band", 1, "hold_v", 0), "a < b", "220"),
    StatedNumber(("backup", "leave_v", 0), "", "164"),
    StatedNumber(("backup", "leave_v", 1), "", "281"),
    StatedNumber(("backup", "return_v", 0), "", "166"),
    StatedNumber(("backup", "return_v", 1), "", "277"),
)


def table(made: str) -> list[tuple[str, list[tuple[str, str, str]]]]:
    """Each row by its heading, with label, name and value of its fields."""
    rows = re.findall(r"<tr><th scope=row>(.*?)</th>(.*?)</tr>", made)
    return [(head, re.findall(r'<label>(.*?)<input name="(.*?)" value="(.*?)"', cells)) for head, cells in rows]


def test_numbers_of_one_winding_band_or_event_stand_side_by_side() -> None:
    rows = table(watched(NUMBERS))
    assert [(head, [label for label, _, _ in fields]) for head, fields in rows] == [
        ("main", ["turns"]),
        ("more", ["turns"]),
        ("boost", ["left below (V)", "left above (V)"]),
        ("a &lt; b", ["left below (V)"]),
        ("the load leaves the mains", ["below (V)", "above (V)"]),
        ("the load comes back", ["from (V)", "to (V)"]),
    ]
    fields = [field for _, found in rows for field in found]
    assert [(name, value) for _, name, value in fields] == [(one.key, one.told) for one in NUMBERS]
    names = re.findall(r'data-stated="[^"]*" aria-label="(.*?)"', watched(NUMBERS))
    assert names[:4] == ["main, turns", "more, turns", "boost, left below (V)", "boost, left above (V)"]
    assert names[5:7] == ["the load leaves the mains, below (V)", "the load leaves the mains, above (V)"]


def test_a_number_tried_stands_in_its_field_beside_what_the_file_states() -> None:
    one = NUMBERS[3]
    made = watched_page(PAGE, Watched("a.toml", "/secret/", 3, "mark", NUMBERS, {one.key: "231"}))
    values = {name: value for _, fields in table(made) for _, name, value in fields}
    assert values == {each.key: each.told for each in NUMBERS} | {one.key: "231"}
    assert made.count('data-stated="230"') == 1
    assert "<small hidden>in the file: 230</small>" in made
    assert "<li>boost, left above (V): 230 in the file, 231 tried</li>" in made
    assert '<a href="/secret/">Back to the page of the file</a>' in made
    assert '"tried": true' in made
    assert '"page": 3' in made
    assert "watch-tried" not in table_less(watched(NUMBERS))


def table_less(made: str) -> str:
    """The panel without its style and script."""
    return re.sub(r"<(style|script)[^>]*>.*?</\1>", "", made, flags=re.DOTALL)


def test_a_number_of_a_kind_unknown_is_named_by_its_key() -> None:
    from tapplan.pages.watched import _end

    assert _end(StatedNumber(("other", "key"), "x", "1")) == StatedNumber(("other", "key"), "x", "1").key
