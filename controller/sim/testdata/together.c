/* Sends made-up bytes on several lines at once by pg_together_send, as a test asks by
 * macros: T_LENGTHS (of each line, in bytes), PG_TOGETHER (their pins), T_REFRESHES;
 * and interrupts, see busy.h.
 */
#include "busy.h"
#include "pg_together.h"

static const uint16_t lengths[] = { T_LENGTHS };
#define LINES (sizeof lengths / sizeof *lengths)

static uint8_t rows[PG_LONGEST * PG_ROW_MASKS + 1];
static struct pg_run runs[LINES + 1];
uint16_t broken;

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
	for (i = 0; i < sizeof rows; i++)
		rows[i] = 0xa5; /* what was there before is not sent */
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
	at = 0;
	for (n = 0; runs[n].active; n++) {
		pg_together_turn(rows + at * PG_ROW_MASKS, runs[n].count, runs[n].active);
		at += runs[n].count;
	}
	GPIOR1 = 0;
	PG_DDR |= PG_TOGETHER;
	PG_TCCR = 1;
	busy();
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
