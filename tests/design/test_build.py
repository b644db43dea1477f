"""What is refused of wires, formers, prices and requests, with file, line, key, and what would be accepted."""

from __future__ import annotations

import pytest

from tapplan.design.file import load_request, parse
from tapplan.design.starter import STARTER
from tapplan.errors import DesignError
from tests.examples import ROOT

CORE = '\n[core]\nlamination = "EI 120"\nstack_mm = 60\nflux_limit_t = 1.2\n'
FORMER = "\n[former]\nflange_mm = 1.5\nmargin_mm = 3\ninterlayer_mm = 0.1\nbetween_mm = 0.5\n"
PRICES = '\n[prices]\ncurrency = "EUR"\niron = 3\ncopper = 14\n'
WHOLE = STARTER + CORE + FORMER + PRICES
GRID = (ROOT / "designs" / "requests" / "island-grid.toml").read_text(encoding="utf-8")


def said(text: str) -> str:
    with pytest.raises(DesignError) as told:
        parse(text, "x.toml")
    return str(told.value)


def asked(text: str, tmp_path: object) -> str:
    file = tmp_path / "asked.toml"  # type: ignore[operator]
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError) as told:
        load_request(file)
    return str(told.value)


def test_the_whole_of_it_is_taken() -> None:
    made = parse(WHOLE.replace("turns = 600", "turns = 600\nwire_mm = 0.8\nstrands = 2"))
    assert made.former is not None
    assert made.former.base == made.former.flange_mm
    assert made.prices is not None
    assert made.windings[0].strands == 2


def test_what_is_not_stated_costs_nothing() -> None:
    prices = parse(WHOLE).prices
    assert prices is not None
    assert (prices.iron, prices.copper) == (3, 14)
    assert (prices.relay, prices.pole, prices.tap) == (0, 0, 0)


@pytest.mark.parametrize("thick", ["0.05", "0.8", "5"])
def test_a_wire_from_the_thinnest_to_the_thickest_of_the_table_is_taken(thick: str) -> None:
    made = parse(WHOLE.replace(WIRE, f"{WIRE}\nwire_mm = {thick}"))
    assert float(made.windings[0].wire_mm or 0) == float(thick)


