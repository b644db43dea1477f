"""The winding sheet: its rows against the coil, what it says where nothing can be laid, and its three documents."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import pytest

from tapplan.answers.forms import cells
from tapplan.answers.rate import rated
from tapplan.answers.winding import WindingSheet, build_row, winding_sheet, wound_rows
from tapplan.answers.words import CAUTION
from tapplan.checks.review import review
from tapplan.control.table import control_table
from tapplan.design.coil import Coil
from tapplan.design.file import load
from tapplan.design.fingerprint import fingerprint
from tapplan.design.model import Core, Design, Prices
from tapplan.errors import UsageError
from tapplan.pages.screens import rate as rate_screen
from tapplan.pages.winding import winding_csv, winding_html, winding_markdown
from tapplan.pictures.coil import coil_picture
from tapplan.rating.built import built_table
from tapplan.rating.rated import ratings
from tests.examples import ROOT
from tests.pages.screens.test_screens import shown
from tests.rating.test_laid import FORMER, WIRES, stage

F = Fraction
HUT = ROOT / "designs" / "shepherds-hut.toml"


def sheet(made: Design) -> WindingSheet:
    return winding_sheet(built_table(made, control_table))


def test_sections_as_they_are_wound() -> None:
    rows = sheet(stage()).sections
    assert [(one.section, one.turns, one.wire, one.holds, one.layers, one.goes_on) for one in rows] == [
        ("main", 200, "0.8 mm", 57, "1 - 4", "new layer"),
        ("low", 27, "1.6 mm", 29, "5", "new layer"),
        ("high", 31, "1.6 mm", 29, "5 - 6", "same layer"),
        ("aux", 20, "0.5 mm", 90, "7", "new layer"),
    ]
    assert [one.covered_mm for one in rows] == [F("0.884"), F("1.706"), F("1.706"), F("0.566")]
    assert [(one.first_layer, one.last_layer) for one in rows] == [(1, 4), (5, 5), (5, 6), (7, 7)]
    for one in rows:
        assert one.length_m == pytest.approx(float(one.turns) * one.mean_turn_mm / 1000)


def test_leads_say_what_they_go_to() -> None:
    """Of the pair: the line's relay between A and C, the output's between B and C."""
    leads = {one.point: one for one in sheet(stage()).leads}
    assert leads["N"].goes_to == ("the neutral terminal",)
    assert leads["A"].goes_to == ("KL.nc",)
    assert leads["B"].goes_to == ("KO.nc",)
    assert leads["C"].goes_to == ("KL.no", "KO.no")
    assert leads["S1"].goes_to == ()
    assert leads["B"].what == "finish of low, tap: goes on as high"
    assert [one.what for one in sheet(stage()).leads][:3] == ["start of main", "finish of main", "start of low"]
    moved = replace(stage().terminals, output="B")
    assert "the output terminal" in {to for one in sheet(stage(terminals=moved)).leads for to in one.goes_to}


def test_a_common_contact_on_the_winding_is_named() -> None:
    relays = tuple(
        replace(one, poles=(replace(one.all_poles[0], com="A", nc="LINE"),), com=None, nc=None, no=None)
        if one.name == "KL" else one for one in stage().relays
    )  # fmt: skip
    leads = {one.point: one for one in sheet(stage(relays=relays)).leads}
    assert "KL.com" in leads["A"].goes_to


def test_layers_and_proofs() -> None:
    found = sheet(stage())
    assert [(one.layer, one.flange, one.sections, one.section_turns, one.holds) for one in found.layers[3:6]] == [
        (4, "far", ("main",), (29,), 57),
        (5, "start", ("low", "high"), (27, 2), 29),
        (6, "far", ("high",), (29,), 29),
    ]
    assert [one.over_mm for one in found.layers] == [0, *[F("0.1")] * 5, F("0.6")]
    assert [(one.section, one.turns, one.test_v) for one in found.proofs] == [
        (name, turns, 24 * F(turns, 258)) for name, turns in (("main", 200), ("low", 27), ("high", 31), ("aux", 20))
    ]
    assert found.ratio_told == "24 V AC from N to C, 258 turns: 0.0930 V a turn."
    assert all(one.cold_ohm is not None and one.cold_ohm[0] < one.cold_ohm[1] for one in found.proofs)
    assert [(one.wire, one.strands, one.sections) for one in found.wires] == [
        ("0.8 mm", 1, ("main",)), ("1.6 mm", 1, ("low", "high")), ("0.5 mm", 1, ("aux",)),
    ]  # fmt: skip


def test_the_core_and_the_former_in_words() -> None:
    found = sheet(stage())
    assert found.core_told == "EI 120, stacked 60 mm, M400-50A; window 20 x 60 mm."
    assert found.former_told == (
        "1.5 mm under the first layer, flanges 1.5 mm, margins 3 mm, 0.1 mm over each layer, 0.5 mm more between "
        "windings that no turn joins."
    )
    sides = Core(leg_mm=F(40), stack_mm=F(60), window_mm=(F(20), F(60)))
    assert sheet(stage(core=sides)).core_told == "limb of 40 mm, stacked 60 mm; window 20 x 60 mm."
    assert found.build.told.startswith("7 layers build up to ")
    assert "with 15 % of bulge; the window is 20 mm wide. A layer has 51 mm along the limb." in found.build.told
    assert found.fingerprint == fingerprint(stage())
    assert found.elsewhere == ()


def test_millimetres_of_limb_and_window_are_told_to_a_tenth_and_those_of_the_former_to_a_thousandth() -> None:
    sides = Core(leg_mm=F("40.26"), stack_mm=F("60.14"), window_mm=(F("20.26"), F("60.12")))
    former = replace(FORMER, margin_mm=F("3.125"), between_mm=F("0.5126"))
    found = sheet(stage(core=sides, former=former))
    assert found.core_told == "limb of 40.3 mm, stacked 60.1 mm; window 20.3 x 60.1 mm."
    assert "margins 3.125 mm" in found.former_told
    assert "0.513 mm more between" in found.former_told
    assert "the window is 20.3 mm wide. A layer has " in found.build.told
    build = replace(found.build, layers=7, flat_mm=F("12.34"), build_mm=F("14.26"), traverse_mm=F("50.87"))
    assert build.told == (
        "7 layers build up to 12.3 mm flat, 14.3 mm with 15 % of bulge; the window is 20.3 mm wide. A layer has "
        "50.9 mm along the limb."
    )
    assert replace(build, build_mm=build.width_mm).told.endswith("along the limb.")
    assert replace(build, build_mm=build.width_mm + F(1, 100)).told.endswith(" It does not go in.")


def test_a_winding_on_another_core_is_named_and_not_laid() -> None:
    windings = (*stage().windings[:3], replace(stage().windings[3], core="second"))
    found = sheet(stage(windings=windings))
    assert found.elsewhere == ("aux",)
    assert [one.section for one in found.sections] == ["main", "low", "high"]
    assert "- Not on this core: aux." in winding_markdown(found)
    assert "<p>Not on this core: aux.</p>" in winding_html(found)
    assert "Not on this core" not in winding_html(sheet(stage()))


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"former": None}, r"found no coil whose layers are known; accepted: \[former\], and \[core\]"),
        ({"core": Core(area_mm2=F(2400), mean_turn_mm=F(260))}, r"found no coil whose layers are known"),
        ({"core": None}, r"found no coil whose layers are known"),
        (
            {"windings": (*stage().windings[:3], replace(stage().windings[3], wire_mm=None, resistance_ohm=F(1)))},
            r"found no wire for aux; accepted: wire_mm or strip_mm for each$",
        ),
        (
            {"former": replace(FORMER, margin_mm=F(28))},
            r'found winding "low" with 1.706 mm a turn; accepted: at most 1 mm, what the former leaves',
        ),
    ],
)
def test_what_is_missing_is_told(changes: dict[str, Any], told: str) -> None:
    with pytest.raises(UsageError, match=told):
        sheet(stage(**changes))


def test_a_chosen_wire_is_on_the_sheet_and_leaves_the_fingerprint() -> None:
    free = stage(windings=tuple(replace(one, wire_mm=None) for one in stage().windings))
    found = sheet(free)
    assert found.fingerprint == fingerprint(free)
    assert all(one.wire != "-" for one in found.sections)
    assert {one.name: one.wire_mm for one in free.windings} != WIRES


def test_a_stage_that_holds_nothing_is_told() -> None:
    idle = replace(stage().mains, range_v=(F(400), F(420)))
    with pytest.raises(UsageError, match="found no band that holds anything of the mains range"):
        sheet(stage(mains=idle))


def test_far_too_many_turns_are_told() -> None:
    windings = (replace(stage().windings[0], turns=F(10**6)), *stage().windings[1:])
    with pytest.raises(UsageError, match=r"found 17548 layers; accepted: a coil that goes into its window"):
        sheet(stage(windings=windings, bands=()))


def test_a_full_window_says_so_on_the_sheet() -> None:
    tight = Core(leg_mm=F(40), stack_mm=F(60), window_mm=(F(8), F(60)))
    assert sheet(stage(core=tight)).build.told.endswith("It does not go in.")
    assert "go in" not in sheet(stage()).build.told


def test_leads_of_other_windings_say_what_they_serve() -> None:
    leads = {one.point: one.goes_to for one in sheet(load(HUT)).leads}
    battery = next(one for one in load(HUT).windings if one.name == "battery")
    assert leads[battery.ends[0]] == ('feed "inverter"', "the charger")
    coils = next(one for one in load(HUT).windings if one.name == "coils")
    assert leads[coils.ends[1]] == ("the coil supply",)
    sensed = replace(stage().sensing, at=("S2", "S1"))
    assert {one.point: one.goes_to for one in sheet(stage(sensing=sensed, bands=())).leads}["S1"] == (
        "the controller",
    )


def test_a_layer_that_is_full_is_not_the_same_layer() -> None:
    """57 more turns of main fill its layers; 58 of low fill two of 29: high goes on in the next one."""
    windings = (stage().windings[0], replace(stage().windings[1], turns=F(58)), *stage().windings[2:])
    rows = {one.section: one for one in sheet(stage(windings=windings, bands=())).sections}
    assert (rows["high"].goes_on, rows["high"].first_layer) == ("next layer", rows["low"].last_layer + 1)


# --- the documents ---


def test_every_document_has_every_cell_and_the_caution() -> None:
    found = sheet(load(HUT))
    page, text, table = winding_html(found), winding_markdown(found), winding_csv(found)
    rows = [row for part in (found.sections, found.leads, found.layers, found.wires, found.proofs) for row in
            cells(part).rows]  # fmt: skip
    lines = list(csv.reader(io.StringIO(table)))
    for row in rows:
        assert ["" if cell == "-" else cell for cell in row] in [line[: len(row)] for line in lines]
        assert f"| {' | '.join(row)} |" in text.replace("\\", "")
        assert "".join(f"<td>{cell}</td>" for cell in row) in page.replace("&#x27;", "'").replace("&quot;", '"')
    for document in (page, text):
        assert document.count(CAUTION.replace("'", "&#x27;")) + document.count(CAUTION) == 1
        for told in (*found.before, *found.after):
            assert told in document.replace("&#x27;", "'")
        assert found.fingerprint in document
    assert lines[0][:2] == ["fingerprint", found.fingerprint]


def test_no_distance_or_test_voltage_of_our_own() -> None:
    """What is done before and after names no volts, no millimetres and no minutes; these are the standard's."""
    found = sheet(load(HUT))
    assert not [told for told in (*found.before, *found.after) if re.search(r"\d+ ?(V|kV|mm|min|s|Mohm)\b", told)]
    assert any("by the standard that applies" in told for told in found.after)


