"""The verbs of the bench as a repairer calls them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from tapplan.cli.main import main
from tests.bench.undrawn import frame_text
from tests.examples import ROOT

RIDGE = str(ROOT / "designs" / "ridge-dispensary.toml")
FORMS = [("csv", "fingerprint,"), ("md", "| step |"), ("html", "<!DOCTYPE html>")]
OPEN_COIL = ["--reading", "off: coil-ohms KO = open"]


def answered(capsys: Any, *words: str) -> tuple[int, Any]:
    code = main([*words, "--json"])
    return code, json.loads(capsys.readouterr().out)


def test_isolate_names_the_fault_and_exits_with_1(capsys: Any) -> None:
    code, found = answered(capsys, "isolate", RIDGE, *OPEN_COIL)
    assert code == 1
    assert found["groups"][0]["candidates"] == [[{"part": "KO", "fault": "coil-open", "told": "KO coil-open"}]]
    assert found["groups"][0]["share"] > 0.9
    assert not found["firm"]  # until it was seen in another way
    assert found["next"] is not None
    assert "kill" in found["caution"]


def test_isolate_without_readings_proposes_the_first_and_exits_with_0(capsys: Any) -> None:
    code, found = answered(capsys, "isolate", RIDGE)
    assert code == 0
    assert found["next"]["bits"] > 1
    assert found["next"]["condition"].startswith(("off", "low"))
    fits = [
        str(each) for one in found["next"]["outcomes"] for each in one["fits"] if "shorted-turns" not in str(each)
    ]
    assert len(fits) == len(set(fits))  # every hypothesis stands in one line, but for turns shorted more or less


def test_isolate_takes_a_filled_sheet(capsys: Any, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.csv"
    assert main(["bench", RIDGE, "-o", str(sheet)]) == 0
    capsys.readouterr()
    lines = sheet.read_text().splitlines()
    place = next(number for number, line in enumerate(lines) if "coil-ohms KO" in line)
    cells = lines[place].split(",")
    cells[-2] = "OL"
    lines[place] = ",".join(cells)
    sheet.write_text("\n".join(lines) + "\n")
    code, found = answered(capsys, "isolate", RIDGE, "--sheet", str(sheet))
    assert code == 1
    assert found["groups"][0]["candidates"][0][0]["told"] == "KO coil-open"
    assert found["cells_empty"] == len(lines) - 3
    assert main(["isolate", str(ROOT / "designs" / "signal-box.toml"), "--sheet", str(sheet)]) == 2
    assert "another revision" in capsys.readouterr().err


def test_the_dialogue_asks_until_nothing_more_tells(capsys: Any, monkeypatch: Any) -> None:
    answers = iter(["nonsense\n", "unknown\n", "0\n"])
    monkeypatch.setattr("sys.stdin.readline", lambda: next(answers, "stop\n"))
    assert main(["isolate", RIDGE, "--ask"]) in (0, 1)
    shown = capsys.readouterr().out
    assert 'found "nonsense"' in shown
    assert shown.count("Next: ") >= 3
    assert shown.index("Caution") < shown.index("Next: ")


def test_the_tree_leads_from_step_to_step(capsys: Any) -> None:
    code, found = answered(capsys, "isolate", str(ROOT / "designs" / "spring-pump.toml"), "--tree")
    steps = {step["step"]: step for step in found["tree"]["steps"]}
    assert code == 0
    assert set(steps) == set(range(1, len(steps) + 1))
    assert found["tree"]["begins"] == {"step": 1}
    named = {one["step"] for step in steps.values() for one in step["outcomes"] if "step" in one}
    assert named == set(steps) - {1}
    assert main(["isolate", str(ROOT / "designs" / "spring-pump.toml"), "--tree"]) == 0
    assert "go to 2" in capsys.readouterr().out


def test_priors_of_a_workshop(capsys: Any, tmp_path: Path) -> None:
    priors = tmp_path / "priors.toml"
    priors.write_text('"KL stuck-rest" = 900\nnone = 1\n')
    _, found = answered(capsys, "isolate", RIDGE, "--priors", str(priors))
    assert found["groups"][0]["candidates"][0][0]["told"] == "KL stuck-rest"
    priors.write_text('"KL stuk-rest" = 900\nlost = 0\n')
    assert main(["isolate", RIDGE, "--priors", str(priors)]) == 2
    message = capsys.readouterr().err
    assert 'nearest known: "KL stuck-rest"' in message
    assert "priors.toml:2: lost: found 0; accepted: a number above 0" in message


@pytest.mark.parametrize(
    "words",
    [
        ["isolate", RIDGE, "--reading", "line 203 V rising: ohms LINE OUT = 3"],
        ["isolate", RIDGE, "--meter-pct", "0"],
        ["isolate", RIDGE, "--meter-v", "x"],
        ["isolate", RIDGE, "--sheet", "missing.csv"],
        ["isolate", RIDGE, "--priors", "missing.toml"],
        ["isolate", RIDGE, "--ask", "--json"],
        ["isolate", RIDGE, "--tree", "--pairs"],
        ["isolate", RIDGE, "--plan", "--tree"],
        ["bench", RIDGE, "--test-winding", "A", "B", "20"],
        ["bench", RIDGE, "--learn", "missing.csv"],
        ["bench", RIDGE, "--to", "pdf"],
    ],
)
def test_bad_calls_are_refused_in_one_message(words: list[str], capsys: Any) -> None:
    try:
        code = main(words)
    except SystemExit as stopped:
        code = stopped.code
    assert code == 2
    assert "accepted" in (message := capsys.readouterr().err) or "choose from" in message
    assert "Traceback" not in message


@pytest.mark.parametrize(
    ("ending", "has"), [("csv", "fingerprint,"), ("md", "| step |"), ("html", "<!DOCTYPE html>")]
)
def test_the_sheet_in_every_form(ending: str, has: str, tmp_path: Path, capsys: Any) -> None:
    target = tmp_path / f"sheet.{ending}"
    assert main(["bench", RIDGE, "-o", str(target)]) == 0
    text = target.read_text()
    assert has in text
    if ending != "csv":
        assert "local codes" in text
        assert text.index("kill") < text.index("Power off")
    assert main(["bench", RIDGE, "-o", str(target)]) == 2
    assert main(["bench", RIDGE]) == 0
    shown = capsys.readouterr().out
    assert "Rising sweep" in shown
    assert "Caution" in shown


FRAME = frame_text("L", "O")

BOARD = """condition,measure,reading
off,ohms L A,0.1
off,ohms L B,30
off,ohms A B,30
off coils K1,ohms L A,30
off coils K1,ohms L B,"0,2"
off coils K1,ohms A B,30
low 12 V on B N,volts B N,12
low 12 V on B N,volts A N,10
low 12 V on B N,volts A B,2.0
low 12 V on B N,volts O N,11
low 12 V on B N,volts O B,1
low 12 V on B N,volts X Y,1
"""


def test_a_board_is_learnt_and_written(capsys: Any, tmp_path: Path) -> None:
    frame, board, made = tmp_path / "frame.toml", tmp_path / "board.csv", tmp_path / "made.toml"
    frame.write_text(FRAME)
    board.write_text(BOARD)
    fine = ["--meter-pct", "0.1", "--meter-v", "0.01", "--test-winding", "X", "Y", "24"]
    code, found = answered(capsys, "bench", str(frame), "--learn", str(board), *fine)
    assert code == 0
    assert found["wirings"] == [{"K1": [{"com": "L", "nc": "A", "no": "B"}]}]
    assert [one["turns"] for one in found["sections"]] == [240, 24, 24]
    assert main(["bench", str(frame), "--learn", str(board), *fine, "-o", str(made)]) == 0
    capsys.readouterr()
    _, states = answered(capsys, "states", str(made))
    assert [one["ratio"] for one in states["states"]] == ["11/10", "11/12"]


def test_an_unsettled_board_exits_with_1_and_a_bad_cell_with_2(capsys: Any, tmp_path: Path) -> None:
    frame, board = tmp_path / "frame.toml", tmp_path / "board.csv"
    frame.write_text(FRAME)
    board.write_text("condition,measure,reading\noff,ohms L A,0.1\noff coils K1,ohms L A,open\n")
    code, found = answered(capsys, "bench", str(frame), "--learn", str(board))
    assert code == 1
    assert found["settled"] is False
    board.write_text("condition,measure,reading\noff,ohms L A,0.1 V\n")
    assert main(["bench", str(frame), "--learn", str(board)]) == 2
    assert "board.csv:2: reading" in capsys.readouterr().err
