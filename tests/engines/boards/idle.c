#include "idle.h"

void idle_start(idle_state *state) { *state = 0; }

uint8_t idle_step(idle_state *state, uint16_t elapsed_ms, int32_t reading)
{
  (void)elapsed_ms;
  (void)reading;
  __asm__ __volatile__(".rept COUNT\n nop\n .endr");
  return *state;
}

uint8_t idle_self_test(void) { return 0; }

void idle_clear(idle_window *window) { *window = 0; }

void idle_sample(idle_window *window, int32_t sample) { *window = (uint8_t)sample; }

int32_t idle_reading(idle_window *window) { return *window; }
