"""A board without a drawing, learnt on the command line: asked for reading after reading, then written."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from random import Random
from typing import Any

from tapplan.bench.phrase import Names
from tapplan.bench.readings import reading_of
from tapplan.bench.words import measure_told
from tapplan.cli.main import main
from tests.bench.undrawn import BenchBoard, MeterError, frame_text, wound_on
from tests.examples import design

FRAME = frame_text("LINE", "OUT")
TAPS = (("foot", "N", "T1", 240), ("one", "T1", "T2", 24), ("two", "T2", "T3", 30))
LINKS = {"K1": ("LINE", "T1", "T3"), "K2": ("OUT", "T2", "T1")}
FINE = ["--test-winding", "TX", "TY", "20", "--meter-pct", "0.01", "--meter-v", "0.01"]
MOST = 60


def test_readings_are_asked_for_until_the_board_is_known_and_can_be_written(capsys: Any, tmp_path: Path) -> None:
    """It starts from names alone: two relays and six points, every section of 0.4 ohm."""
    frame, file, made = tmp_path / "frame.toml", tmp_path / "board.csv", tmp_path / "made.toml"
    frame.write_text(FRAME)
    wound = wound_on(design(TAPS, LINKS))
    ohms = dict.fromkeys((one.name for one in wound.windings), 0.4)
    board = BenchBoard(wound, Random("shell"), MeterError(0.0001, 0.0001), ohms)
    points = ("LINE", "OUT", "T1", "T2", "T3")
    rows = [("off", f"ohms {point} N", "unknown") for point in points]
    rows += [("off", f"coil-ohms {relay}", "unknown") for relay in LINKS]
    call = ["bench", str(frame), "--learn", str(file), *FINE]
    for _ in range(MOST):
        with file.open("w", newline="") as out:
            csv.writer(out).writerows([("condition", "measure", "reading"), *rows])
        code = main([*call, "--json"])
        found = json.loads(capsys.readouterr().out)
        assert (code == 0) == found["settled"] == (found["next"] is None)
        if found["settled"]:
            break
        asked = found["next"]
        measure = reading_of(f"{asked['reading']} = 1", Names(None, None, (), ("OUT", "N"))).measure
        assert measure_told(measure) == asked["measure"]
        rows.append((asked["condition"], asked["measure"], f"{float(board.answer(measure).value or 0):.5f}"))
    assert found["wirings"] == [
        {"K1": [{"com": "LINE", "nc": "T1", "no": "T3"}], "K2": [{"com": "OUT", "nc": "T2", "no": "T1"}]}
    ]
    assert [one["turns"] for one in found["sections"]] == [240, 24, 30]
    assert main([*call, "-o", str(made)]) == 0
    capsys.readouterr()
    assert main(["states", str(made), "--json"]) == 0
    states = json.loads(capsys.readouterr().out)["states"]
    assert {one["ratio"] for one in states} == {"11/10", "44/49", "1", "40/49"}


def test_the_screen_names_the_next_reading_last(capsys: Any, tmp_path: Path) -> None:
    frame, file = tmp_path / "frame.toml", tmp_path / "board.csv"
    frame.write_text(FRAME)
    file.write_text("condition,measure,reading\noff,ohms LINE T1,0.1\noff coils K1,ohms LINE T1,open\n")
    assert main(["bench", str(frame), "--learn", str(file)]) == 1
    shown = capsys.readouterr().out
    assert "Not settled yet.\nNext: low 3 V on LINE N: volts OUT N\n" in shown
    assert shown.index("Next:") < shown.index("Caution")
