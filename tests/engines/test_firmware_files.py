"""The firmware's files: names, two designs in one image, the self-test, sizes on small machines, and bad calls."""

from __future__ import annotations

import json
import os
import re
import subprocess
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest

from tapplan import wholefile
from tapplan.answers.words import CAUTION
from tapplan.cli.folders import write_directory
from tapplan.cli.main import main
from tapplan.control.program import Program, program
from tapplan.control.table import control_table
from tapplan.design.file import parse
from tapplan.design.fingerprint import fingerprint
from tapplan.errors import OutputError, UsageError
from tapplan.pages.firmware.directory import firmware
from tapplan.pages.firmware.packed import crc_16, packed
from tests.engines.firmware import FLAGS, WATCHED, Loaded, compiled, name_of, need, put, told
from tests.engines.test_exports import CASES, EACH, Case
from tests.examples import ROOT

SIGNAL_BOX = ROOT / "designs/signal-box.toml"
PUMP = ROOT / "designs/spring-pump.toml"


def made_of(text: str) -> Program:
    return program(control_table(parse(text)))


def titled(title: str, path: Path = PUMP) -> Program:
    text = path.read_text()
    (line,) = [one for one in text.splitlines() if one.startswith("title ")]
    return made_of(text.replace(line, f"title = {json.dumps(title, ensure_ascii=False)}"))


# Names


def test_names_begin_with_the_title() -> None:
    texts = firmware(titled("Spring pump, 230 V"))
    assert set(texts) == {"tapplan_spring_pump.h", "tapplan_spring_pump.c", "vectors.c", "README.txt"}


@pytest.mark.parametrize("title", ["Станция", "泵", "Café", "!!!", "x" * 41])
def test_titles_that_c_cannot_spell_are_told_apart_by_their_revision(title: str) -> None:
    made = titled(title)
    assert name_of(firmware(made)).endswith("_" + fingerprint(made.table.stated))


HARD = 'UPPER LOWER TITLE VALUE STEP_KIND */ "READ;" \\u2028 ?? / MARK CAUTION'


def test_no_word_of_a_design_is_taken_for_a_place_of_ours(tmp_path: Path) -> None:
    text = PUMP.read_text().replace('"boost"', '"UPPER LOWER"').replace('"straight"', '"upper_lower"')
    text = text.replace('"K"', '"TITLE"')
    (line,) = [one for one in text.splitlines() if one.startswith("title ")]
    for title in (HARD, "Lower mill", "UPPER", "*/ #error"):
        texts = firmware(made_of(text.replace(line, f"title = {json.dumps(title)}")))
        folder = put(tmp_path / str(len(list(tmp_path.iterdir()))), texts)
        compiled(folder, ["vectors.c", f"{name_of(texts)}.c"])
        assert told(folder)[-1].endswith(" 0 wrong")


def test_bands_that_c_would_call_alike_are_told_apart() -> None:
    text = SIGNAL_BOX.read_text().replace('"boost"', '"buck-1"').replace('"buck"', '"buck 1"')
    header = firmware(made_of(text))["tapplan_signal_box.h"]
    assert "#define TAPPLAN_SIGNAL_BOX_BAND_BUCK_1 0U" in header
    assert "#define TAPPLAN_SIGNAL_BOX_BAND_BUCK_1_2 2U" in header


def test_a_name_of_the_callers_own() -> None:
    assert name_of(firmware(titled("x"), name="kiosk_110")) == "tapplan_kiosk_110"
    for wrong in ("", "9a", "A", "a-b", "a" * 41, "a b", "ä"):
        with pytest.raises(
            UsageError, match="accepted: a small letter, then small letters, digits and underscores, 40"
        ):
            firmware(titled("x"), name=wrong)


# The ways to away

