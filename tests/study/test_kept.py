"""A search kept in a file: what is there is not searched again, and a file of something else is refused."""

from __future__ import annotations

import shutil
from dataclasses import replace
from fractions import Fraction
from math import inf
from pathlib import Path

import pytest

from tapplan import wholefile
from tapplan.errors import DesignError, OutputError
from tapplan.exact import Span
from tapplan.sealed import sealed
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
        ("[1]\n", "cannot be read as a kept search"),
        ('{"kind": "tapplan fit, kept", "request": "0"}\n', "cannot be read as a kept search"),
        (sealed({"kind": "tapplan replay", "request": "0"}), "no kept search"),
        (sealed({"kind": "tapplan fit, kept", "request": "0"}), "the search of another request"),
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
    with pytest.raises(OutputError, match="cannot be written"):
        keeper(str(tmp_path / "no" / "such" / "place"), REQUEST)


def test_a_place_that_can_no_longer_be_written_is_told_at_the_next_wiring(tmp_path: Path) -> None:
    (tmp_path / "there").mkdir()
    file = tmp_path / "there" / "kept"
    keep = keeper(str(file), REQUEST)
    shutil.rmtree(tmp_path / "there")
    with pytest.raises(OutputError) as caught:
        keep(Searched(0, None, inf))
    assert str(caught.value) == f"{file}: cannot be written (No such file or directory)"


def test_what_was_kept_is_there_when_its_file_cannot_be_begun_again(tmp_path: Path) -> None:
    """What was cut off is put away in a new file, which takes the old one's place or does not."""
    file = tmp_path / "kept"
    keeper(str(file), REQUEST)(Searched(0, None, inf))
    file.write_text(file.read_text(encoding="utf-8") + '{"wiring": 1, "tu', encoding="utf-8")
    before = file.read_bytes()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(wholefile.Path, "replace", _full)
        with pytest.raises(OutputError, match="cannot be written"):
            keeper(str(file), REQUEST)
    assert file.read_bytes() == before
    assert read_kept(str(file), REQUEST) == (Searched(0, None, inf),)
    assert [one.name for one in tmp_path.iterdir()] == ["kept"]


def _full(*_: object) -> None:
    raise OSError(28, "No space left on device")
