"""Where a newcomer is sent, and lists that name the same things in several places: none of them is left behind."""

from __future__ import annotations

import re
from collections.abc import Collection
from typing import get_args, get_type_hints

import pytest

from tapplan import guide
from tapplan.bench.measures import ALLOWED, UNITS, YES_NO, What
from tapplan.checks.budget import RIPPLES
from tapplan.cli.verbs.export import ENDINGS, EXPORTS, PICTURES
from tapplan.control import counts
from tapplan.control.ripple import Detector
from tapplan.design.model import LoadModel
from tapplan.design.shape import Options, keys_of
from tapplan.design.tables.control import Sensing
from tapplan.design.tables.service import Output
from tapplan.network.load import Load
from tapplan.pages.firmware.summing import ADDED, CLEARED, VALUE
from tests.engines import judging
from tests.examples import ROOT

MAP = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTIONS = ("Where do I change ...?", "How to add")
ROOMS = (ROOT, ROOT / "tapplan")  # paths are told from the top, or from the package


def section(heading: str) -> str:
    """The text under a heading, up to the next."""
    return MAP.partition(f"\n## {heading}\n")[2].partition("\n## ")[0]


def files_named(text: str) -> list[str]:
    """What stands in code marks and is a path: with a stroke, or the ending of a file."""
    marked = re.findall(r"`([^`\s]+)`", text)
    return [
        one for one in marked if re.fullmatch(r"[\w./-]+", one) and ("/" in one or re.search(r"\.(py|md|toml)$", one))
    ]


@pytest.mark.parametrize("heading", SECTIONS)
def test_every_file_that_a_newcomer_is_sent_to_is_there(heading: str) -> None:
    named = files_named(section(heading))
    assert len(named) > 30
    gone = sorted({one for one in named if not any((room / one).exists() for room in ROOMS)})
    assert gone == [], f"DEVELOPERS.md, {heading}: write where it is now"


def test_what_is_bold_in_the_map_has_an_entry_below_it() -> None:
    entries = " ".join(re.findall(r"^- \*\*(.*?)\*\*", section("How to add"), re.MULTILINE)).lower()
    bold = re.findall(r"\*\*(.*?)\*\*", section("Where do I change ...?").partition("\nWhat resists")[0])
    assert len(bold) > 7
    assert [one for one in bold if one not in entries] == []


def test_every_export_and_every_picture_stands_in_the_table_of_the_guide() -> None:
    table = "\n".join(line for line in guide.text("firmware").splitlines() if line.startswith("| `"))
    missing = [one for one in (*EXPORTS, *PICTURES) if not re.search(rf"(`|--picture ){one}`", table)]
    assert missing == [], "a row, or a word, in the table of tapplan/guide/firmware.md"
    assert set(ENDINGS.values()) <= set(EXPORTS)


def accepted(table: type, key: str) -> set[str]:
    """What the design file accepts for a key of choices."""
    (shape,) = (one.shape for one in keys_of(table) if one.name == key)
    assert isinstance(shape, Options)
    return set(map(str, shape.values))


DETECTORS: dict[str, Collection[str]] = {
    "control/ripple.py, Detector": get_args(Detector),
    "control/counts.py, FORMS": counts.FORMS,
    "checks/budget.py, RIPPLES": RIPPLES,
    "pages/firmware/summing.py, CLEARED": CLEARED,
    "pages/firmware/summing.py, ADDED": ADDED,
    "pages/firmware/summing.py, VALUE": VALUE,
    "tests/engines/judging.py, FORMS": judging.FORMS,
}
LOADS: dict[str, Collection[str]] = {
    "design/tables/service.py, LoadModel": get_args(LoadModel),
    "network/load.py, Load.model": get_args(get_type_hints(Load)["model"]),
}


@pytest.mark.parametrize("place", DETECTORS)
def test_every_detector_of_the_file_is_known_where_detectors_are_told_apart(place: str) -> None:
    assert set(DETECTORS[place]) == accepted(Sensing, "detector"), f"{place} says what a detector makes of a wave"


@pytest.mark.parametrize("place", LOADS)
def test_every_load_model_of_the_file_is_known_where_loads_are_told_apart(place: str) -> None:
    assert set(LOADS[place]) == accepted(Output, "load_model"), f"{place} names the models that it works out"


def test_every_quantity_at_the_bench_has_a_unit_or_is_yes_or_no_and_can_be_measured_somewhere() -> None:
    quantities = set(get_args(What))
    assert quantities == {*UNITS, *YES_NO}
    assert not UNITS.keys() & set(YES_NO)
    assert quantities == {one for every in ALLOWED.values() for one in every}


def test_a_path_is_told_from_other_words_in_code_marks() -> None:
    text = "`checks/rules.py`, `FORMS` of `design/`, `python -m tests.loop`, `transfer_ms = 0`, `a.md`, `A.b`"
    assert files_named(text) == ["checks/rules.py", "design/", "a.md"]
