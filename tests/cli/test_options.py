"""Options that do not go together are refused by name; a document goes to its file and its JSON to the screen."""

from __future__ import annotations

import argparse
import json
from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest

from tapplan.cli.main import main
from tapplan.cli.options import Excludes, Needs
from tapplan.cli.values import volts
from tapplan.cli.verbs import VERBS, verb_of
from tests.examples import ROOT

F = Fraction
RIDGE = str(ROOT / "designs" / "ridge-dispensary.toml")
READING = ("--reading", "line 200 V rising: output = 177")


def refused(capsys: Any, *words: str) -> str:
    try:
        code = main(words)
    except SystemExit as ended:
        code = ended.code
    told = capsys.readouterr()
    assert (code, told.out) == (2, "")
    return str(told.err).strip()


@pytest.mark.parametrize(
    ("call", "said"),
    [
        (("check", RIDGE, "--only", "chatter", "--explain", "chatter"), "found --only with --explain"),
        (("check", RIDGE, "--all", "--explain", "chatter"), "found --all with --explain"),
        (("check", RIDGE, "--format", "sarif", "--json"), "found --format sarif with --json"),
        (
            ("isolate", RIDGE, *READING, "--any-revision"),
            "found --any-revision alone; accepted: together with --sheet",
        ),
        (("isolate", RIDGE, "--tree", "--ask"), "found --tree with --ask"),
        (("isolate", RIDGE, "--tree", "--pairs"), "found --tree with --pairs"),
        (("isolate", RIDGE, "--ask", "--json"), "found --ask with --json"),
        (("bench", RIDGE, "--learn", "x.csv", "--to", "csv"), "found --learn with --to"),
        (("bench", RIDGE, "--test-winding", "A", "B", "3"), "found --test-winding alone"),
        (("bands", RIDGE, "--order", "safest"), "found --order alone; accepted: together with --write"),
        (("at", RIDGE, "200", "--both-ways"), "found --both-ways alone; accepted: together with --sweep"),
        (("margins", RIDGE, "--seed", "0"), "found --seed alone; accepted: together with --samples"),
        (("export", RIDGE, "--picture", "schematic", "-o", "foo.h"), "found --picture with c; accepted"),
        (("export", RIDGE, "-o", "foo.xyz"), "found -o foo.xyz without --to; accepted: --to c"),
        (("at", RIDGE, "200", "--jsn"), "found --jsn; accepted: what tapplan at --help lists"),
        (("tabel", RIDGE), 'found verb "tabel"; accepted: new, states'),
        (("completion", "fish"), 'shell: found "fish"; accepted: bash, zsh, tcsh'),
        (("check", RIDGE, "--format", "x"), '--format: found "x"; accepted: screen, sarif'),
    ],
)
def test_what_does_not_go_together_is_refused(call: tuple[str, ...], said: str, capsys: Any) -> None:
    assert said in refused(capsys, *call)


def test_a_verb_written_wrong_is_told_the_nearest(capsys: Any) -> None:
    assert refused(capsys, "tabel", RIDGE).endswith('(nearest known: "table")')


def test_every_law_is_about_options_of_its_verb() -> None:
    import argparse

    seen = 0
    for name in VERBS:
        made = argparse.ArgumentParser()
        verb_of(name).arguments(made)
        own = {option for action in made._actions for option in action.option_strings} | {"--json", "--force"}
        for law in getattr(verb_of(name), "LAWS", ()):
            assert isinstance(law, Needs | Excludes)
            assert {law.option.partition(" ")[0], law.other.partition(" ")[0]} <= own
            seen += 1
    assert seen >= 12


@pytest.mark.parametrize(
    ("call", "begins"),
    [
        (("report", RIDGE), "<!DOCTYPE html>"),
        (("export", RIDGE, "--to", "c"), "/*"),
        (("bench", RIDGE, "--to", "csv"), "fingerprint,"),
    ],
)
def test_a_document_goes_to_its_file_and_its_json_to_standard_output(
    call: tuple[str, ...], begins: str, tmp_path: Path, capsys: Any
) -> None:
    file, plain = tmp_path / "out", tmp_path / "plain"
    main((*call, "-o", str(plain)))
    capsys.readouterr()
    main((*call, "-o", str(file), "--json"))
    assert json.loads(capsys.readouterr().out)["verb"] == call[0]
    assert file.read_text(encoding="utf-8") == plain.read_text(encoding="utf-8")
    assert file.read_text(encoding="utf-8").lower().startswith(begins.lower())


def test_an_answer_that_is_no_document_goes_to_its_file_as_json(tmp_path: Path, capsys: Any) -> None:
    file = tmp_path / "table.json"
    assert main(("table", RIDGE, "--json", "-o", str(file))) == 0
    assert capsys.readouterr().out == ""
    assert json.loads(file.read_text(encoding="utf-8"))["verb"] == "table"


@pytest.mark.parametrize(
    ("text", "value"),
    [("190,5", F(381, 2)), ("190 V", F(190)), ("190V", F(190)), ("0,19 kV", F(190)), ("190", F(190))],
)
def test_volts_as_people_write_them(text: str, value: F) -> None:
    assert volts(text) == value


@pytest.mark.parametrize("text", ["1,234.5", "1,2,3", "-3", "190 ohm", "1_0", "0x3", "", "V"])
def test_what_are_no_volts_is_refused(text: str) -> None:
    with pytest.raises(argparse.ArgumentTypeError, match="accepted: volts from 0"):
        volts(text)
