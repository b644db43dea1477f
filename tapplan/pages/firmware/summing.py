"""The averaging in C: what a sample adds, and the reading of a window."""

from __future__ import annotations

from tapplan.pages.firmware.averaging import Averaging


def summing(taken: Averaging) -> str:
    """The functions that take samples and give a reading."""
    wide, middle = f"uint{taken.bits}_t", f"{taken.middle}L"
    text = (EMPTY + TAKEN + READING).replace("CLEARED", CLEARED[taken.detector])
    text = text.replace("ADDED", ADDED[taken.detector]).replace("VALUE", VALUE[taken.detector])
    text = (ROOT if taken.detector == "rms" else "") + text
    text = text.replace("FOUR\n", CENTRED if taken.centred else PLAIN)
    least = 2 if taken.centred else 1
    within = "(sample < UPPER_SAMPLE_LEAST) || (sample > UPPER_SAMPLE_MOST)"
    if taken.lowest == 0:  # below nought is then above all
        within = "((uint32_t)sample > (uint32_t)UPPER_SAMPLE_MOST)"
    text = text.replace("OUTSIDE", within)
    text = text.replace("LEAST_COUNT", f"{least}U")
    return text.replace("SIGNED", f"int{taken.bits}_t").replace("WIDE", wide).replace("MIDDLE", middle).rstrip("\n")


CLEARED = {
    "rms": "  window->squares = 0U;\n  window->sum = 0;",
    "average": "  window->sum = 0U;",
    "peak": "  window->most = 0;",
}
ADDED = {
    "rms": """    const SIGNED off = (SIGNED)sample - (SIGNED)MIDDLE;
    const SIGNED square = off * off;
    window->squares += (WIDE)square;
    window->sum += off;""",
    "average": "    window->sum += (WIDE)sample;",
    "peak": """    if (sample > window->most) {
      window->most = sample;
    }""",
}
EMPTY = """void LOWER_clear(LOWER_window *window)
{
CLEARED
  window->count = 0U;
  window->wrong = 0U;
}

"""
TAKEN = """void LOWER_sample(LOWER_window *window, int32_t sample)
{
  if (OUTSIDE || (window->count >= UPPER_SAMPLES_MOST)) {
    window->wrong = 1U;
  } else {
ADDED
    window->count++;
  }
}

"""
READING = """int32_t LOWER_reading(LOWER_window *window)
{
  int32_t reading = UPPER_NO_READING;
  if ((window->wrong == 0U) && (window->count >= LEAST_COUNT)) {
VALUE
  }
  LOWER_clear(window);
  return reading;
}
"""
VALUE = {
    "rms": """    const WIDE count = window->count;
FOUR
    const WIDE nearest = (LOWER_root(fourfold) + 1U) / 2U; /* so rounded to the nearest */
    reading = (int32_t)nearest;""",
    "average": """    const WIDE count = window->count;
    const WIDE nearest = ((2U * window->sum) + count) / (2U * count);
    reading = (int32_t)nearest;""",
    "peak": "    reading = window->most;",
}
CENTRED = """    const WIDE sum = (window->sum < 0) ? (WIDE)(-window->sum) : (WIDE)window->sum;
    const WIDE mean = sum / count;
    const WIDE rest = sum % count; /* what the mean leaves: the square of the sum is taken off exactly */
    const WIDE left = 4U * (window->squares - (mean * (sum + rest)));
    const WIDE fourfold = (left - (((4U * rest * rest) + count - 1U) / count)) / count;
"""
PLAIN = "    const WIDE fourfold = (4U * window->squares) / count;\n"
ROOT = """/* The whole root, bit by bit from the top. */
static WIDE LOWER_root(WIDE square)
{
  WIDE left = square;
  WIDE root = 0U;
  WIDE bit = (WIDE)1U << ((sizeof(WIDE) * 8U) - 2U);
  while (bit != 0U) {
    if (left >= (root + bit)) {
      left -= root + bit;
      root = (root >> 1) + bit;
    } else {
      root >>= 1;
    }
    bit >>= 2;
  }
  return root;
}

"""
