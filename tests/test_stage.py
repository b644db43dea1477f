"""The door for notebooks: the same answers as the verbs, as values that show themselves, and the same refusals."""

from __future__ import annotations

import json
import sys
from collections.abc import Callable
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

import tapplan
from tapplan.answers.answer import Answer
from tapplan.cli.main import main
from tapplan.errors import DesignError, UsageError
from tapplan.stage import Stage, fit
from tests.examples import ROOT, SHIPPED

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
COAST = ROOT / "designs" / "requests" / "coast-road.toml"
READING = "line 200 V rising: output = 226"

ASKED: dict[str, tuple[Callable[[Stage], Answer], tuple[str, ...]]] = {
    "states": (lambda stage: stage.states(), ()),
    "groups": (lambda stage: stage.groups(), ("states", "--grouped")),
    "bands": (lambda stage: stage.bands(), ()),
    "table": (lambda stage: stage.table(), ()),
    "check": (lambda stage: stage.check(), ()),
    "only": (lambda stage: stage.findings(["move-gap"]), ("check", "--only", "move-gap")),
    "explain": (lambda stage: stage.explain("chatter"), ("check", "--explain", "chatter")),
    "at": (lambda stage: stage.at(190), ("at", "190")),
    "at several": (lambda stage: stage.at(190, "230.5"), ("at", "190", "230.5")),
    "faults": (lambda stage: stage.faults(), ()),
    "rate": (lambda stage: stage.rate(), ()),
    "margins": (lambda stage: stage.margins(), ()),
    "margins drawn": (lambda stage: stage.margins(500, 3), ("margins", "--samples", "500", "--seed", "3")),
    "steps": (lambda stage: stage.steps(), ()),
    "moves": (lambda stage: stage.moves(), ()),
    "bench": (lambda stage: stage.bench(), ()),
    "isolate": (lambda stage: stage.isolate([READING]), ("isolate", "--reading", READING)),
}  # fmt: skip


def told(path: Path, capsys: Any, *words: str) -> dict[str, Any]:
    """What a verb answers to scripts, without what the command line adds."""
    verb, *more = words
    main([verb, str(path), *more, "--json"])
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    return {key: value for key, value in answer.items() if key not in ("verb", "design", "version")}


@pytest.mark.parametrize("name", ASKED)
def test_every_method_answers_what_its_verb_answers(name: str, capsys: Any) -> None:
    ask, words = ASKED[name]
    assert json.loads(json.dumps(ask(tapplan.load(RIDGE)).as_json())) == told(RIDGE, capsys, *(words or (name,)))


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_the_verdict_and_the_table_of_every_shipped_design(path: Path, capsys: Any) -> None:
    stage = tapplan.load(path)
    assert json.loads(json.dumps(stage.table().as_json())) == told(path, capsys, "table")
    assert json.loads(json.dumps(stage.check().as_json())) == told(path, capsys, "check")


def test_two_revisions_and_a_request(capsys: Any) -> None:
    older = ROOT / "designs" / "hostel-review.toml"
    found = tapplan.load(RIDGE).compare(tapplan.load(older)).as_json()
    asked = told(older, capsys, "compare", str(RIDGE))
    assert json.loads(json.dumps(found)) == {key: value for key, value in asked.items() if key != "new"}
    assert json.loads(json.dumps(fit(COAST).as_json())) == told(COAST, capsys, "fit")


def test_the_exports_are_those_of_the_verb(capsys: Any) -> None:
    stage = tapplan.load(RIDGE)
    for form in ("c", "logic", "vectors", "csv", "markdown", "spice"):
        assert stage.export(form) == told(RIDGE, capsys, "export", "--to", form)["text"]
    assert json.loads(stage.export("decisions"))["coils"]["boost 2"] == ["KL", "KO"]
    assert stage.report() == told(RIDGE, capsys, "report")["text"]
    with pytest.raises(UsageError, match='found "wood"; accepted: c, decisions'):
        stage.export("wood")


def test_answers_show_themselves_and_text_stays_text(tmp_path: Path) -> None:
    stage = tapplan.load(RIDGE)
    assert '<th scope="col">band</th>' in stage.table()._repr_html_()
    assert stage._repr_html_() == stage.table()._repr_html_()
    assert stage.findings(["dead-zone"])._repr_html_().endswith("<p>nothing</p>")
    assert stage.curve()._repr_svg_().count("<svg") == 1
    assert stage.schematic(["KL"]).svg != stage.schematic().svg
    assert "Ridge dispensary" in repr(stage)
    hostile = tmp_path / "hostile.toml"
    hostile.write_text(RIDGE.read_text(encoding="utf-8").replace('"boost 2"', '"<b>2</b>"'), encoding="utf-8")
    shown = tapplan.load(hostile).table()._repr_html_()
    assert "&lt;b&gt;2&lt;/b&gt;" in shown
    assert "<b>2" not in shown


