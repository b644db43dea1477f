/* Walks the firmware of one design through stated courses and tells the mask after every step, and what it took;
 * then the reading of each window of samples, and what the reading and the longest of its samples took.
 *
 * DESIGN is what its names begin with, HEADER its file. COURSES holds the steps, each course beginning anew; LENGTHS
 * and SAMPLES hold the windows, one after the other.
 */
#include "board.h"
#include HEADER

#define JOIN(one, two) one##two
#define NAMED(one, two) JOIN(one, two)
#define THE(what) NAMED(DESIGN, what)
#define DEEP 160 /* bytes below the stack that are looked at */
#define PAINT 0xA7

typedef struct {
  uint8_t anew;
  uint16_t elapsed_ms;
  int32_t reading;
} given;

static const given steps[] IN_FLASH = {
#include COURSES
};

static const uint16_t lengths[] IN_FLASH = {
#include LENGTHS
};

static const int32_t samples[] IN_FLASH = {
#include SAMPLES
};

static THE(_state) stage;
static THE(_window) window;
static uint8_t deepest;

static void say(const char *text)
{
  while (*text) board_say(*text++);
}

static void tell(uint32_t number)
{
  static const char digits[] = "0123456789abcdef";
  int8_t place = 28;
  while (place > 0 && !(number >> place)) place = (int8_t)(place - 4);
  for (; place >= 0; place = (int8_t)(place - 4)) board_say(digits[(number >> place) & 15]);
}

static void told(const char *text, uint32_t number)
{
  say(text);
  board_say('=');
  tell(number);
  board_say('\n');
}

/* One step with the stack below painted first, so that what it used can be seen. */
static void walked(uint16_t idle, const given *now)
{
  uint8_t n;
  uint32_t mask;
  uint16_t took;
  volatile uint8_t *below = board_stack();
  for (n = 1; n < DEEP; n++) below[-n] = PAINT;
  {
    const __typeof__(board_clock()) since = board_clock();
    mask = (uint32_t)THE(_step)(&stage, now->elapsed_ms, now->reading);
    took = board_passed(since);
  }
  for (n = DEEP - 1; n > 0 && below[-n] == PAINT;) n--;
  if (n > deepest) deepest = n;
  tell(mask);
  board_say(' ');
  tell((uint32_t)(took - idle));
  board_say('\n');
}

/* A window of so many samples from a place on. */
static void summed(uint16_t idle, uint16_t from, uint16_t length)
{
  uint16_t n, took, longest = 0;
  int32_t sample, reading;
  for (n = from; n < from + length; n++) {
    FROM_FLASH(sample, samples[n]);
    {
      const __typeof__(board_clock()) since = board_clock();
      THE(_sample)(&window, sample);
      took = board_passed(since);
    }
    if (took > longest) longest = took;
  }
  {
    const __typeof__(board_clock()) since = board_clock();
    reading = THE(_reading)(&window);
    took = board_passed(since);
  }
  tell((uint32_t)reading);
  board_say(' ');
  tell((uint32_t)(took - idle));
  board_say(' ');
  tell(longest == 0 ? 0 : (uint32_t)(longest - idle));
  board_say('\n');
}

int main(void)
{
  uint16_t n, idle, from = 0, length;
  given now;
  board_begin();
  {
    const __typeof__(board_clock()) since = board_clock();
    idle = board_passed(since);
  }
  for (n = 0; n < sizeof(steps) / sizeof(steps[0]); n++) {
    FROM_FLASH(now, steps[n]);
    if (now.anew) THE(_start)(&stage);
    walked(idle, &now);
  }
  THE(_clear)(&window);
  for (n = 0; n < sizeof(lengths) / sizeof(lengths[0]); n++) {
    FROM_FLASH(length, lengths[n]);
    summed(idle, from, length);
    from = (uint16_t)(from + length);
  }
  told("stack", deepest);
  told("state", sizeof(stage));
  told("window", sizeof(window));
  told("self_test", THE(_self_test)());
  board_end();
  return 0;
}
