"""What the topic on logs claims, tried."""

from __future__ import annotations

import io
import json
from collections.abc import Sequence
from contextlib import redirect_stderr, redirect_stdout
from fractions import Fraction
from functools import cache
from gzip import decompress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

from tapplan.answers.logfigures import WEEK_SHARE
from tapplan.cli.main import main
from tapplan.control.decisions import decisions
from tapplan.control.table import control_table
from tapplan.design.file import load
from tapplan.replay.life import worn
from tapplan.replay.machine import NEAR, machine
from tapplan.replay.replayed import USUAL_GAP
from tapplan.replay.segments import INTERVAL
from tapplan.replay.volts import grain_for
from tapplan.study.recording import CHOSEN
from tests.examples import ROOT

RIDGE = str(ROOT / "designs" / "ridge-dispensary.toml")
HOUSEHOLD = ROOT / "designs" / "logs" / "household-2007-01.csv.gz"


def asked(*words: str) -> Any:
    """The answer of a call as JSON, None where it is refused."""
    with redirect_stdout(io.StringIO()) as told, redirect_stderr(io.StringIO()):
        try:
            code = main([*words, "--json"])
        except SystemExit as stop:
            code = int(stop.code or 0)
    return json.loads(told.getvalue()) if code in (0, 1) else None


def replayed(*rows: str, heading: str = "time,volts", words: Sequence[str] = ()) -> Any:
    """A log of these rows, replayed on the ridge."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        path.write_text("\n".join([heading, *rows]) + "\n")
        return asked("replay", RIDGE, str(path), *words)


@cache
def household() -> tuple[str, ...]:
    return tuple(decompress(HOUSEHOLD.read_bytes()).decode().splitlines())


def four_weeks_of_minutes() -> bool:
    head, rows = household()[:5], household()[5:]
    return len(rows) == 28 * 1440 and "data set 235, CC BY 4.0" in " ".join(head) and "G. Hebrail" in " ".join(head)


def twice_the_years_in_cycles() -> bool:
    """An operation is a change of the coil, and a cycle has two."""
    made = machine(control_table(load(RIDGE)))
    tally = made.tally()
    tally.changes[0, 1] = 4
    tally.lasting[0, 23000] = 10**6
    by_relay = {one.relay: one.moves for one in worn(made, tally)}
    return sum(by_relay.values()) in (4, 8) and all(count in (0, 4) for count in by_relay.values())


def means_are_of_ten_minutes() -> bool:
    """200 and 220 V for five minutes each: the root of the mean of squares is 210.24 V, above 207 V."""
    rows = [f"2024-01-01T00:{minute:02d}:00,{200 if minute < 5 else 220}" for minute in range(10)]
    low = [row.replace(",220", ",212") for row in rows]  # root mean square 206.09 V: below 207 V
    return (
        INTERVAL == 600 * 10**6
        and replayed(*rows)["means"]["kept"] == 1
        and replayed(*low)["means"]["kept"] == 0
        and replayed(*rows[1:])["means"]["count"] == 0
    )


def limits_of_en_50160() -> bool:
    return Fraction(95, 100) == WEEK_SHARE and Fraction(1, 10) == NEAR


def three_usual_steps() -> bool:
    rows = ["0,230", "1,230", "2,230", "3,230", "6,230", "7,230", "10.001,230"]
    found, wider = replayed(*rows), replayed(*rows, words=["--max-gap", "4"])
    return USUAL_GAP == 3 and (found["gaps"], found["seconds"]["gap"], wider["gaps"]) == (1, 3.001, 0)


def the_end_of_a_hold_is_inside() -> bool:
    """Direct holds to 245 V on the ridge."""
    held = [replayed("0,230", f"1,{volts}")["changes"] for volts in ("245.0", "245.1")]
    rows = decisions(control_table(load(RIDGE))).table.rows
    return rows[2].hold.high == 245 and held[0] == [] and len(held[1]) == 1


def epochs_and_dates() -> bool:
    """One instant as ISO 8601, in seconds, milliseconds and microseconds since 1970; and 5 June, either way round."""
    stamps = ("2024-06-05T00:00:00Z", "1717545600", "1717545600000", "1717545600000000")
    firsts = {replayed(f"{one},230")["first"] for one in stamps}
    dates = [
        replayed("05/06/2024 00:00,230", words=["--dates", order])["first"] for order in ("day-first", "month-first")
    ]
    unclear = replayed("05/06/2024 00:00,230")
    return (
        firsts == {"2024-06-05T00:00:00"}
        and dates == ["2024-06-05T00:00:00", "2024-05-06T00:00:00"]
        and unclear is None
    )


def a_column_is_asked_for() -> bool:
    return replayed("2024-01-01 00:00,230,251", heading="when,a,b") is None


def sites_are_spanned() -> bool:
    with TemporaryDirectory() as folder:
        for number in range(11):
            (Path(folder) / f"site-{number}.csv").write_text(f"time,volts\n0,{220 + number}\n1,{220 + number}\n")
        found = asked("replay", RIDGE, folder, "--cores", "1")
    row = next(one for one in found["region"] if one["figure"] == "line, 50 % of the time at most")
    spans = [row[key] for key in ("least", "tenth", "median", "nine_tenths", "most")]
    return spans == [220, 221, 225, 229, 230] and row["at"].endswith("site-10.csv")


def others_go_on_and_the_code_is_2() -> bool:
    with TemporaryDirectory() as folder:
        (Path(folder) / "a.csv").write_text("time,volts\n0,230\n1,230\n")
        (Path(folder) / "b.csv").write_text("time,volts\n")
        with redirect_stdout(io.StringIO()) as told, redirect_stderr(io.StringIO()):
            code = main(["replay", RIDGE, folder, "--json"])
    answer = json.loads(told.getvalue())
    return code == 2 and answer["samples"] == 2 and len(answer["failed"]) == 1


def volts_to_a_hundredth() -> bool:
    return all(grain_for(Fraction(volts)).volts == Fraction(1, 100) for volts in (120, 220, 230, 240, 277, 400))


def two_thirds_are_chosen_on() -> bool:
    """Of nine made-up days six are chosen on; the others judge, and what does not help there is not kept."""
    with TemporaryDirectory() as folder:
        path = str(Path(folder) / "log.csv")
        asked("trace", "evening", "--design", RIDGE, "--days", "9", "--step", "60", "--seed", "1", "-o", path)
        found = asked("fit", RIDGE, "--log", path)
    parts = {(one["part"], one["first"], one["last"]) for one in found["spans"]}
    return Fraction(2, 3) == CHOSEN and {one[:2] for one in parts} == {
        ("chosen on", "2024-01-01T00:00:00"),
        ("held out", "2024-01-07T00:00:00"),
    }
