/* An ATmega328P as simavr has it: what goes into GPIOR0 is its console, sleep without interrupts its end. */
#include "board.h"

#include <avr/interrupt.h>
#include <avr/sleep.h>
#include <avr/avr_mcu_section.h>

AVR_MCU(16000000, "atmega328p");
AVR_MCU_SIMAVR_CONSOLE(&GPIOR0);

void board_begin(void)
{
  cli();
  TCCR1A = 0;
  TCCR1B = 1;
}

void board_say(char letter) { GPIOR0 = (uint8_t)(letter == '\n' ? '\r' : letter); }

void board_end(void)
{
  sleep_enable();
  sleep_cpu();
}
