"""The verb `replay`: its keys, logs beside each other, what is kept and gone on from, what it refuses."""

from __future__ import annotations

import gzip
import os
import shlex
import signal
import subprocess
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from tapplan.logs.samples import Chunk
from tapplan.logs.sources import FileLog, Portions
from tests.examples import ROOT

RIDGE = ROOT / "designs" / "ridge-dispensary.toml"
HOSTEL = ROOT / "designs" / "hostel-review.toml"
HOUSEHOLD = ROOT / "designs" / "logs" / "household-2007-01.csv.gz"
ROWS = ("2024-01-01T00:00:00,230.5", "2024-01-01T00:00:01,250", "2024-01-01T00:00:02,228", "2024-01-01T00:00:03,160")


def log(path: Path, *rows: str) -> Path:
    path.write_text("\n".join(["time,volts", *(rows or ROWS)]) + "\n", encoding="utf-8")
    return path


def test_keys_of_the_answer(call: Any, tmp_path: Path) -> None:
    """230.5 V: direct. 250 V: buck. 228 V: direct. 160 V lies below 164 V, where the load leaves."""
    reply = call("replay", RIDGE, log(tmp_path / "a.csv"), "--json")
    assert reply.code == 0
    answer = reply.json
    assert (answer["samples"], answer["bad"], answer["gaps"], answer["transfers"]) == (4, 0, 0, 1)
    changes = [(one["from"], one["to"], one["count"]) for one in answer["changes"]]
    assert changes == [("direct", "buck", 1), ("direct", "away", 1), ("buck", "direct", 1)]
    assert answer["moves"] == {"KL": 0, "KO": 3}
    assert answer["seconds"] == {"boost 2": 0, "boost 1": 0, "direct": 2, "buck": 1, "away": 1, "gap": 0}
    assert answer["outside_s"] == 1
    assert "sites" not in answer
    assert (answer["step_s"], answer["max_gap_s"]) == (1, 3)


def test_several_logs_are_sites(call: Any, tmp_path: Path) -> None:
    one, other = log(tmp_path / "a.csv"), log(tmp_path / "b.csv", ROWS[0], ROWS[1])
    answer = call("replay", RIDGE, one, other, "--json").json
    assert [site["log"] for site in answer["sites"]] == [str(one), str(other)]
    assert [site["samples"] for site in answer["sites"]] == [4, 2]
    assert answer["samples"] == 6
    folder = call("replay", RIDGE, tmp_path, "--json").json
    assert [site["samples"] for site in folder["sites"]] == [4, 2]
    joined = call("replay", RIDGE, one, log(tmp_path / "c.csv", "2024-01-01T00:00:04,230"), "--joined", "--json").json
    assert joined["samples"] == 5
    assert "sites" not in joined


def test_cores_change_nothing(call: Any, tmp_path: Path) -> None:
    for number in range(3):
        log(tmp_path / f"{number}.csv", *ROWS[: number + 2])
    alone, shared = (call("replay", RIDGE, tmp_path, "--cores", cores, "--json").json for cores in ("1", "2"))
    assert alone == shared
    assert len(alone["sites"]) == 3


def test_designs_beside_each_other(call: Any) -> None:
    answer = call("replay", RIDGE, HOUSEHOLD, "--beside", HOSTEL, "--json").json
    assert [one["design"] for one in answer["beside"]] == [str(RIDGE), str(HOSTEL)]
    alone = call("replay", HOSTEL, HOUSEHOLD, "--json").json
    assert answer["beside"][1]["outside_s"] == alone["outside_s"]
    assert answer["beside"][1]["moves"] == sum(alone["moves"].values())


def test_the_spread_is_written_for_fit(call: Any, tmp_path: Path) -> None:
    spread = tmp_path / "spread.csv"
    assert call("replay", RIDGE, HOUSEHOLD, "--spread", spread).code == 0
    asked = ROOT / "designs" / "requests" / "coast-road.toml"
    weighed = asked.read_text(encoding="utf-8")
    assert spread.read_text(encoding="utf-8").startswith("# ")
    assert sum(float(line.split(",")[1]) for line in spread.read_text().splitlines() if line[0] != "#") == 28 * 86400
    assert "relays_max" in weighed
    again = call("replay", RIDGE, HOUSEHOLD, "--spread", spread)
    assert again.code == 2
    assert "--force" in again.err


