"""The header of the firmware: its limits, names and types, by hand from the design."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction
from functools import cache

import pytest

from tapplan.design.fingerprint import fingerprint
from tapplan.errors import UsageError
from tapplan.pages.firmware.directory import MOST_STANDINGS, files, firmware, parts_of
from tapplan.pages.firmware.interface import interface
from tapplan.pages.firmware.parts import Parts
from tests.pages.firmware.stages import program_of, stage
from tests.pages.firmware.test_packed import DESIGNS

F = Fraction


@cache
def parts(name: str = "plain") -> Parts:
    return parts_of(program_of(DESIGNS[name]))


def macros(made: Parts) -> dict[str, str]:
    return dict(re.findall(rf"#define {made.upper}_(\w+) (\S+)", interface(made)))


def test_limits_and_names_of_the_plain_stage() -> None:
    told = macros(parts())
    wanted = {
        "BANDS": "2U", "AWAY": "TAPPLAN_MILL_BANDS", "NO_READING": "(-1)", "READING_LEAST": "0L",
        "READING_MOST": f"{2**31 - 1}L", "TICK_MS": "10U", "SAMPLES": "64U", "SAMPLES_MOST": "128U",
        "SAMPLE_LEAST": f"({1 - 2**26}L)", "SAMPLE_MOST": f"{2**26 - 1}L", "TABLE_BYTES": "76U", "SOUND": "0U",
        "CHANGED": "1U", "UNORDERED": "2U", "MISLED": "3U", "MISJUDGED": "4U", "BAND_BOOST": "0U",
        "BAND_STRAIGHT": "1U", "COIL_K": "0x1U",
    }  # fmt: skip
    assert told == wanted
    text = interface(parts())
    mark = fingerprint(stage())
    assert text.startswith(f"/*\n * Mill, 230 V\n * The controller of design {mark}, made by tapplan ")
    assert f"#ifndef TAPPLAN_MILL_{mark.upper()}_FIRMWARE_H\n#define TAPPLAN_MILL_{mark.upper()}_FIRMWARE_H\n" in text
    assert " * Readings are millivolts of the voltage sensed (at the input): 1000 for one volt.\n" in text
    assert "64U /* an example: the design states none */" in text
    assert "UPPER" not in text
    assert "LOWER" not in text


def test_with_a_converter_readings_and_samples_are_its_counts() -> None:
    told = macros(parts("counted"))
    assert [told[one] for one in ("READING_MOST", "SAMPLES", "SAMPLES_MOST", "SAMPLE_LEAST", "SAMPLE_MOST")] == [
        "362L", "20U", "40U", "(0L)", "1023L",
    ]  # fmt: skip
    assert "20U /* usual in one window */" in interface(parts("counted"))
    told_in = " ".join(interface(parts("counted")).replace(" * ", " ").split())
    assert "Readings are counts of the converter of the voltage sensed (at the input): 0.5 for one volt." in told_in


def test_each_relay_has_its_bit_in_the_order_of_the_file() -> None:
    told = macros(parts("ordered"))
    assert (told["COIL_KL"], told["COIL_KO"]) == ("0x1U", "0x2U")
    assert " * Readings are millivolts of the voltage sensed (between S2 and S1): 1000 for one volt." in (
        interface(parts("elsewhere"))
    )


def types(made: Parts) -> dict[str, str]:
    return {field: kind for kind, field in re.findall(r"^  (u?int\d+_t) (\w+);", interface(made), re.MULTILINE)}


@pytest.mark.parametrize(
    ("detector", "fields", "window", "state"),
    [
        ("rms", {"squares": "uint64_t", "sum": "int64_t"}, 18, 8),
        ("average", {"sum": "uint64_t"}, 10, 8),
        ("peak", {"most": "int32_t"}, 6, 8),
    ],
)
def test_a_window_and_a_state_take_what_their_sums_need(
    detector: str, fields: dict[str, str], window: int, state: int
) -> None:
    """Two waits of 16 bits, step and its turn of 8, band and leaving; sums, a count of 8 bits and a mark."""
    made = parts_of(program_of(stage(detector=detector)))
    told = types(made)
    usual = {"wait": "uint16_t", "held": "uint16_t", "step": "uint8_t", "turned": "uint8_t", "band": "uint8_t",
             "leaving": "uint8_t", "count": "uint8_t", "wrong": "uint8_t"}  # fmt: skip
    assert told == {**usual, **fields}
    assert (made.window_bytes, made.state_bytes) == (window, state)
    assert "typedef uint8_t tapplan_mill_mask; " in interface(made)


def test_long_times_take_wider_waits() -> None:
    made = parts_of(program_of(stage(confirm_ms=F(65536))))
    assert (types(made)["wait"], types(made)["held"], made.state_bytes) == ("uint32_t", "uint32_t", 12)


def test_only_our_own_places_of_a_text_are_filled() -> None:
    made = replace(parts(), lower="tapplan_upper")
    assert made.filled("LOWER UPPER A TITLE", {"A": "LOWER"}) == "tapplan_upper TAPPLAN_UPPER LOWER Mill, 230 V"


# --- all files ---


def test_files_are_named_by_the_design_or_as_asked() -> None:
    made = program_of(stage())
    assert list(firmware(made)) == ["tapplan_mill.h", "tapplan_mill.c", "vectors.c", "README.txt"]
    assert list(firmware(made, name="gate"))[:2] == ["tapplan_gate.h", "tapplan_gate.c"]
    assert "#define TAPPLAN_GATE_TICK_MS 3U " in firmware(made, tick_ms=3, name="gate")["tapplan_gate.h"]
    assert files(parts()) == firmware(made)


def test_a_threshold_beyond_what_the_converter_reads_is_refused() -> None:
    """Full at 362 counts, or 724 V; a threshold at its very last count is read, one more is not."""
    made = program_of(stage(counted=True))
    assert max(made.thresholds) == 136
    assert parts_of(replace(made, most_reading=136)).most_reading == 136
    with pytest.raises(
        UsageError, match="found a threshold at 136 counts; accepted: up to 135, above which the conv"
    ):
        parts_of(replace(made, most_reading=135))


def test_bands_beyond_a_byte_are_refused() -> None:
    made = program_of(stage())
    many = replace(made, nodes=(made.nodes[0],) * 255 + made.nodes[-1:])
    assert len(many.nodes) == MOST_STANDINGS + 1 == 256
    with pytest.raises(UsageError, match="found 255 bands; accepted: up to 254 in firmware"):
        parts_of(many)