def test_a_name_that_a_spreadsheet_would_take_for_a_formula() -> None:
    windings = (replace(stage().windings[0], name="=1+1"), *stage().windings[1:])
    assert "'=1+1" in winding_csv(sheet(stage(windings=windings)))


def test_the_page_needs_nothing_else_and_its_table_heads_repeat() -> None:
    page = winding_html(sheet(load(HUT)))
    assert "http" not in page.replace("http://www.w3.org", "")
    assert "display: table-header-group" in page
    assert page.count("<table>") == 5
    assert page.index("Before winding") < page.index("<table>") < page.index("After winding")


def test_the_coil_is_drawn_in_its_place() -> None:
    """A bar a run, no two of which overlap, all between the flanges and inside the window."""
    found = sheet(load(HUT)).coil
    assert isinstance(found, Coil)
    drawn = ElementTree.fromstring(coil_picture(found).as_svg())  # noqa: S314 - our own text
    bars = [one for one in drawn.iter() if one.get("class", "").startswith("copper")]
    boxes = [tuple(float(one.get(key, "0")) for key in ("x", "y", "width", "height")) for one in bars]
    assert len(boxes) == sum(len(one.runs) for one in found.placed)
    window = next(one for one in drawn.iter() if one.get("class") == "axis")
    left, top, wide, high = (float(window.get(key, "0")) for key in ("x", "y", "width", "height"))
    for x, y, across, down in boxes:
        assert left < x < x + across < left + wide
        assert top < y < y + down < top + high
    for place, one in enumerate(boxes):
        for other in boxes[:place]:
            apart_across = one[0] >= other[0] + other[2] - 1e-6 or other[0] >= one[0] + one[2] - 1e-6
            apart_down = one[1] >= other[1] + other[3] - 1e-6 or other[1] >= one[1] + one[3] - 1e-6
            assert apart_across or apart_down
    told = " ".join(one.text or "" for one in drawn.iter() if one.tag.endswith("text"))
    assert all(f"{one.section}: " in told for one in found.placed)
    labels = [
        float(one.get("y", "0")) for one in drawn.iter() if one.tag.endswith("text") and "turns" in (one.text or "")
    ]
    assert all(b - a >= 11 for a, b in pairwise(labels))