def test_what_is_kept_is_not_run_again(call: Any, tmp_path: Path) -> None:
    logs = tmp_path / "logs"
    logs.mkdir()
    one, other = log(logs / "a.csv"), log(logs / "b.csv", ROWS[0], ROWS[1])
    kept = tmp_path / "kept.jsonl"
    first = call("replay", RIDGE, logs, "--keep", kept, "--json").json
    assert len(kept.read_text().splitlines()) == 2
    stand = os.stat(other)
    other.write_text(other.read_text().replace("230.5", "160.5"), encoding="utf-8")  # the same size
    os.utime(other, ns=(stand.st_atime_ns, stand.st_mtime_ns))
    assert call("replay", RIDGE, logs, "--keep", kept, "--json").json == first  # the file stands as it did
    os.utime(one)
    assert call("replay", RIDGE, logs, "--keep", kept, "--json").json == first
    assert len(kept.read_text().splitlines()) == 3  # run again, for it was written anew
    other.write_text(other.read_text(), encoding="utf-8")
    assert call("replay", RIDGE, logs, "--keep", kept, "--json").json["seconds"] != first["seconds"]
    assert call("replay", HOSTEL, logs, "--keep", kept, "--json").code == 0  # of another design nothing is kept
    assert len(kept.read_text().splitlines()) == 6