def test_a_notebook_asks_an_answer_for_its_table() -> None:
    """By the very formatter that a notebook uses."""
    display = pytest.importorskip("IPython.core.formatters", reason="IPython is not installed: pip install ipython")
    stage = tapplan.load(RIDGE)
    shown = display.DisplayFormatter().format(stage.margins())[0]
    assert shown["text/html"].count("<tr>") == 1 + len(stage.margins().margins)
    assert display.DisplayFormatter().format(stage.curve())[0]["image/svg+xml"].startswith("<?xml")


def test_a_frame_has_a_column_a_field_with_plain_values() -> None:
    pandas = pytest.importorskip("pandas", reason="pandas is not installed: pip install -e '.[engines]'")
    table = tapplan.load(RIDGE).table()
    frame = table.frame()
    assert isinstance(frame, pandas.DataFrame)
    assert list(frame["band"]) == ["boost 2", "boost 1", "direct", "buck"]
    assert list(frame["energised"]) == ["KL+KO", "KL", "KO", ""]
    assert list(frame["hold_low_v"]) == [166, 189, 214, 242]
    assert list(frame["ratio"]) == ["599/469", "530/469", "1", "530/599"]
    assert list(frame["worst_output_high_v"]) == [float(row.worst_output_v.high) for row in table.bands]
    assert len(table.frame("gaps")) == 0
    with pytest.raises(UsageError, match="found part 'relays'; accepted: bands, gaps"):
        table.frame("relays")


def test_without_a_library_there_is_no_frame(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pandas", None)
    monkeypatch.setitem(sys.modules, "polars", None)
    with pytest.raises(UsageError, match="neither pandas nor polars"):
        tapplan.load(RIDGE).table().frame()


@pytest.mark.parametrize(
    ("ask", "said"),
    [
        (lambda stage: stage.findings(["deadzone"]), r'found code "deadzone"; .* \(nearest known: "dead-zone"\)'),
        (lambda stage: stage.findings("dead-zone"), r"found 'dead-zone'; accepted: a list of codes"),
        (lambda stage: stage.explain("x"), 'found code "x"'),
        (lambda stage: stage.schematic(["ZZ"]), "found relay 'ZZ'; accepted: KL, KO"),
        (lambda stage: stage.schematic("KL"), "found the text 'KL'; accepted: a list"),
        (lambda stage: stage.isolate("KL"), "found the text 'KL'; accepted: a list"),
        (lambda stage: stage.at(float("nan")), "found nan as volts; accepted: a number from 0 to 1e9"),
        (lambda stage: stage.at(float("inf")), "found inf as volts"),
        (lambda stage: stage.at("1/0"), "found '1/0' as volts"),
        (lambda stage: stage.at("-1"), "found '-1' as volts"),
        (lambda stage: stage.at(True), "found True as volts"),
        (lambda stage: stage.at(10**9 + 1), "as volts; accepted"),
        (lambda stage: stage.at(), "found no voltage; accepted: at least one"),
        (lambda stage: stage.steps("nothing"), 'found curve "nothing"; accepted: '),
        (lambda stage: stage.margins(-1), "found -1 samples; accepted: a whole number up to 10000000"),
        (lambda stage: stage.margins(10, -1), "found seed -1; accepted"),
    ],
)  # fmt: skip
def test_it_refuses_what_the_command_line_refuses(ask: Callable[[Stage], object], said: str) -> None:
    with pytest.raises(UsageError, match=said):
        ask(tapplan.load(RIDGE))


def test_the_ends_of_what_is_accepted() -> None:
    stage = tapplan.load(RIDGE)
    assert stage.at(0).points[0].outside == "backup"
    assert stage.at(Fraction(10**9)).points[0].answers == ()
    assert [one.band for one in stage.at("190").points[0].answers] == ["boost 2", "boost 1"]


def test_a_bad_file_is_refused_as_ever(tmp_path: Path) -> None:
    with pytest.raises(DesignError):
        tapplan.load(tmp_path / "missing.toml")


def test_the_winding_sheet_and_its_picture(capsys: Any) -> None:
    hut = ROOT / "designs" / "shepherds-hut.toml"
    sheet = json.loads(json.dumps(tapplan.load(hut).winding().as_json()))
    assert sheet == {
        key: value
        for key, value in told(hut, capsys, "export", "--to", "winding").items()
        if key not in ("to", "text")
    }
    assert "copper0" in tapplan.load(hut).coil()._repr_svg_()
    with pytest.raises(UsageError, match="found no coil whose layers are known"):
        tapplan.load(RIDGE).winding()
