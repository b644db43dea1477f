"""Test vectors: each band with each reading at and below a threshold, by hand and against the program."""

from __future__ import annotations

import csv
import io
from dataclasses import replace

import pytest

from tapplan.pages.firmware.vectors import vectors
from tests.pages.firmware.stages import program_of, stage
from tests.pages.firmware.test_packed import DESIGNS


def rows(name: str) -> list[list[str]]:
    return list(csv.reader(io.StringIO(vectors(program_of(DESIGNS[name])))))


def test_the_vectors_of_the_plain_stage_by_hand() -> None:
    heads, *lines = rows("plain")
    assert heads == ["from", "reading", "volts", "to", "K"]
    readings = [179_999, 180_000, 219_999, 220_000, 230_000, 230_001, 270_000, 270_001]
    assert [int(line[1]) for line in lines] == readings * 3
    assert [line[0] for line in lines] == ["boost"] * 8 + ["straight"] * 8 + ["away"] * 8
    assert [line[3] for line in lines[:8]] == ["away", *["boost"] * 4, "straight", "straight", "away"]
    assert [line[3] for line in lines[8:16]] == ["away", "boost", "boost", *["straight"] * 4, "away"]
    assert [line[4] for line in lines[:8]] == ["0", "1", "1", "1", "1", "0", "0", "0"]
    assert [line[2] for line in lines[:2]] == ["179.9990", "180.0000"]


@pytest.mark.parametrize("name", DESIGNS)
def test_every_vector_is_a_decision_of_the_program_with_the_coils_of_its_band(name: str) -> None:
    made = program_of(DESIGNS[name])
    names, relays = list(made.names), made.table.circuit.relays
    heads, *lines = rows(name)
    assert heads[4:] == list(relays)
    assert len(lines) == len(names) * len({one for mark in made.thresholds for one in (mark - 1, mark)})
    for start, reading, volts, end, *coils in lines:
        then = made.number(made.decided(made.standings[names.index(start)], int(reading)))
        assert end == names[then]
        assert [int(one) for one in coils] == [made.coils[then] >> bit & 1 for bit in range(len(relays))]
        assert float(volts) == pytest.approx(int(reading) / float(made.per_volt), abs=1e-4)


def test_readings_below_nought_are_left_out_and_no_name_is_a_formula() -> None:
    """A band held from 0 V on has a threshold at nothing, below which nothing can be read."""
    made = stage()
    low = replace(made.bands[0], name="=low", hold_v=(made.bands[0].hold_v[0] * 0, made.bands[0].hold_v[1]))
    lines = vectors(program_of(replace(made, bands=(low, *made.bands[1:])))).splitlines()
    assert any(line.startswith("'=low,") for line in lines)
    assert not [line for line in lines if ",-1," in line]
