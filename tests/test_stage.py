"""The door for notebooks: the same answers as the verbs, as rows and pictures that show themselves."""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import Any

import pytest

import tapplan
from tapplan.cli.main import main
from tapplan.errors import DesignError, UsageError
from tapplan.stage import Rows
from tests.examples import ROOT, SHIPPED

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_same_answers_as_the_verbs(path: Path, capsys: Any) -> None:
    stage = tapplan.load(path)
    main(["table", str(path), "--json"])
    bands = json.loads(capsys.readouterr().out)["bands"]
    assert [(row["band"], row["ratio"]) for row in stage.table()] == [(one["name"], one["ratio"]) for one in bands]
    main(["check", str(path), "--json"])
    findings = json.loads(capsys.readouterr().out)["findings"]
    assert [row["message"] for row in stage.check()] == [one["message"] for one in findings]
    main(["states", str(path), "--json"])
    states = json.loads(capsys.readouterr().out)["states"]
    assert [(row["kind"], row["ratio"]) for row in stage.states()] == [(one["kind"], one["ratio"]) for one in states]


def test_rows_show_themselves_and_text_stays_text() -> None:
    stage = tapplan.load(RIDGE)
    assert stage.at(190)[0]["when"] == "rising, start"
    assert stage.at("9999") == ()
    assert "<th>band</th>" in stage.table()._repr_html_()
    assert "&lt;b&gt;" in Rows([{"<b>": "<b>"}])._repr_html_()
    assert Rows()._repr_html_() == "<p>nothing</p>"
    assert stage.curve()._repr_svg_().count("<svg") == 1
    assert stage.schematic(["KL"]).svg != stage.schematic().svg
    assert "Ridge dispensary" in repr(stage)
    assert "Ridge dispensary" in stage._repr_html_()


def test_a_frame_where_a_library_is_installed() -> None:
    pandas = pytest.importorskip("pandas", reason="pandas is not installed: pip install -e '.[engines]'")
    frame = tapplan.load(RIDGE).table().frame()
    assert isinstance(frame, pandas.DataFrame)
    assert list(frame["band"]) == ["boost 2", "boost 1", "direct", "buck"]


def test_without_a_library_there_is_no_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    monkeypatch.setitem(sys.modules, "polars", None)
    with pytest.raises(UsageError, match="neither pandas nor polars"):
        tapplan.load(RIDGE).table().frame()


def test_a_bad_file_is_refused_as_ever(tmp_path: Path) -> None:
    with pytest.raises(DesignError):
        tapplan.load(tmp_path / "missing.toml")
