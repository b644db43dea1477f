/* What a board gives to the walk: a voice, a clock that counts what is done, and an end. */
#ifndef BOARD_H
#define BOARD_H

#include <stdint.h>

void board_begin(void);
void board_say(char letter);
void board_end(void);

#ifdef __AVR__

#include <avr/io.h>
#include <avr/pgmspace.h>
#define IN_FLASH PROGMEM
#define FROM_FLASH(into, from) memcpy_P(&(into), &(from), sizeof(into))

/* Timer 1 without a divider: cycles. */
static inline uint16_t board_clock(void) { return TCNT1; }
static inline uint16_t board_passed(uint16_t since) { return (uint16_t)(TCNT1 - since); }
static inline uint8_t *board_stack(void) { return (uint8_t *)SP; }

#else

#include <string.h>
#define IN_FLASH
#define FROM_FLASH(into, from) memcpy(&(into), &(from), sizeof(into))

/* SysTick counts down at 16 MHz; the simulator lets 1024 ns pass with each instruction: 16.384 ticks. */
#define TICKS (*(volatile uint32_t *)0xE000E018)
static inline uint32_t board_clock(void) { return TICKS; }
static inline uint16_t board_passed(uint32_t since)
{
  return (uint16_t)((((since - TICKS) & 0xFFFFFF) * 1000 + 8192) / 16384);
}
static inline uint8_t *board_stack(void)
{
  uint8_t *here;
  __asm volatile("mov %0, sp" : "=r"(here));
  return here;
}

#endif
#endif
