/* In place of firmware: a step that does nothing, so many times. */
#ifndef IDLE_H
#define IDLE_H
#include <stdint.h>
typedef uint8_t idle_state;
typedef uint8_t idle_window;
void idle_start(idle_state *state);
uint8_t idle_step(idle_state *state, uint16_t elapsed_ms, int32_t reading);
uint8_t idle_self_test(void);
void idle_clear(idle_window *window);
void idle_sample(idle_window *window, int32_t sample);
int32_t idle_reading(idle_window *window);
#endif
