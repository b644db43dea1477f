"""The source of a design's firmware: tables, the decision, time, the self-test. `summing` has the averaging."""

from __future__ import annotations

from collections.abc import Sequence

from tapplan.answers.words import CAUTION
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.cnames import comment, wrapped
from tapplan.pages.firmware.packed import CArray, bits_of
from tapplan.pages.firmware.parts import Parts
from tapplan.pages.firmware.summing import summing
from tapplan.version import __version__

TABLE_WIDTH = 100


def source(parts: Parts) -> str:
    """The C file that goes with the header."""
    packed = parts.packed
    text = "\n".join(
        [
            "/*",
            " * TITLE",
            f" * The controller of design {fingerprint(parts.made.table.stated)}, made by tapplan {__version__}.",
            *(f" * {line}" for line in wrapped(comment(CAUTION))),
            " */",
            '#include "LOWER.h"',
            "",
            PORTABLE,
            *_times(parts),
            *_tables(parts),
            DECISION,
            _found(parts),
            COURSE.replace("LONGEST", _ones(packed.time_bits)).replace("TURNING", _ones(packed.step_bits)),
            *_self_test(parts),
            summing(parts.averaging),
        ]
    )
    kinds = {"TIME": packed.time_bits, "PLACE": packed.place_bits, "STEP": packed.step_bits, "CUT": packed.cut.bits}
    for word, bits in kinds.items():
        text = text.replace(f"{word}_KIND", f"uint{bits}_t")
    return parts.filled(text.rstrip() + "\n", {})


def _ones(bits: int) -> str:
    """The greatest number of so many bits."""
    return f"0x{2**bits - 1:X}U" + "L" * (bits > 16)


PORTABLE = """\
/* Where tables lie and how one entry is read. An AVR would copy constant data into RAM, so there it stays in
 * flash; for another machine of that kind, define all four on the command line. */
#ifndef TAPPLAN_TABLE
#if defined(__AVR__)
#include <avr/pgmspace.h>
#define TAPPLAN_TABLE PROGMEM
#define TAPPLAN_READ_8(table, place) pgm_read_byte(&(table)[(place)])
#define TAPPLAN_READ_16(table, place) pgm_read_word(&(table)[(place)])
#define TAPPLAN_READ_32(table, place) pgm_read_dword(&(table)[(place)])
#else
#define TAPPLAN_TABLE
#define TAPPLAN_READ_8(table, place) ((table)[(place)])
#define TAPPLAN_READ_16(table, place) ((table)[(place)])
#define TAPPLAN_READ_32(table, place) ((table)[(place)])
#endif
#endif
"""


def _times(parts: Parts) -> list[str]:
    times = parts.packed.times
    return [
        f"#define UPPER_CONFIRM_UP_MS {times.confirm_up}UL /* readings above must stand so long */",
        f"#define UPPER_CONFIRM_DOWN_MS {times.confirm_down}UL /* readings below must stand so long */",
        f"#define UPPER_RETURN_AFTER_MS {times.return_after}UL /* away, readings that lead to a band */",
        "",
    ]


TOLD = {
    "begin": "Where the cuts of each band and, last, of being away begin.",
    "cut": "Readings at which another answer begins.",
    "entry": "For each answer, one more than cuts, the first step to it; where the band stays, any of its own.",
    "retreat": "The first step to away, from each band and, last, from every coil at rest.",
    "stay": "The cut at which the readings that keep a band end; of being away, one to search from.",
    "coils": "The coils of each band and, last, of being away.",
    "mask": "Steps of all moves: coils to drive; a move ends with those of its band.",
    "wait": "The ms after each step.",
    "end": "And the band that its move ends in.",
}


def _tables(parts: Parts) -> list[str]:
    lines = []
    for one in parts.packed.arrays:
        lines += [f"/* {TOLD[one.name]} */", _table(one), _reader(one), ""]
    lines.append(f"#define UPPER_STEPS {len(parts.packed.mask.values)}U")
    lines.append("")
    return lines


def _table(one: CArray) -> str:
    from textwrap import fill

    values = ", ".join(_constant(value, one) for value in one.values)
    filled = fill(values, TABLE_WIDTH, initial_indent="  ", subsequent_indent="  ")
    return (
        f"static const uint{one.bits}_t LOWER_table_{one.name}[{len(one.values)}] TAPPLAN_TABLE = {{\n{filled}\n}};"
    )


def _constant(value: int, one: CArray) -> str:
    """Masks as bits, all else as numbers; an ending that holds it on every machine."""
    ending = "UL" if one.bits == 32 else "U"
    return f"0x{value:X}{ending}" if one.name in ("coils", "mask") else f"{value}{ending}"


