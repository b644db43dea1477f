"""A search kept in a file: what is there is not searched again, and a file of something else is refused."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from math import inf
from pathlib import Path

import pytest

from tapplan.errors import DesignError, UsageError
from tapplan.exact import Span
from tapplan.study.fitting import How, Searched, fitted
from tapplan.study.kept import keeper, read_kept
from tests.study.requests import asked

F = Fraction
REQUEST = asked(
    (145, 285), (198, 242), hysteresis=F(3), turns=Span(F(100), F(200)), arrangements=("both-sides",), relays_max=3
)


def test_a_search_goes_on_where_it_ended(tmp_path: Path) -> None:
    file = str(tmp_path / "kept")
    asked_so_often = iter(range(1000))
    cut = fitted(REQUEST, How(stop=lambda: next(asked_so_often) > 400, keep=keeper(file, REQUEST), relaxing=False))
    known = read_kept(file, REQUEST)
    assert not cut.finished
    assert known
    seen: list[Searched] = []
    on = fitted(REQUEST, How(known=known, keep=seen.append, relaxing=False))
    whole = fitted(REQUEST, How(relaxing=False))
    assert [(plan.values, plan.proven) for plan in on.plans] == [(plan.values, plan.proven) for plan in whole.plans]
    assert {one.place for one in seen}.isdisjoint(one.place for one in known)


def test_what_is_kept_is_read_again(tmp_path: Path) -> None:
    file = str(tmp_path / "kept")
    keep = keeper(file, REQUEST)
    told = [Searched(0, (100, 120), -inf), Searched(1, None, 7.5), Searched(2, None, inf)]
    for one in told:
        keep(one)
    assert read_kept(file, REQUEST) == tuple(told)
    Path(file).write_text(Path(file).read_text(encoding="utf-8") + '{"wiring": 3, "tu', encoding="utf-8")
    assert read_kept(file, REQUEST) == tuple(told)  # a line cut off is searched again
    keeper(file, REQUEST)(Searched(3, None, -inf))
    assert read_kept(file, REQUEST)[-1] == Searched(3, None, -inf)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("volts; weight\n", "cannot be read as a kept search"),
        ("[1]\n", "no kept search"),
        ('{"kind": "tapplan fit, kept", "request": "0"}\n', "the search of another request"),
    ],
)
def test_a_file_of_something_else_is_refused(text: str, said: str, tmp_path: Path) -> None:
    file = tmp_path / "kept"
    file.write_text(text, encoding="utf-8")
    with pytest.raises(DesignError, match=said):
        read_kept(str(file), REQUEST)
    assert file.read_text(encoding="utf-8") == text


def test_a_bad_line_is_told_with_its_number(tmp_path: Path) -> None:
    file = str(tmp_path / "kept")
    keeper(file, REQUEST)
    Path(file).write_text(Path(file).read_text(encoding="utf-8") + "{}\n", encoding="utf-8")
    with pytest.raises(DesignError, match="kept:2: "):
        read_kept(file, REQUEST)


def test_another_request_has_another_mark(tmp_path: Path) -> None:
    file = str(tmp_path / "kept")
    keeper(file, REQUEST)
    with pytest.raises(DesignError, match="another request"):
        read_kept(file, replace(REQUEST, hysteresis=F(2)))


def test_a_place_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="cannot be written"):
        keeper(str(tmp_path / "no" / "such" / "place"), REQUEST)
