"""A drawing in fewer letters shows the same: places to a hundredth, words untouched, only grids joined."""

from __future__ import annotations

from tapplan.pictures.plainer import plainer

DRESS = ".small { fill: red; font: 11px sans-serif }\n.bar { fill: blue }\n"


def test_places_are_rounded_and_words_are_not() -> None:
    body = '<text x="1.23456" y="-2.0" font-size="11" class="small">ratio 0.884808</text>\n<title>1.23456</title>\n'
    assert plainer(body, DRESS) == '<text x="1.23" y="-2" class="small">ratio 0.884808</text><title>1.23456</title>'


def test_a_size_stays_where_no_rule_sets_one() -> None:
    body = '<text x="1" y="2" font-size="9" class="bar">a</text>'
    assert plainer(body, DRESS) == body
    assert plainer('<text font-size="9">a</text>', DRESS) == '<text font-size="9">a</text>'


def test_lines_of_a_grid_are_one_path_and_nothing_else_is() -> None:
    grid = '<path d="M0,0 L1,1.006" class="grid" />\n<path d="M2,2 L3,3" class="grid" />\n'
    other = '<path d="M0,0 L1,1" class="day" />\n<path d="M2,2 L3,3" class="day" />'
    told = plainer(grid + other, DRESS)
    assert told == (
        '<path d="M0,0 L1,1.01M2,2 L3,3" class="grid"/>'
        '<path d="M0,0 L1,1" class="day"/><path d="M2,2 L3,3" class="day"/>'
    )


def test_a_place_within_a_transform_is_rounded_and_a_name_is_kept() -> None:
    body = '<g id="net-1.23456" transform="rotate(-90 12 265.15176)"><defs>\n</defs>\n</g>'
    assert plainer(body, DRESS) == '<g id="net-1.23456" transform="rotate(-90 12 265.15)"></g>'