def _reader(one: CArray) -> str:
    read = f"TAPPLAN_READ_{one.bits}(LOWER_table_{one.name}, (place))"
    return f"#define UPPER_{one.name.upper()}(place) {read}"


DECISION = """typedef struct {
  uint8_t band;
  uint8_t above; /* the reading lies above all that keep the band */
  STEP_KIND entry;
} LOWER_found;
"""

FOUND = """/* What a reading leads to. One that cannot be leads away, as one beyond every band would. */
static LOWER_found LOWER_find(uint8_t band, int32_t reading)
{
  LOWER_found found;
  if (OUTSIDE) {
    found.above = (reading < UPPER_READING_LEAST) ? (uint8_t)0U : (uint8_t)1U;
    found.entry = UPPER_RETREAT(band);
  } else {
    const PLACE_KIND stay = UPPER_STAY(band);
    const PLACE_KIND end = UPPER_BEGIN(band + 1U);
    const CUT_KIND read = READ;
    PLACE_KIND place = stay; /* most readings keep the band, or lead to one beside it */
    while ((place < end) && (read >= UPPER_CUT(place))) {
      place++;
    }
    if (place == stay) {
      const PLACE_KIND first = UPPER_BEGIN(band);
      while ((place > first) && (read < UPPER_CUT(place - 1U))) {
        place--;
      }
    }
    found.above = (place > stay) ? (uint8_t)1U : (uint8_t)0U;
    found.entry = UPPER_ENTRY(place + band);
  }
  found.band = (found.entry < UPPER_STEPS) ? UPPER_END(found.entry) : (uint8_t)UPPER_AWAY;
  return found;
}

uint8_t LOWER_next(uint8_t band, int32_t reading)
{
  return LOWER_find((band > UPPER_AWAY) ? (uint8_t)UPPER_AWAY : band, reading).band;
}
"""


def _found(parts: Parts) -> str:
    below = "reading < UPPER_READING_LEAST"
    outside = below if parts.made.most_reading is None else f"({below}) || (reading > UPPER_READING_MOST)"
    bits = parts.packed.cut.bits
    most = f"{2**bits - 1}L"  # what no cut lies above, so that a higher reading decides alike
    narrow = "(CUT_KIND)reading"
    if parts.most_reading >= 2**bits:
        narrow = f"(reading > {most}) ? (CUT_KIND){most} : (CUT_KIND)reading"
    return FOUND.replace("OUTSIDE", outside).replace("READ;", f"{narrow};")


COURSE = """/* The coils of the step that stands. */
static LOWER_mask LOWER_driven(const LOWER_state *state)
{
  return (state->step < UPPER_STEPS) ? UPPER_MASK(state->step) : UPPER_COILS(state->band);
}

/* Step and band once more, turned over: a bit that flips in any of the three is seen. */
static STEP_KIND LOWER_turned(const LOWER_state *state)
{
  return (STEP_KIND)(TURNING ^ state->step ^ state->band);
}

/* A step, or the last of those that follow it at once. */
static void LOWER_enter(LOWER_state *state, STEP_KIND step)
{
  const LOWER_mask last = UPPER_COILS(state->band);
  STEP_KIND at = step;
  while ((at < UPPER_STEPS) && (UPPER_WAIT(at) == 0U) && (UPPER_MASK(at) != last)) {
    at++;
  }
  state->step = at;
  state->turned = LOWER_turned(state);
  state->wait = 0U;
  if (at < UPPER_STEPS) {
    state->wait = UPPER_WAIT(at);
  }
}

static void LOWER_move(LOWER_state *state, uint8_t band, STEP_KIND entry)
{
  state->band = band;
  state->leaving = 0U;
  state->held = 0U;
  LOWER_enter(state, entry);
}

void LOWER_start(LOWER_state *state)
{
  LOWER_move(state, (uint8_t)UPPER_AWAY, UPPER_RETREAT(UPPER_AWAY));
}

uint8_t LOWER_band(const LOWER_state *state)
{
  return state->band;
}

/* One reading that counts: a row is left once readings have led elsewhere for as long as they must. */
static void LOWER_judge(LOWER_state *state, uint16_t elapsed_ms, int32_t reading)
{
  const LOWER_found found = LOWER_find(state->band, reading);
  TIME_KIND needed = (TIME_KIND)((found.above != 0U) ? UPPER_CONFIRM_UP_MS : UPPER_CONFIRM_DOWN_MS);
  if (state->band == UPPER_AWAY) {
    needed = (TIME_KIND)UPPER_RETURN_AFTER_MS;
  }
  if (found.band == state->band) {
    state->leaving = 0U;
  } else {
    if (state->leaving == 0U) {
      state->leaving = 1U;
      state->held = 0U;
    } else {
      const TIME_KIND room = (TIME_KIND)(LONGEST - state->held);
      const TIME_KIND more = (elapsed_ms > room) ? room : (TIME_KIND)elapsed_ms;
      state->held = (TIME_KIND)(state->held + more);
    }
    if (state->held >= needed) {
      LOWER_move(state, found.band, found.entry);
    }
  }
}

LOWER_mask LOWER_step(LOWER_state *state, uint16_t elapsed_ms, int32_t reading)
{
  if ((state->turned != LOWER_turned(state)) || (state->band > UPPER_AWAY)) {
    LOWER_start(state); /* only with damaged memory */
  } else if (state->wait > elapsed_ms) {
    state->wait = (TIME_KIND)(state->wait - elapsed_ms);
  } else {
    state->wait = 0U;
    if (LOWER_driven(state) != UPPER_COILS(state->band)) {
      LOWER_enter(state, (STEP_KIND)(state->step + 1U));
    }
    if (state->wait == 0U) {
      LOWER_judge(state, elapsed_ms, reading);
    }
  }
  return LOWER_driven(state);
}
"""