MAKE_ONLY = """
format = 1
title = "Two make contacts on neighbouring taps: both closed, they short the turns between"
mains = {{ nominal_v = 200, range_v = [180, 220] }}
output = {{ nominal_v = 200, window_v = [170, 230] }}
terminals = {{ line = "T1", neutral = "N", output = "O" }}
winding = [{{ name = "a", ends = ["N", "T1"], turns = 200 }}, {{ name = "b", ends = ["T1", "T2"], turns = 20 }}]
relay = [{{ name = "K1", com = "O", no = "T1" }}, {{ name = "K2", com = "O", no = "T2" }}]
band = [
  {{ name = "boost", energised = ["K2"], hold_v = [170, 200] }},
  {{ name = "direct", energised = ["K1"], hold_v = [190, 230] }},
]
backup = {{ leave_v = [170, 230], return_v = [175, 225], energised = {away} }}
sequence = {{ order = "{order}" }}
"""


@pytest.mark.parametrize(
    ("away", "order", "told"),
    [
        ('["K2"]', "together", 'On the way to away turns may be shorted while relays fly, from "direct".'),
        ('["K2"]', "safest", ""),
        ("[]", "together", ""),
    ],
)
def test_a_way_to_away_that_shorts_turns_is_told(away: str, order: str, told: str) -> None:
    """From direct to K2: K1 may still be closed when K2 closes, unless it opens first."""
    moves = firmware(made_of(MAKE_ONLY.format(away=away, order=order)))["README.txt"].partition("\nMoves\n")[2]
    assert " ".join(moves.split()) == f"Every band is left for away by some reading of the table, too. {told}".strip()


@pytest.mark.parametrize(
    ("path", "told"), [(PUMP, ""), (ROOT / "designs/orchard-cold-room.toml", '"boost 1", "buck 1"')]
)
def test_bands_that_only_a_reading_that_is_none_takes_away_are_told(path: Path, told: str) -> None:
    """Read on a winding, the inner bands are left one at a time."""
    moves = firmware(made_of(path.read_text()))["README.txt"].partition("\nMoves\n")[2]
    wanted = f"Only a reading that is none leads straight to away from {told}.\n" if told else "Every band is left"
    assert " ".join(moves.split()).startswith(wanted.strip())


# Several designs


def joined(
    folder: Path, *every: Mapping[str, str], main_c: str, flags: tuple[str, ...] = ()
) -> subprocess.CompletedProcess[str]:
    for texts in every:
        put(folder, texts)
    (folder / "main.c").write_text(main_c)
    sources = sorted({f"{name_of(texts)}.c" for texts in every})
    call = [need("gcc", "gcc"), *FLAGS, *flags, "-o", "walk", "main.c", *sources]
    return subprocess.run(call, cwd=folder, capture_output=True, text=True, check=False)


def test_two_designs_in_one_image_keep_to_themselves(tmp_path: Path) -> None:
    pump, box = firmware(made_of(PUMP.read_text())), firmware(made_of(SIGNAL_BOX.read_text()))
    text = """
    #include <stdio.h>
    #include "tapplan_spring_pump.h"
    #include "tapplan_signal_box.h"
    int main(void)
    {
      tapplan_spring_pump_state pump;
      tapplan_signal_box_state box;
      int call;
      tapplan_spring_pump_start(&pump);
      tapplan_signal_box_start(&box);
      for (call = 0; call < 30; call++) {
        (void)tapplan_spring_pump_step(&pump, 10U, 205000L);
        (void)tapplan_signal_box_step(&box, 10U, 950L);
      }
      printf("%d %d %d %d\\n", tapplan_spring_pump_band(&pump), tapplan_signal_box_band(&box),
             tapplan_spring_pump_self_test(), tapplan_signal_box_self_test());
      return 0;
    }
    """
    done = joined(tmp_path, pump, box, main_c=text)
    assert (done.returncode, done.stderr) == (0, "")
    assert told(tmp_path) == ["0 0 0 0"]


def test_two_revisions_of_one_name_are_refused_in_one_unit(tmp_path: Path) -> None:
    one, other = firmware(titled("Kiosk, 220 V")), firmware(titled("Kiosk, 110 V", SIGNAL_BOX))
    put(tmp_path, {"again.h": other["tapplan_kiosk.h"]})
    done = joined(
        tmp_path, one, main_c='#include "tapplan_kiosk.h"\n#include "again.h"\nint main(void) { return 0; }\n'
    )
    assert done.returncode != 0
    assert "tapplan_kiosk twice in one unit: leave one out, or export it with another --name" in done.stderr


