"""The live part of a page: its table, where the load leaves, its pictures by width, and the data of its script."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from fractions import Fraction
from functools import cache
from typing import Any

import pytest

from tapplan.answers.steps import Steps
from tapplan.answers.table import TruthTable, truth_table
from tapplan.checks.review import Review, review
from tapplan.control.table import ControlTable
from tapplan.pages import story
from tapplan.pages.live import live
from tapplan.pages.story import COLUMN_EACH, FORMS, Story
from tapplan.pictures.curve import scale_of
from tapplan.pictures.curveform import DESK, PHONE
from tests.answers.test_steps import row
from tests.pages.firmware.stages import stage
from tests.pages.test_played import COURSE, steps

F = Fraction


@cache
def reviewed(backup: bool = True) -> Review:
    return review(stage(backup=backup))


def told(truth: TruthTable | None = None, stepped: Steps | None = None, **data: Any) -> Story:
    one = reviewed()
    return Story(one, truth or truth_table(one), (), stepped or steps(), {**live(one), **data})


def heads(text: str) -> list[str]:
    return re.findall(r'<th scope="col">(.*?)</th>', text)


def test_relays_have_a_column_each_as_long_as_they_are_few() -> None:
    truth = truth_table(reviewed())
    four, five = (replace(truth, relays=tuple(f"K{number}" for number in range(count))) for count in (4, 5))
    assert COLUMN_EACH == 4
    assert heads(story._table(told(four)))[:6] == ["band", "K0", "K1", "K2", "K3", "ratio"]
    assert heads(story._table(told(five)))[:3] == ["band", "energised", "ratio"]
    assert "path" not in heads(story._table(told()))


def test_each_band_has_its_path_or_none() -> None:
    truth = truth_table(reviewed())
    bare = replace(truth, bands=(truth.bands[0], replace(truth.bands[1], path=None, band="a < b")))
    ways = re.findall(r"<li><strong>(.*?)</strong>: (.*?)</li>", story._table(told(bare)))
    assert ways == [("boost", "LINE A K.no OUT"), ("a &lt; b", "none")]


def outside(**sensing: Any) -> str:
    table: ControlTable = reviewed().table
    moved = replace(table.design, sensing=replace(table.design.sensing, **sensing))
    return story._outside(replace(table, design=moved))


@pytest.mark.parametrize(
    ("at", "read"), [("input", ""), ("output", ", read at the output"), (("A", "N"), ", read at A-N")]
)
def test_where_the_load_leaves_and_comes_back(at: Any, read: str) -> None:
    assert outside(at=at) == (
        "<p>The load leaves the mains for the backup at readings beyond 180 V and 270 V, the outermost ends of the "
        f"table, and comes back only between 185 V and 265 V{read}.</p>"
    )
    assert story._outside(reviewed(False).table) == ""


def test_pictures_are_for_a_desk_or_for_a_phone() -> None:
    assert story._for(DESK, "x") == '<div class="for-wide">x</div>'
    assert story._for(PHONE, "x") == '<div class="for-narrow">x</div>'
    for picture in (story._curve, story._bands):
        for form in FORMS:
            drawn = picture(told(), form)
            assert drawn.startswith(story._for(form, "")[: -len("</div>")])
            name = {story._curve: "curve", story._bands: "bands"}[picture]
            assert f'id="{form.prefix}{name}"' in drawn


def test_a_step_is_drawn_only_where_there_is_one_and_its_curve_is_known() -> None:
    one = steps(row(course=COURSE))
    assert 'id="envelope"' in story._envelope(told(stepped=one))
    assert story._envelope(told()) == ""
    assert story._envelope(told(stepped=replace(one, curve="of-no-book"))) == ""


def test_the_section_shows_every_coil_off_and_counts_the_parts() -> None:
    text = story.story_section(told())
    assert "Schematic: 2 windings, 1 relays, 2 contacts; its paths stand in the truth table" in text
    data = live(reviewed())
    assert f'min="{data["from"]}"' in text
    assert f'max="{data["to"]}"' in text
    assert f'value="{data["at"]}"' in text


def packed(text: str) -> Any:
    found = re.search(r'<script type="application/json" id="table-data">(.*?)</script>', text, re.DOTALL)
    assert found is not None
    return json.loads(found[1])


def test_nothing_in_the_data_can_end_its_element() -> None:
    text = story.program(told(names=["</script>", "a & b"]))
    assert packed(text)["names"] == ["</script>", "a & b"]
    first = text.partition("</script>")[0]
    assert "<" not in first.partition(">")[2]
    assert "&" not in first.partition(">")[2]
    assert '"use strict";\n(function () {\n' in text
    assert text.endswith("})();</script>")


def test_the_data_places_volts_in_each_picture_of_the_curve() -> None:
    """x and y are straight lines of the volts: held at both ends and in the middle of what is drawn."""
    data = packed(story.program(told(stepped=steps(row(course=COURSE)))))
    assert [one["prefix"] for one in data["curves"]] == [form.prefix for form in FORMS]
    for one, form in zip(data["curves"], FORMS, strict=True):
        scale = scale_of(reviewed().table, form)
        for volts in (scale.inputs.low, scale.inputs.high, (scale.inputs.low + scale.inputs.high) / 2):
            assert one["x"][0] + one["x"][1] * float(volts) == pytest.approx(scale.x(volts))
        for volts in (scale.outputs.low, scale.outputs.high, (scale.outputs.low + scale.outputs.high) / 2):
            assert one["y"][0] + one["y"][1] * float(volts) == pytest.approx(scale.y(volts))
        assert (one["top"], one["bottom"]) == (form.top, form.base)
        assert one["y"][1] < 0 < one["x"][1]
    assert len(data["steps"]) == 1
    assert data["nominal"] == 230