def _self_test(parts: Parts) -> list[str]:
    kind = f"uint{bits_of([len(one.values) for one in parts.packed.arrays])}_t"
    summing_lines = [line for group in parts.packed.groups for line in _summed(group)]
    test = SELF_TEST.replace("SUMMING", "\n".join(summing_lines)).replace("ANY_KIND", kind)
    return [test.replace("CHECK", f"0x{parts.packed.check:04X}U")]


def _summed(group: Sequence[CArray]) -> list[str]:
    """The loop over arrays of one length, byte by byte, the low byte of a value first."""
    lines = [f"  for (place = 0U; place < {len(group[0].values)}U; place++) {{"]
    for one in group:
        value = f"UPPER_{one.name.upper()}(place)"
        lines += [
            f"    sum = LOWER_summed(sum, (uint8_t)(({value} >> {shift}) & 0xFFU));"
            if one.bits > 8
            else f"    sum = LOWER_summed(sum, {value});"
            for shift in range(0, one.bits, 8)
        ]
    lines += MISLED.get(group[0].name, "").splitlines()
    return [*lines, "  }"]


MISLED = {
    group: f"    if ({found}) {{\n      wrong = UPPER_MISLED;\n    }}"
    for group, found in {
        "entry": "UPPER_ENTRY(place) >= UPPER_STEPS",
        "mask": "UPPER_END(place) > UPPER_AWAY",
    }.items()
}

SELF_TEST = """/* A cyclic sum of 16 bits, x^16 + x^12 + x^5 + 1. */
static uint16_t LOWER_summed(uint16_t before, uint8_t byte)
{
  uint16_t sum = (uint16_t)(before ^ (uint16_t)((uint16_t)byte << 8));
  uint8_t bit;
  for (bit = 0U; bit < 8U; bit++) {
    sum = ((sum & 0x8000U) != 0U) ? (uint16_t)((uint16_t)(sum << 1) ^ 0x1021U) : (uint16_t)(sum << 1);
  }
  return sum;
}

/* Whether thresholds rise, and a reading at each and just below it is decided as the table has it. */
static uint8_t LOWER_test_cuts(uint8_t band)
{
  const PLACE_KIND end = UPPER_BEGIN(band + 1U);
  PLACE_KIND place;
  CUT_KIND last = 0U;
  uint8_t wrong = UPPER_SOUND;
  for (place = UPPER_BEGIN(band); place < end; place++) {
    const CUT_KIND cut = UPPER_CUT(place);
    const PLACE_KIND at = (PLACE_KIND)(place + band);
    if (cut <= last) {
      wrong = UPPER_UNORDERED;
    } else if ((LOWER_next(band, (int32_t)cut) != UPPER_END(UPPER_ENTRY(at + 1U))) ||
               (LOWER_next(band, (int32_t)cut - 1) != UPPER_END(UPPER_ENTRY(at)))) {
      wrong = UPPER_MISJUDGED;
    } else {
      /* as it should be */
    }
    last = cut;
  }
  return wrong;
}

uint8_t LOWER_self_test(void)
{
  uint8_t wrong = UPPER_SOUND;
  uint16_t sum = 0xFFFFU;
  uint8_t band;
  ANY_KIND place;
SUMMING
  if (sum != CHECK) {
    wrong = UPPER_CHANGED;
  }
  for (band = 0U; (band <= UPPER_AWAY) && (wrong == UPPER_SOUND); band++) {
    wrong = LOWER_test_cuts(band);
  }
  return wrong;
}
"""