WIRE = "turns = 600"
BAD = [
    (
        WIRE,
        f"{WIRE}\nwire_mm = 0.8\nstrands = 0",
        "winding[1].strands: found 0; accepted: a whole number from 1 to 12",
    ),
    (WIRE, f"{WIRE}\nwire_mm = 0.8\nstrands = 1.5", "winding[1].strands: found 1.5"),
    (
        WIRE,
        f"{WIRE}\nstrands = 2",
        "winding[1].strands: found strands without wire; accepted: strands beside wire_mm",
    ),
    (WIRE, f"{WIRE}\ncovering_mm = 0.1", "winding[1].covering_mm: found covering_mm without wire"),
    (WIRE, f"{WIRE}\nwire_mm = 0.8\nstrip_mm = [2, 5]", "winding[1].strip_mm: found strip_mm beside wire_mm"),
    (WIRE, f"{WIRE}\nstrip_mm = [2, 0]", "winding[1].strip_mm: found [2, 0]; accepted: two lengths above 0 mm"),
    (
        WIRE,
        f"{WIRE}\nwire_mm = 6",
        "winding[1].wire_mm: found 6 mm; accepted: an enamelled wire of 0.05 to 5 mm, or c",
    ),
    (WIRE, f"{WIRE}\nwire_mm = 0.04", "winding[1].wire_mm: found 0.04 mm; accepted: an enamelled wire of 0.05 to 5"),
    (
        "stack_mm = 60",
        "stack_mm = 60\nfill_limit = 1.2",
        "core.fill_limit: found 1.2; accepted: a number above 0, at",
    ),
    ("stack_mm = 60", "stack_mm = 60\nwindow_mm = [20, -1]", "core.window_mm: found [20, -1]; accepted: two lengths"),
    (
        "margin_mm = 3",
        "margin_mm = 28.5",
        "former.margin_mm: found flanges and margins of 60 mm in all; accepted: less",
    ),
    ("margin_mm = 3", "margin_mm = -3", "former.margin_mm: found -3; accepted: a number from 0"),
    ("margin_mm = 3\n", "", "former.margin_mm: found nothing"),
    (
        "flange_mm = 1.5",
        "flange_mm = 1.5\nbase_mm = 20",
        "former.base_mm: found 20 mm; accepted: less than the window",
    ),
    (
        "flange_mm = 1.5",
        "flange_mm = 21",
        "former.flange_mm: found 21 mm; accepted: less than the window's width, 20",
    ),
    ("between_mm = 0.5", 'between_mm = 0.5\norder = ["base"]', 'former.order: found "step 1", "step 2" left out'),
    (
        "between_mm = 0.5",
        'between_mm = 0.5\norder = ["base", "step 1", "step 2", "base"]',
        "former.order: found a winding twice; accepted: each winding of this core once",
    ),
    (
        "between_mm = 0.5",
        'between_mm = 0.5\norder = ["base", "step 1", "stap 2"]',
        'former.order[3]: found "stap 2"; accepted: a winding of this core: "base", "step 1", "step 2"',
    ),
    (CORE, "", "former: found [former] without [core]"),
    (CORE, "\n[core]\narea_mm2 = 2400\n", "former: found a former in a window whose sides are not known"),
    ("copper = 14\n", "", "prices.copper: found nothing"),
    ('currency = "EUR"\n', "", "prices.currency: found nothing"),
    ("iron = 3", "iron = -3", "prices.iron: found -3; accepted: a number from 0"),
    ("iron = 3", 'iron = "3"', 'prices.iron: found "3"'),
    ("iron = 3", "iron = 3\nrelais = 2", "prices.relais: found unknown key"),
    (CORE, f"{CORE}\n[copper]\nenamel_grade = 4\n", "copper.enamel_grade: found 4; accepted: 1, 2 or 3"),
]


@pytest.mark.parametrize(("old", "new", "told"), BAD, ids=[told[:50] for _, _, told in BAD])
def test_one_bad_value_is_told_with_its_place(old: str, new: str, told: str) -> None:
    assert old in WHOLE
    assert told in said(WHOLE.replace(old, new, 1))


def test_a_strip_of_enamel_grade_3_needs_its_covering() -> None:
    strip = WHOLE.replace(WIRE, f"{WIRE}\nstrip_mm = [2, 5]", 1)
    assert parse(strip).windings[0].strip_mm == (2, 5)
    third = strip + "\n[copper]\nenamel_grade = 3\n"
    assert "winding[1].strip_mm: found a strip with enamel of grade 3; accepted: enamel_grade 1 or 2, or c" in said(
        third
    )
    assert parse(third.replace("strip_mm = [2, 5]", "strip_mm = [2, 5]\ncovering_mm = 0.3"))
    assert parse(strip.replace(FORMER, "") + "\n[copper]\nenamel_grade = 3\n")


REQUESTS = [
    (
        "relays_max = 2",
        "relays_max = 2\nvolts_per_turn_max = 0.8",
        "fit.volts_per_turn_max: found 0.8 V a turn, 1.56 T",
    ),
    (
        "relays_max = 2",
        'relays_max = 2\ncores = ["EI 120"]',
        "fit.cores: found cores beside the size of a core in [core]",
    ),
    ("relays_max = 2", "relays_max = 2\nsensing_v = 9", 'fit.sensing_v: found sensing_v with at = "input"'),
    (
        "[sensing]",
        '[sensing]\nat = ["S1", "S2"]',
        'sensing.at: found "S1", "S2" in a request; accepted: "input", "out',
    ),
    (
        "between_mm = 0.6",
        'between_mm = 0.6\norder = ["a"]',
        "former.order: found order in a request; accepted: no order: the windings are not made yet",
    ),
]


