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
