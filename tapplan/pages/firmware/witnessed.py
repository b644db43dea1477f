"""The host program that comes with a design's firmware: every decision beside a threshold, and a course in time."""

from __future__ import annotations

from collections.abc import Iterator

from tapplan.control.standing import AWAY
from tapplan.pages.firmware.parts import Parts, number
from tapplan.pages.firmware.rehearsed import NO_READING, rehearsed


def host_program(parts: Parts) -> str:
    """A program for a computer: it runs all vectors, prints what is wrong, and ends with 1 if anything is."""
    places = {"DECIDED": ",\n".join(_decided(parts)), "CALLED": ",\n".join(_called(parts))}
    return parts.filled(PROGRAM, places)


def _decided(parts: Parts) -> Iterator[str]:
    made = parts.made
    marks = {one for mark in made.thresholds for one in (mark - 1, mark)}
    beyond = {NO_READING} if made.most_reading is None else {NO_READING, made.most_reading, made.most_reading + 1}
    for place, standing in enumerate(made.standings):
        for reading in sorted(marks | beyond):
            cannot = reading < 0 or reading > parts.most_reading
            then = made.number(AWAY if cannot else made.decided(standing, reading))
            yield f"  {{{place}U, {then}U, {reading}L}}"


def _called(parts: Parts) -> Iterator[str]:
    for one in rehearsed(parts.made, parts.tick_ms):
        yield f"  {{{one.count}UL, {one.reading}L, {one.band}U, {number(one.mask)}}}"


PROGRAM = """/* TITLE
 * Runs the vectors of this design on a computer:
 *   cc -std=c99 -o vectors vectors.c LOWER.c && ./vectors
 */
#include <stdio.h>
#include "LOWER.h"

/* From a band, with a reading, to a band. */
static const struct { uint8_t from; uint8_t to; int32_t reading; } decided[] = {
DECIDED
};

/* So many calls a tick apart with one reading: the band and the coils after each. */
static const struct { uint32_t count; int32_t reading; uint8_t band; LOWER_mask mask; } called[] = {
CALLED
};

static int decisions(void)
{
  int wrong = 0;
  unsigned place;
  for (place = 0U; place < sizeof decided / sizeof decided[0]; place++) {
    const uint8_t to = LOWER_next(decided[place].from, decided[place].reading);
    if (to != decided[place].to) {
      printf("from band %u with reading %ld: to %u, expected %u\\n", (unsigned)decided[place].from,
             (long)decided[place].reading, (unsigned)to, (unsigned)decided[place].to);
      wrong++;
    }
  }
  return wrong;
}

static int course(void)
{
  LOWER_state state;
  int wrong = 0;
  unsigned place;
  LOWER_start(&state);
  for (place = 0U; place < sizeof called / sizeof called[0]; place++) {
    uint32_t call;
    for (call = 0U; call < called[place].count; call++) {
      const LOWER_mask mask = LOWER_step(&state, UPPER_TICK_MS, called[place].reading);
      if ((mask != called[place].mask) || (LOWER_band(&state) != called[place].band)) {
        printf("line %u, call %lu: coils 0x%lX in band %u, expected 0x%lX in %u\\n", place, (unsigned long)call,
               (unsigned long)mask, (unsigned)LOWER_band(&state), (unsigned long)called[place].mask,
               (unsigned)called[place].band);
        wrong++;
      }
    }
  }
  return wrong;
}

int main(void)
{
  const int tables = (int)LOWER_self_test();
  const int wrong = decisions() + course();
  if (tables != 0) {
    printf("self-test: %d\\n", tables);
  }
  printf("%lu decisions, %lu lines of a course: %d wrong\\n", (unsigned long)(sizeof decided / sizeof decided[0]),
         (unsigned long)(sizeof called / sizeof called[0]), wrong);
  return ((wrong != 0) || (tables != 0)) ? 1 : 0;
}
"""
