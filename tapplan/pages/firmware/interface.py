"""The header of a design's firmware: what a program may call, and the limits it must keep."""

from __future__ import annotations

from tapplan.answers.words import CAUTION
from tapplan.design.fingerprint import fingerprint
from tapplan.pages.cnames import comment, identifiers, wrapped
from tapplan.pages.firmware.parts import Parts, number
from tapplan.version import __version__


def interface(parts: Parts) -> str:
    """The header, with nothing but <stdint.h>."""
    made, upper = parts.made, parts.upper
    bands, relays = identifiers(made.names[:-1]), identifiers(made.table.circuit.relays)
    guard = f"{upper}_{fingerprint(made.table.stated).upper()}_FIRMWARE_H"
    lines = [
        "/*",
        f" * {comment(made.table.design.title)}",
        f" * The controller of design {fingerprint(made.table.stated)}, made by tapplan {__version__}. C99; no heap,",
        " * no floating point, no recursion.",
        *(f" * {line}" for line in parts.told),
        *(f" * {line}" for line in wrapped(comment(CAUTION))),
        " */",
        f"#ifndef {guard}",
        f"#define {guard}",
        f"#ifdef {upper}_BANDS",
        f'#error "{parts.lower} twice in one unit: leave one out, or export it with another --name"',
        "#endif",
        "",
        "#include <stdint.h>",
        "",
        *_figures(parts),
        *(f"#define {upper}_BAND_{band} {place}U" for place, band in enumerate(bands)),
        *(
            f"#define {upper}_COIL_{relay} {number(1 << place)} /* bit of the mask */"
            for place, relay in enumerate(relays)
        ),
        "",
        *_types(parts),
        parts.filled(FUNCTIONS, {}),
        "#endif",
    ]
    return "\n".join(lines) + "\n"


def _figures(parts: Parts) -> list[str]:
    upper, taken = parts.upper, parts.averaging
    usual = "usual in one window" if taken.stated else "an example: the design states none"
    return [
        f"#define {upper}_BANDS {len(parts.made.nodes) - 1}U",
        f"#define {upper}_AWAY {upper}_BANDS /* no band in force: backup, or every coil at rest */",
        f"#define {upper}_NO_READING (-1) /* a reading that is none; so is whatever lies outside the next two */",
        f"#define {upper}_READING_LEAST 0L",
        f"#define {upper}_READING_MOST {parts.most_reading}L",
        f"#define {upper}_TICK_MS {parts.tick_ms}U /* call at least so often */",
        f"#define {upper}_SAMPLES {taken.samples}U /* {usual} */",
        f"#define {upper}_SAMPLES_MOST {taken.most}U /* in one window */",
        f"#define {upper}_SAMPLE_LEAST ({taken.lowest}L)",
        f"#define {upper}_SAMPLE_MOST {taken.highest}L",
        f"#define {upper}_TABLE_BYTES {parts.packed.size}U /* of constant data */",
        f"#define {upper}_SOUND 0U /* the tables are as exported, and are read as they should */",
        f"#define {upper}_CHANGED 1U /* a byte of a table is not as exported */",
        f"#define {upper}_UNORDERED 2U /* thresholds do not rise */",
        f"#define {upper}_MISLED 3U /* an answer is no band, or leads to no step */",
        f"#define {upper}_MISJUDGED 4U /* a reading at a threshold is not decided as the table has it */",
    ]


def _types(parts: Parts) -> list[str]:
    packed, taken = parts.packed, parts.averaging
    fields = {
        "rms": [f"  uint{taken.bits}_t squares; /* of the samples less the middle */", f"  int{taken.bits}_t sum;"],
        "average": [f"  uint{taken.bits}_t sum;"],
        "peak": ["  int32_t most;"],
    }
    return [
        f"typedef uint{packed.coils.bits}_t {parts.lower}_mask; /* bit n: the coil of relay n of the design file */",
        "",
        "typedef struct { /* what the controller remembers; nothing in it is for others to change */",
        f"  uint{packed.time_bits}_t wait; /* ms until the next coil, or until readings count */",
        f"  uint{packed.time_bits}_t held; /* ms for which readings have led elsewhere */",
        f"  uint{packed.step_bits}_t step;",
        f"  uint{packed.step_bits}_t turned; /* step and band, to find a bit that flips */",
        "  uint8_t band;",
        "  uint8_t leaving;",
        f"}} {parts.lower}_state;",
        "",
        "typedef struct { /* the samples of one window, as sums */",
        *fields[taken.detector],
        f"  uint{taken.count_bits}_t count;",
        "  uint8_t wrong; /* a sample lay outside its limits, or there were too many */",
        f"}} {parts.lower}_window;",
        "",
    ]


FUNCTIONS = """/* Begin: no band in force, coils as while away. Call once, before all else, with the coils at rest. */
void LOWER_start(LOWER_state *state);

/* One reading, `elapsed_ms` after the last call (0 is allowed). Returns the coils to drive from now on. */
LOWER_mask LOWER_step(LOWER_state *state, uint16_t elapsed_ms, int32_t reading);

/* The band in force, or UPPER_AWAY. */
uint8_t LOWER_band(const LOWER_state *state);

/* The band that one reading leads to from a band, without waiting; for tests. */
uint8_t LOWER_next(uint8_t band, int32_t reading);

/* UPPER_SOUND, or what is wrong with the tables. Call at power-up, and before coils are driven. */
uint8_t LOWER_self_test(void);

/* An empty window; one more sample; the reading of the window, which is emptied. Without samples, with too many or
 * with one that cannot be, the reading is UPPER_NO_READING. */
void LOWER_clear(LOWER_window *window);
void LOWER_sample(LOWER_window *window, int32_t sample);
int32_t LOWER_reading(LOWER_window *window);
"""
