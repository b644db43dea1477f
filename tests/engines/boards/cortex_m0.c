/* A Cortex-M0 as QEMU's micro:bit has it: semihosting is its console and its end. */
#include "board.h"

#define SYSTICK_CONTROL (*(volatile uint32_t *)0xE000E010)
#define SYSTICK_RELOAD (*(volatile uint32_t *)0xE000E014)

extern uint32_t ram_top, data_from, data_begin, data_end, bss_begin, bss_end;
int main(void);

/* Semihosting, version 2 of Arm's specification: SYS_WRITEC is 3, SYS_EXIT 0x18 with ADP_Stopped_ApplicationExit. */
static void asked(uint32_t what, uint32_t with)
{
  register uint32_t r0 __asm("r0") = what;
  register uint32_t r1 __asm("r1") = with;
  __asm volatile("bkpt 0xAB" : "+r"(r0) : "r"(r1) : "memory");
}

void board_begin(void)
{
  SYSTICK_RELOAD = 0xFFFFFF;
  SYSTICK_CONTROL = 5;
}

void board_say(char letter) { asked(3, (uint32_t)&letter); }

void board_end(void) { asked(0x18, 0x20026); }

static void stopped(void)
{
  board_say('!');
  board_end();
}

static void reset(void)
{
  uint32_t *from = &data_from, *into;
  for (into = &data_begin; into < &data_end;) *into++ = *from++;
  for (into = &bss_begin; into < &bss_end;) *into++ = 0;
  main();
  board_end();
}

__attribute__((section(".vectors"), used)) static const void *const vectors[16] = {
  &ram_top, (void *)reset, (void *)stopped, (void *)stopped,
};