def numbers(one: ElementTree.Element, *keys: str) -> tuple[float, ...]:
    return tuple(float(one.get(key, "nan")) for key in keys)


def test_limb_former_and_bulge_are_drawn_to_scale() -> None:
    """Base and flanges in their millimetres, the dashed line at the build-up, hairs in their bars, dots on them."""
    found = sheet(load(HUT)).coil
    drawn = ElementTree.fromstring(coil_picture(found).as_svg())  # noqa: S314 - our own text
    by_class: dict[str, list[ElementTree.Element]] = {}
    for one in drawn.iter():
        by_class.setdefault(one.get("class", ""), []).append(one)
    left, top, wide, high = numbers(by_class["axis"][0], "x", "y", "width", "height")
    scale = wide / float(found.limb.window.wide_mm)
    assert high == pytest.approx(scale * float(found.limb.window.high_mm))
    base, first, last = (numbers(one, "x", "y", "width", "height") for one in by_class["former"])
    flange, build = scale * float(found.former.flange_mm), scale * float(found.build_mm)
    assert base == pytest.approx((left, top, scale * float(found.former.base), high))
    assert first == pytest.approx((left, top, build, flange))
    assert last == pytest.approx((left, top + high - flange, build, flange))
    path = re.findall(r"-?[\d.]+", by_class["limit"][0].get("d", ""))
    assert [float(one) for one in path] == pytest.approx([left + build, top, left + build, top + high], abs=0.01)
    limb = numbers(by_class["iron"][0], "x", "y", "width", "height")
    assert limb[0] + limb[2] == left
    assert limb[1] < top < top + high < limb[1] + limb[3]
    bars = [numbers(one, "x", "y", "width", "height") for kind in ("copper0", "copper1") for one in by_class[kind]]
    for one in by_class["hair"]:
        x, y, to, level = (float(each) for each in re.findall(r"-?[\d.]+", one.get("d", "")))
        assert y == level
        assert any(
            abs(x - bar[0]) < 0.01 and abs(to - bar[0] - bar[2]) < 0.01 and bar[1] < y < bar[1] + bar[3]
            for bar in bars
        )
    for one in by_class["dot"]:
        x, y = numbers(one, "cx", "cy")
        assert any(bar[0] < x < bar[0] + bar[2] and bar[1] < y < bar[1] + bar[3] for bar in bars)
    assert len(by_class["dot"]) == len(found.placed)
    turns = sum(int(run.turns) - 1 for one in found.placed for run in one.runs if one.turn.wide_mm > F("0.6"))
    assert len(by_class["hair"]) == turns