def test_a_kept_line_that_was_cut_short_is_run_again(call: Any, tmp_path: Path) -> None:
    path, kept = log(tmp_path / "a.csv"), tmp_path / "kept.jsonl"
    first = call("replay", RIDGE, path, "--keep", kept, "--json").json
    whole = kept.read_text()
    kept.write_text(whole + whole[: len(whole) // 2])
    assert call("replay", RIDGE, path, "--keep", kept, "--json").json == first
    assert kept.read_text() == whole


@pytest.mark.parametrize("content", ["volts,time\n", "{}\n", "[1]\n", "no line end"])
def test_another_file_is_not_kept_in(call: Any, tmp_path: Path, content: str) -> None:
    kept = tmp_path / "kept.jsonl"
    kept.write_text(content)
    reply = call("replay", RIDGE, log(tmp_path / "a.csv"), "--keep", kept)
    assert reply.code == 2
    assert "found no finished log; accepted: a file that replay --keep wrote, or a new name" in reply.err
    assert kept.read_text() == content


def test_a_full_disk_leaves_what_was_kept(call: Any, tmp_path: Path) -> None:
    """A file may grow to so many kilobytes here; the line of the second log no longer fits."""
    logs = tmp_path / "logs"
    logs.mkdir()
    log(logs / "a.csv")
    kept = tmp_path / "kept.jsonl"
    call("replay", RIDGE, logs, "--keep", kept)
    whole = kept.read_text()
    log(logs / "b.csv", ROWS[1], ROWS[2])
    words = [sys.executable, "-m", "tapplan", "replay", str(RIDGE), str(logs), "--keep", str(kept)]
    limit = len(whole) // 1024 + 1
    done = subprocess.run(
        f"ulimit -f {limit} && exec {shlex.join(words)}", shell=True, capture_output=True, text=True
    )
    assert done.returncode == 2
    assert f"{kept}: cannot be written (File too large)" in done.stderr
    assert kept.read_text() == whole


def test_no_folder_or_device_is_kept_in(call: Any, tmp_path: Path) -> None:
    for path in (tmp_path, "/dev/full"):
        reply = call("replay", RIDGE, log(tmp_path / "a.csv"), "--keep", path)
        assert reply.code == 2
        assert "found a folder, pipe or device" in reply.err


def test_zero_volts_are_an_outage_and_no_bad_row(call: Any, tmp_path: Path) -> None:
    rows = [f"{number},{0 if 2 <= number < 5 else 230}" for number in range(8)]
    answer = call("replay", RIDGE, log(tmp_path / "a.csv", *rows), "--json").json
    assert (answer["bad"], answer["transfers"], answer["seconds"]["away"], answer["longest_away_s"]) == (0, 1, 3, 3)


def test_a_column_missing_in_one_of_a_thousand_files_is_told_by_name(call: Any, tmp_path: Path) -> None:
    for number in range(1000):
        column = "amps" if number == 731 else "volts"
        (tmp_path / f"part-{number}.csv").write_text(f"time,{column},x\n{number},230,1\n")
    reply = call("replay", RIDGE, *sorted(tmp_path.iterdir(), key=lambda one: int(one.stem[5:])), "--joined")
    assert reply.code == 2
    assert "part-731.csv" in reply.err
    assert '"amps"' in reply.err
    assert "part-732.csv" not in reply.err


def test_a_log_that_cannot_be_read_is_told_beside_the_others(call: Any, tmp_path: Path) -> None:
    log(tmp_path / "a.csv")
    (tmp_path / "b.csv").write_text("time,volts\n")
    (tmp_path / "c.csv").write_text("time,ampere,ohm\n2024-01-01,1,2\n")
    reply = call("replay", RIDGE, tmp_path, "--json")
    assert reply.code == 2
    answer = reply.json
    assert answer["samples"] == 4
    assert len(answer["failed"]) == 2
    assert "b.csv" in reply.err
    assert "c.csv" in reply.err


def test_where_no_log_can_be_read_there_is_no_answer(call: Any, tmp_path: Path) -> None:
    (tmp_path / "b.csv").write_text("time,volts\n")
    reply = call("replay", RIDGE, tmp_path / "b.csv")
    assert (reply.code, reply.out) == (2, "")
    assert "b.csv" in reply.err


def test_a_truncated_log_is_told(call: Any, tmp_path: Path) -> None:
    whole = HOUSEHOLD.read_bytes()
    path = tmp_path / "cut.csv.gz"
    path.write_bytes(whole[: len(whole) // 2])
    reply = call("replay", RIDGE, path)
    assert reply.code == 2
    assert "cut.csv.gz" in reply.err
    assert "Traceback" not in reply.err


def test_bad_rows_are_counted_and_listed(call: Any, tmp_path: Path) -> None:
    rows = [*ROWS, "2024-01-01T00:00:03,230", "2024-01-01T00:00:01,230", "2024-01-01T00:00:04,none", "later,230"]
    answer = call("replay", RIDGE, log(tmp_path / "a.csv", *rows), "--json").json
    assert (answer["samples"], answer["bad"]) == (4, 4)
    assert [one["row"] for one in answer["bad_rows"]] == [6, 7, 8, 9]
    assert sum(answer["bad_by"].values()) == 4
    screen = call("replay", RIDGE, tmp_path / "a.csv").out
    assert "4 rows left out" in screen
    assert "none" in screen


def test_an_answer_replaces_no_log(call: Any, tmp_path: Path) -> None:
    path = log(tmp_path / "a.csv")
    before = path.read_text()
    for beside in ((), ("--beside", HOSTEL)):
        assert call("replay", RIDGE, path, *beside, "-o", path, "--force").code == 2
    assert path.read_text() == before


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--max-gap", "0"), "accepted: seconds above 0"),
        (("--scale", "-1"), "accepted: a number above 0"),
        (("--cores", "0"), "accepted: a whole number from 1"),
        (("--zone", "Mars/Olympus"), "IANA"),
        (("--column", "current"), "volts"),
        (("--cluster", "tcp://127.0.0.1:9", "--cores", "2"), "one of them"),
    ],
)
def test_calls_that_are_refused(call: Any, tmp_path: Path, words: tuple[str, ...], said: str) -> None:
    reply = call("replay", RIDGE, log(tmp_path / "a.csv"), *words)
    assert reply.code == 2
    assert said in reply.err


def test_ctrl_c_keeps_what_has_been_read_and_says_so(call: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """The signal comes while the second chunk is read; the chunk in work is finished, no other begun."""
    whole = FileLog.chunks

    def interrupted(log: FileLog) -> Iterator[Chunk]:
        small = replace(log, portions=Portions(characters=1 << 14, samples=1000))
        for number, chunk in enumerate(whole(small)):
            if number == 1:
                os.kill(os.getpid(), signal.SIGINT)
            yield chunk

    monkeypatch.setattr(FileLog, "chunks", interrupted)
    reply = call("replay", RIDGE, HOUSEHOLD, "--json")
    assert reply.code == 0
    assert reply.json["partial"] is True
    assert 0 < reply.json["samples"] < 10_000
    screen = call("replay", RIDGE, HOUSEHOLD).out
    assert "Stopped before the end of the log: what follows is of the part that was read." in screen


def test_the_screen_tells_it_in_sentences_first(call: Any) -> None:
    lines = call("replay", RIDGE, HOUSEHOLD).out.splitlines()
    assert lines[0] == "Replay: Ridge dispensary, 230 V, 500 VA, feeder shared with a saw mill"
    assert lines[1].startswith("279 changes of the band in 28 days; the output is outside its window for 0 %")


def test_gz_and_plain_are_one_log(call: Any, tmp_path: Path) -> None:
    path = tmp_path / "plain.csv"
    path.write_bytes(gzip.decompress(HOUSEHOLD.read_bytes()))
    plain, packed = (call("replay", RIDGE, one, "--json").json for one in (path, HOUSEHOLD))
    assert {**plain, "log": ""} == {**packed, "log": ""}