@pytest.mark.parametrize(("old", "new", "told"), REQUESTS, ids=[told[:40] for _, _, told in REQUESTS])
def test_one_bad_wish_is_told_with_its_place(old: str, new: str, told: str, tmp_path: object) -> None:
    assert old in GRID
    assert told in asked(GRID.replace(old, new, 1), tmp_path)


def test_a_limit_on_a_turn_s_volts_that_the_core_can_bear(tmp_path: object) -> None:
    """sqrt(2) pi 50 Hz x 1.4 T x 0.96 x 2400 mm2 is 0.71653 V: the file may ask for less, not for more."""
    for volts, fine in (("0.716", True), ("0.717", False)):
        text = GRID.replace("relays_max = 2", f"relays_max = 2\nvolts_per_turn_max = {volts}")
        if fine:
            file = tmp_path / "fine.toml"  # type: ignore[operator]
            file.write_text(text, encoding="utf-8")
            assert load_request(file).fit.volts_per_turn_max is not None
        else:
            assert "accepted: at most 0.7165 V, where it reaches flux_limit_t" in asked(text, tmp_path)


def test_ends_of_a_sensing_winding_that_are_terminals(tmp_path: object) -> None:
    with_volts = GRID.replace("relays_max = 2", "relays_max = 2\nsensing_v = 9")
    for ends in ('["OUT", "S2"]', '["NEUTRAL", "S2"]', '["S1", "LINE"]'):
        text = with_volts.replace("[sensing]", f"[sensing]\nat = {ends}")
        assert "two new points, of which the second may be the neutral" in asked(text, tmp_path)
    for ends in ('["S1", "S2"]', '["S1", "NEUTRAL"]'):
        file = tmp_path / "fine.toml"  # type: ignore[operator]
        file.write_text(with_volts.replace("[sensing]", f"[sensing]\nat = {ends}"), encoding="utf-8")
        assert load_request(file).design.sensing.at == tuple(ends.strip('[]"').split('", "'))


@pytest.mark.parametrize(
    ("copper", "told"),
    [
        (
            "thickest_mm = 0.09",
            "copper.thickest_mm: found no wire from 0 mm to 0.09 mm; accepted: limits with a metric si",
        ),
        ("thinnest_mm = 7", "copper.thinnest_mm: found no wire from 7 mm up; accepted: limits with a metric size"),
        ("thinnest_mm = 2\nthickest_mm = 1", "copper.thickest_mm: found no wire from 2 mm to 1 mm"),
        ("thinnest_mm = 0.41\nthickest_mm = 0.44", "between them, 0.1 to 5 mm"),
        ('series = "awg"\nthinnest_mm = 12', "copper.thinnest_mm: found no wire from 12 mm up"),
        ("thinnest_mm = 0", "copper.thinnest_mm: found 0; accepted: a number above 0"),
    ],
)
def test_limits_that_leave_no_wire(copper: str, told: str) -> None:
    assert told in said(f"{WHOLE}\n[copper]\n{copper}\n")


@pytest.mark.parametrize(
    "copper",
    [
        "thickest_mm = 0.1",
        "thinnest_mm = 5",
        "thinnest_mm = 1\nthickest_mm = 1",
        'series = "awg"\nthinnest_mm = 11.6',
    ],
)
def test_limits_that_leave_just_one_wire(copper: str) -> None:
    assert parse(f"{WHOLE}\n[copper]\n{copper}\n").copper is not None


def test_a_core_by_its_sides_says_how_many_turns_there_are(tmp_path: object) -> None:
    sides = GRID.replace('lamination = "EI 120"\n', "leg_mm = 40\nwindow_mm = [20, 60]\n").replace(
        "total_turns = [150, 400]\n", ""
    )
    file = tmp_path / "sides.toml"  # type: ignore[operator]
    file.write_text(sides, encoding="utf-8")
    assert load_request(file).fit.total_turns is None
    assert "neither total_turns nor taps" in asked(sides.replace("leg_mm = 40\n", ""), tmp_path)