# --- in rate ---


def test_rate_shows_the_layers_and_the_cost() -> None:
    answer = rated(review(stage(prices=Prices(currency="EUR", iron=F(3), copper=F(14), relay=F(2)))))
    text = shown(rate_screen.screen, answer)
    assert answer.layers == wound_rows(ratings(review(stage()).table))
    assert answer.build is not None
    assert answer.build == build_row(ratings(review(stage()).table))
    assert answer.build.told in text
    assert answer.cost is not None
    assert answer.cost.told in text
    assert answer.cost.told.startswith(f"By the prices stated: {answer.cost.total:.2f} EUR (iron ")
    told = rated(review(stage(former=None)))
    assert told.layers == ()
    assert told.build is None
    assert told.cost is None
    assert "Layers" not in shown(rate_screen.screen, told)
    assert any(one.startswith("[former]") for one in told.needs)
    assert not any(one.startswith("[former]") for one in answer.needs)
    unknown = rated(review(stage(core=replace(stage().core or Core(), grade=None), prices=Prices(
        currency="EUR", iron=F(3), copper=F(14)))))  # fmt: skip
    assert unknown.cost is not None
    assert unknown.cost.told.startswith("By the prices stated: not known EUR (iron not known, copper ")


def test_the_verb(tmp_path: Path) -> None:
    from tapplan.cli.main import main

    for ending, begins in (("html", "<!DOCTYPE html>"), ("md", "# Winding sheet: "), ("csv", "fingerprint,")):
        file = tmp_path / f"sheet.{ending}"
        assert main(["export", str(HUT), "--to", "winding", "-o", str(file)]) == 0
        assert file.read_text(encoding="utf-8").startswith(begins)
    picture = tmp_path / "coil.svg"
    assert main(["export", str(HUT), "--picture", "coil", "-o", str(picture)]) == 0
    assert "copper0" in picture.read_text(encoding="utf-8")
    assert main(["export", str(ROOT / "designs" / "ridge-dispensary.toml"), "--to", "winding"]) == 2
