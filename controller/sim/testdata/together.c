/* Sends made-up bytes on several lines at once by pg_together_send, as a test asks by
 * macros: T_LENGTHS (of each line, in bytes), PG_TOGETHER (their pins), T_REFRESHES.
 * With T_ISR_CYCLES, timer 1 asks for an interrupt every T_ISR_EVERY cycles whose
 * routine takes T_ISR_CYCLES cycles in all, as in pixels.c.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include "pg_together.h"

#define LOOP ((T_ISR_CYCLES - 5 - 3 - 5 - 12) / 3)
#define PAD ((T_ISR_CYCLES - 5 - 3 - 5 - 12) % 3)

#ifdef T_ISR_CYCLES
ISR(TIMER1_COMPA_vect, ISR_NAKED)
{
	__asm__ volatile("push r24\n\tin r24, __SREG__\n\tpush r24\n\t"
			 "ldi r24, %0\n"
			 "1:\tdec r24\n\tbrne 1b\n\t"
			 ".rept %1\n\tnop\n\t.endr\n\t"
			 "pop r24\n\tout __SREG__, r24\n\tpop r24\n\tnop\n\tnop\n\treti" ::"M"(LOOP), "M"(PAD));
}
#endif

static const uint16_t lengths[] = { T_LENGTHS };
#define LINES (sizeof lengths / sizeof *lengths)

static uint8_t rows[PG_LONGEST * PG_ROW_MASKS + 1];
static struct pg_run runs[LINES + 1];
uint16_t broken;
static uint32_t seed = 1;

static uint8_t lot(void)
{
	seed = seed * 1664525ul + 1013904223ul;
	return (uint8_t)(seed >> 24);
}

static uint8_t pin(uint8_t line)
{
	uint8_t i = 0;
	for (;; i++)
		if (PG_TOGETHER >> i & 1 && line-- == 0)
			return i;
}

int main(void)
{
	uint16_t at = 0, i;
	uint8_t line, n = 0;
	for (line = 0; line < LINES; line++)
		for (i = 0; i < lengths[line]; i++)
			rows[i * PG_ROW_MASKS + pin(line)] = lot();
	for (;; n++) {
		uint16_t end = 0xffff;
		for (line = 0; line < LINES; line++)
			if (lengths[line] > at) {
				runs[n].active |= 1 << pin(line);
				if (lengths[line] < end)
					end = lengths[line];
			}
		runs[n].go = pg_together_end;
		if (!runs[n].active)
			break;
		runs[n].go = pg_together_byte;
		runs[n].count = end - at;
		at = end;
	}
	GPIOR1 = 2;
	pg_together_turn(rows, at);
	GPIOR1 = 0;
	PG_DDR |= PG_TOGETHER;
	PG_TCCR = 1;
#ifdef T_ISR_CYCLES
	OCR1A = T_ISR_EVERY - 1;
	TCCR1B = 1 << WGM12 | 1 << CS10;
	TIMSK1 = 1 << OCIE1A;
#endif
	for (i = 0; i < T_REFRESHES; i++) {
		uint16_t k;
		GPIOR1 = 1;
		cli();
		broken += pg_together_send(rows, runs, PG_GUARD);
		sei();
		GPIOR1 = 0;
		for (k = 0; k < 2000; k++) /* the latch, 0.5 ms and more */
			__asm__ volatile("nop\n\tnop");
	}
	GPIOR0 = 255;
	for (;;)
		;
}