# The guide's example

STUBS = """
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include "tapplan_signal_box.h"
int32_t converted(void);
void drive(tapplan_signal_box_mask coils);
void feed_watchdog(void);
void rest(void);
void on_timer(void);
static unsigned long samples;
static unsigned ticks, coils_now;
int32_t converted(void)
{
  const double volts = samples < 64UL * 10UL ? 230.0 : 190.0;
  const double wave = volts * 1.41421356 * sin(2.0 * 3.14159265 * (double)samples / 64.0) * 3900.0 / 1003900.0;
  samples++;
  return (int32_t)((wave + 1.65) / 3.3 * 4096.0);
}
void drive(tapplan_signal_box_mask coils) { coils_now = coils; }
void rest(void) { on_timer(); }
void feed_watchdog(void)
{
  ticks++;
  printf("%u", coils_now);
  if (ticks == 40U) { exit(0); }
}
"""


def board() -> str:
    text = (ROOT / "tapplan/guide/firmware.md").read_text()
    found = re.search(r"^```c board\.c\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)
    assert found is not None
    return found[1]


def test_the_guides_board_reads_a_sine_and_moves(tmp_path: Path) -> None:
    """230 V for 10 windows: direct; then 190 V: boost.

    Away no time is asked for; so direct comes with the first window, at the second tick, and stays for 23. The first
    window with 190 V is read at the tick 22, and at the 25th 30 ms are over.
    """
    texts = firmware(made_of(SIGNAL_BOX.read_text()))
    put(tmp_path, {**texts, "board.c": board(), "stubs.c": STUBS})
    compiled(tmp_path, ["board.c", "stubs.c", "tapplan_signal_box.c", "-lm"])
    assert told(tmp_path) == ["0" + 23 * "1" + 16 * "3"]


@pytest.mark.parametrize(
    "call",
    [
        ("avr-gcc", "-mmcu=atmega328p"),
        ("arm-none-eabi-gcc", "-mcpu=cortex-m0", "-mthumb"),
        ("clang",),
    ],
    ids=lambda call: call[0],
)
def test_the_guides_board_compiles_for_small_machines(call: tuple[str, ...], tmp_path: Path) -> None:
    need(call[0], call[0])
    put(tmp_path, {**firmware(made_of(SIGNAL_BOX.read_text())), "board.c": board()})
    done = subprocess.run(
        [*call, *FLAGS, "-Os", "-c", "board.c"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")


# The self-test

FLIPS = """
#include <stdio.h>
#define const
#include "LOWER.c"
#define FLIP(table) do { unsigned char *at = (unsigned char *)(table); unsigned long byte; unsigned bit; \\
  for (byte = 0; byte < sizeof(table); byte++) for (bit = 0; bit < 8U; bit++) { \\
    at[byte] ^= (unsigned char)(1U << bit); flipped++; found += LOWER_self_test() != 0U; \\
    at[byte] ^= (unsigned char)(1U << bit); } } while (0)
int main(void)
{
  unsigned long flipped = 0, found = 0;
  TABLES
  printf("%lu %lu %d\\n", flipped, found, LOWER_self_test());
  return 0;
}
"""


@EACH
def test_every_bit_of_every_table_is_watched(case: Case, tmp_path: Path) -> None:
    texts = firmware(case.program)
    name = name_of(texts)
    tables = sorted(set(re.findall(rf"{name}_table_\w+(?=\[)", texts[f"{name}.c"])))
    assert len(tables) == 9
    text = FLIPS.replace("TABLES", "\n  ".join(f"FLIP({table});" for table in tables)).replace("LOWER", name)
    put(tmp_path, {**texts, "flips.c": text})
    compiled(tmp_path, ["flips.c"])
    ((flipped, found, sound),) = [map(int, line.split()) for line in told(tmp_path)]
    assert (flipped, sound) == (found, 0)
    assert flipped == 8 * packed(case.program).size
    assert f"_TABLE_BYTES {packed(case.program).size}U" in texts[f"{name}.h"]


@pytest.mark.parametrize(
    ("table", "numbers", "code"),
    [
        ("cut", lambda old: [old[1], old[0], *old[2:]], 2),
        ("end", lambda old: [9, *old[1:]], 3),
        ("entry", lambda old: [old[0], 200, *old[2:]], 3),
        ("begin", lambda old: [old[0], old[1] - 1, *old[2:]], 2),
        ("stay", lambda old: [old[1], *old[1:]], 4),
    ],
)
def test_what_the_sum_cannot_know_is_found_by_itself(table: str, numbers: object, code: int, tmp_path: Path) -> None:
    """Tables that were wrong before they were summed: thresholds that fall, no such band, no such step, a
    search that begins among another band's."""
    texts = dict(firmware(made_of(SIGNAL_BOX.read_text())))
    source = texts["tapplan_signal_box.c"]
    found = re.search(rf"table_{table}\[\d+\] TAPPLAN_TABLE = {{\s*([^}}]*?)\s*}}", source)
    assert found is not None
    old = [int(one.strip(" \nU")) for one in found[1].split(",")]
    changed = source.replace(found[1], ", ".join(f"{one}U" for one in numbers(old)))  # type: ignore[operator]
    changed, switched_off = re.subn(r"\(sum != 0x\w+\)", "(sum > 0xFFFFU)", changed)
    assert switched_off == 1
    texts["tapplan_signal_box.c"] = changed
    here = Loaded(tmp_path, texts, "-Wno-type-limits")
    assert here.self_test() == code


def test_a_table_that_decays_later_leads_away_and_nowhere_outside_itself(tmp_path: Path) -> None:
    """Signal box: away has number 3; 1100 counts are direct. The entries are no longer steps."""
    texts = dict(firmware(made_of(SIGNAL_BOX.read_text())))
    source = texts["tapplan_signal_box.c"]
    found = re.search(r"table_entry\[(\d+)\] TAPPLAN_TABLE = {\s*([^}]*?)\s*}", source)
    assert found is not None
    assert Loaded(tmp_path / "sound", texts).next(3, 1100) == 1
    texts["tapplan_signal_box.c"] = source.replace(found[2], ", ".join(["200U"] * int(found[1])))
    here = Loaded(tmp_path / "decayed", texts, *WATCHED)
    assert {here.next(band, 1100) for band in range(4)} == {3}
    assert {here.step(10, 1100) for _ in range(20)} == {0}
    assert here.band == 3


def test_the_sum_is_that_of_the_standard() -> None:
    """The check value printed for this sum (CRC-16 with 0x1021, begun with ones) in the CRC catalogues: 0x29B1."""
    assert crc_16(b"123456789") == 0x29B1
    assert crc_16(b"") == 0xFFFF


# Small machines


@pytest.mark.parametrize("order", ["together", "safest"])
@pytest.mark.parametrize("design", ["river-kiosk", "harbour-crane"])
def test_eight_bands_or_four_relays_fit_into_a_small_avr(design: str, order: str, tmp_path: Path) -> None:
    """With the signal box's converter: 2 kB of flash for all tables and code, 32 bytes of RAM."""
    tool = need("avr-gcc", "gcc-avr avr-libc")
    text, box = (ROOT / f"designs/{design}.toml").read_text(), SIGNAL_BOX.read_text()
    text += f'\n[sequence]\norder = "{order}"\n\n' + box[box.index("[controller]") :]
    texts = firmware(made_of(text))
    name = name_of(texts)
    told_of = re.search(r"state: (\d+) bytes of RAM; a window: (\d+);", texts["README.txt"])
    assert told_of is not None
    fits = f'#include "{name}.h"\n'
    for what, wanted in zip(("state", "window"), told_of.groups(), strict=True):
        fits += f"typedef char {what}_fits[sizeof({name}_{what}) == {wanted}U ? 1 : -1];\n"
    assert sum(map(int, told_of.groups())) < 32
    put(tmp_path, {**texts, "fits.c": fits})
    for source in (f"{name}.c", "fits.c"):
        call = [tool, "-mmcu=atmega328p", *FLAGS, "-Os", "-c", source, "-o", f"{source}.o"]
        done = subprocess.run(call, cwd=tmp_path, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "")
    sizes = subprocess.run(["avr-size", f"{name}.c.o"], cwd=tmp_path, capture_output=True, text=True, check=True)
    flash, data, bss = map(int, sizes.stdout.splitlines()[1].split()[:3])
    assert (data, bss) == (0, 0)
    assert flash < 2048


ARITHMETIC = (
    r"__(aeabi_(u?i|u?l)div(mod)?|aeabi_l(mul|lsl|lsr)|gnu_thumb\w+"  # of the ARM
    r"|u?(div|mod|divmod|mul)[a-z]*[qhsd]i\d?|u?mul[hqs]+i\d|(ash|ash|lsh)[lr]di3"  # of gcc, and the AVR's
    r"|adddi3\w*|subdi3\w*|negdi2|cmpdi2\w*|muldi3\w*|umulsidi3|usmulhisi3|mulshisi3|muluhisi3|tablejump\w*"
    r"|do_(copy_data|clear_bss)|prologue_saves__|epilogue_restores__)"
)


@pytest.mark.parametrize(
    ("tools", "package", "flag"),
    [
        ("", "gcc", "-fno-pie"),
        ("arm-none-eabi-", "gcc-arm-none-eabi", "-mcpu=cortex-m0"),
        ("avr-", "gcc-avr avr-libc", "-mmcu=atmega328p"),
    ],
    ids=["host", "arm", "avr"],
)
def test_it_asks_for_nothing_but_whole_arithmetic(tools: str, package: str, flag: str, tmp_path: Path) -> None:
    """No heap, no floating point, no library: what the compiled code leaves open is the compiler's own."""
    tool = need(f"{tools}gcc", package)
    for case in CASES[::5]:
        texts = firmware(case.program)
        name = name_of(texts)
        folder = put(tmp_path / case.name.replace(" ", "-"), texts)
        strict = ["-Wconversion", "-Wsign-conversion", "-Wshadow"]
        call = [tool, flag, *FLAGS, *strict, "-Os", "-c", f"{name}.c", "-o", "made.o"]
        done = subprocess.run(call, cwd=folder, capture_output=True, text=True, check=False)
        assert (done.returncode, done.stderr) == (0, "")
        listed = subprocess.run([f"{tools}nm", "made.o"], cwd=folder, capture_output=True, text=True, check=True)
        symbols = [line.split()[-2:] for line in listed.stdout.splitlines()]
        assert ["T", f"{name}_step"] in symbols
        assert not [one for kind, one in symbols if kind in "bBdDC"]  # no memory of its own
        assert all(re.fullmatch(ARITHMETIC, one) for kind, one in symbols if kind == "U"), symbols


def calls(source: str, name: str) -> dict[str, set[str]]:
    """Which of its functions each function calls."""
    bodies = re.findall(rf"^[\w ]*\b({name}_\w+)\([^;{{]*\)\n{{(.*?)^}}", source, re.DOTALL | re.MULTILINE)
    names = {one for one, _ in bodies}
    return {one: set(re.findall(rf"\b({name}_\w+)\(", body)) & names for one, body in bodies}


@EACH
def test_no_function_calls_itself_and_calls_go_five_deep(case: Case) -> None:
    texts = firmware(case.program)
    name = name_of(texts)
    below = calls(texts[f"{name}.c"], name)
    assert {
        f"{name}_{one}" for one in ("start", "step", "next", "band", "self_test", "reading", "find")
    } <= below.keys()

    def depth(one: str, above: tuple[str, ...] = ()) -> int:
        assert one not in above, (one, above)
        return 1 + max((depth(other, (*above, one)) for other in below[one]), default=0)

    assert max(map(depth, below)) == 5
    assert "calls go five deep at most" in texts["README.txt"]


def test_the_stack_is_shallow(tmp_path: Path) -> None:
    """By the compiler's own count for an AVR: what the README says no function has, no array, would show."""
    tool = need("avr-gcc", "gcc-avr avr-libc")
    texts = firmware(made_of(SIGNAL_BOX.read_text()))
    put(tmp_path, texts)
    call = [tool, "-mmcu=atmega328p", *FLAGS, "-Os", "-fstack-usage", "-c", "tapplan_signal_box.c", "-o", "made.o"]
    subprocess.run(call, cwd=tmp_path, check=True)
    frames = [line.split("\t") for path in tmp_path.glob("*.su") for line in path.read_text().splitlines()]
    assert len(frames) >= 8
    assert all(kind == "static" for _, _, kind in frames)
    assert max(int(size) for _, size, _ in frames) <= 32


# The directory


def exported(*more: str) -> int:
    return main(["export", *more])


def test_a_directory_is_written_with_what_it_says(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    at = tmp_path / "box"
    assert exported(str(SIGNAL_BOX), "--to", "firmware", "-o", str(at)) == 0
    assert (
        capsys.readouterr().out == f"wrote {at}: tapplan_signal_box.h, tapplan_signal_box.c, vectors.c, README.txt\n"
    )
    found, wanted = {one.name: one.read_text() for one in at.iterdir()}, firmware(made_of(SIGNAL_BOX.read_text()))
    told, plain = found.pop("README.txt"), wanted.pop("README.txt")
    assert found == wanted
    assert set(plain.splitlines()) < set(told.splitlines())  # it says besides what the proof says at the tick
    assert "Proven again with a call each 10 ms" in told
    assert oct(at.stat().st_mode & 0o777) == oct(0o777 & ~mask())
    assert os.listdir(tmp_path) == ["box"]


def mask() -> int:
    current = os.umask(0o022)
    os.umask(current)
    return current


def test_the_caution_is_in_every_file_for_hands(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    for name, text in firmware(made_of(SIGNAL_BOX.read_text())).items():
        plain = " ".join(text.replace("\n *", "\n").split())
        assert (CAUTION in plain) == (name != "vectors.c"), name
    assert exported(str(SIGNAL_BOX), "--to", "firmware", "-o", str(tmp_path / "x"), "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["caution"] == CAUTION
    assert answer["written"] == str(tmp_path / "x")


def test_a_directory_that_is_there_is_kept(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    at = tmp_path / "box"
    call = (str(SIGNAL_BOX), "--to", "firmware", "-o", str(at))
    assert exported(*call) == 0
    (at / "README.txt").write_text("mine")
    assert exported(*call) == 2
    assert capsys.readouterr().err == f"{at}: found a directory of that name; it is kept unless --force is given\n"
    assert (at / "README.txt").read_text() == "mine"
    assert exported(*call, "--force") == 0
    assert (at / "README.txt").read_text() != "mine"
    assert os.listdir(tmp_path) == ["box"]


def test_files_of_others_are_kept_even_with_force(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    at = tmp_path / "box"
    at.mkdir()
    (at / "main.c").write_text("mine")
    assert exported(str(SIGNAL_BOX), "--to", "firmware", "-o", str(at), "--force") == 2
    told = capsys.readouterr().err
    assert told.startswith(f"{at}: found main.c in it, which this export does not write; accepted: a directory")
    assert os.listdir(at) == ["main.c"]


def test_an_earlier_name_gives_way_with_force(tmp_path: Path) -> None:
    at = tmp_path / "box"
    assert exported(str(SIGNAL_BOX), "--to", "firmware", "-o", str(at), "--name", "first") == 0
    assert exported(str(SIGNAL_BOX), "--to", "firmware", "-o", str(at), "--name", "second", "--force") == 0
    assert sorted(os.listdir(at)) == ["README.txt", "tapplan_second.c", "tapplan_second.h", "vectors.c"]


@pytest.mark.parametrize("at", ["none/box", "file", "file/box", "a\0b"])
def test_a_place_that_cannot_be_written(at: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("mine")
    with pytest.raises(OutputError):
        write_directory(str(tmp_path / at), {"a": "b"}, force=True)
    assert os.listdir(tmp_path) == ["file"]
    assert (tmp_path / "file").read_text() == "mine"


def test_a_directory_that_may_not_be_written(tmp_path: Path) -> None:
    if os.geteuid() == 0:
        pytest.skip("root may write everywhere")
    tmp_path.chmod(0o500)
    with pytest.raises(OutputError, match="cannot be written"):
        write_directory(str(tmp_path / "box"), {"a": "b"}, force=False)


@pytest.mark.parametrize("failing", ["rename", "write_bytes", "replace"])
def test_what_fails_halfway_leaves_everything_as_it_was(
    failing: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    at = tmp_path / "box"
    write_directory(str(at), {"README.txt": "old"}, force=False)

    def fail(*_: object) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patched:
        patched.setattr(Path, failing, fail)
        patched.setattr(wholefile, "_exchanged", lambda *_: False)  # as on a system that cannot exchange two names
        with pytest.raises(OutputError, match=r"box: cannot be written \(No space left on device\)"):
            write_directory(str(at), {"README.txt": "new"}, force=True)
    assert os.listdir(tmp_path) == ["box"]
    assert (at / "README.txt").read_text() == "old"


# Bad calls


@pytest.mark.parametrize(
    ("more", "told"),
    [
        (
            ("--to", "firmware"),
            "found --to firmware without -o DIRECTORY; accepted: with -o, for it is several files\n",
        ),
        (("--to", "c", "--name", "a"), "found --name with c; accepted: with --to firmware\n"),
        (("--to", "vectors", "--tick-ms", "5"), "found --tick-ms with vectors; accepted: with --to firmware\n"),
        (
            ("--to", "firmware", "-o", "AT", "--tick-ms", "31"),
            "found --tick-ms 31 with confirm_ms = 30; accepted: 1 to 30",
        ),
        (("--to", "firmware", "-o", "AT", "--name", "Box"), 'found --name "Box"; accepted: a small letter'),
    ],
)
def test_bad_calls_are_told_and_write_nothing(
    more: tuple[str, ...], told: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    words = [str(tmp_path / "box") if one == "AT" else one for one in more]
    assert exported(str(SIGNAL_BOX), *words) == 2
    assert capsys.readouterr().err.startswith(told)
    assert os.listdir(tmp_path) == []


@pytest.mark.parametrize("tick", ["0", "-1", "1.5", "x", "60001", "\u0661"])
def test_a_tick_that_is_none(tick: str, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as left:
        exported(str(SIGNAL_BOX), "--to", "firmware", "-o", "x", f"--tick-ms={tick}")
    assert left.value.code == 2
    assert "accepted: whole ms from 1 to 60000" in capsys.readouterr().err


def test_sixty_four_relays_are_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    relays = "".join(
        f'\n[[relay]]\nname = "X{number}"\ncom = "P{number}"\nno = "Q{number}"\n' for number in range(63)
    )
    file = tmp_path / "many.toml"
    file.write_text(PUMP.read_text() + relays)
    assert exported(str(file), "--to", "firmware", "-o", str(tmp_path / "x")) == 2
    assert "found 64 relays; accepted: up to 32, one bit each of a coil mask" in capsys.readouterr().err
    assert os.listdir(tmp_path) == ["many.toml"]


def test_thirty_two_relays_fit(tmp_path: Path) -> None:
    relays = "".join(
        f'\n[[relay]]\nname = "X{number}"\ncom = "P{number}"\nno = "Q{number}"\n' for number in range(31)
    )
    texts = firmware(made_of(PUMP.read_text() + relays))
    assert "typedef uint32_t tapplan_spring_pump_mask;" in texts["tapplan_spring_pump.h"]
    put(tmp_path, texts)
    compiled(tmp_path, ["vectors.c", "tapplan_spring_pump.c"])
    assert told(tmp_path)[-1].endswith(" 0 wrong")


def test_a_threshold_beyond_32_bits_is_refused() -> None:
    """Megavolts in millivolts."""
    text = PUMP.read_text()
    case = control_table(parse(text))
    rows = tuple(
        replace(row, kept=replace(row.kept, high=row.kept.high * 10**5)) if number == 1 else row
        for number, row in enumerate(case.rows)
    )
    with pytest.raises(UsageError, match=r"found a threshold at \d+ counts or mV; accepted: up to 2147483647"):
        program(replace(case, rows=rows))
