/* A refresh whose data lines go out side by side. See pg_together.h. */
#include "pg_avr.h"

#include <avr/interrupt.h>
#include <string.h>

#if PG_TOGETHER

#if PG_LINES > 8
#error "PG_TOGETHER: a port has eight pins"
#endif

/* The output looks at one byte more. */
static uint8_t rows[PG_LONGEST * PG_ROW_MASKS + 1];

/* The final bytes of all lines, each in its pin's place of the rows; gives their
 * lengths. */
static void fill(const struct pg_player *p, uint16_t length[PG_LINES])
{
	struct pg_out out;
	uint8_t line, n, d, wire[4];
	memset(rows, 0, sizeof rows);
	for (line = 0; line < PG_LINES; line++) {
		uint8_t *to = rows, mask = pg_avr_mask(line);
		while (mask >>= 1)
			to++;
		length[line] = 0;
		pg_out_line(p, &out, line);
		while ((n = pg_out_pixel(p, &out, wire)) > 0) {
			length[line] += n;
			for (d = 0; d < n; d++, to += PG_ROW_MASKS)
				*to = wire[d];
		}
	}
}

/* Runs of rows with the same lines, the shortest line's end first; gives their
 * length. */
static uint16_t plan(const uint16_t length[PG_LINES], struct pg_run run[PG_LINES + 1])
{
	uint16_t at = 0, end;
	uint8_t line;
	for (;; run++, at = end) {
		end = 0xffff;
		run->active = 0;
		for (line = 0; line < PG_LINES; line++)
			if (length[line] > at) {
				run->active |= pg_avr_mask(line);
				if (length[line] < end)
					end = length[line];
			}
		if (run->active == 0)
			break;
		run->count = end - at;
		run->go = pg_together_byte;
	}
	run->count = 0;
	run->go = pg_together_end;
	return at;
}

uint8_t pg_avr_refresh(const struct pg_player *p)
{
	uint16_t length[PG_LINES], n;
	struct pg_run runs[PG_LINES + 1];
	uint8_t bad;
	fill(p, length);
	n = plan(length, runs);
	if (n == 0)
		return 0;
	pg_together_turn(rows, n);
	PG_TCCR = 1; /* a count a cycle */
	cli();
	bad = pg_together_send(rows, runs, PG_GUARD);
	sei();
	PG_TCCR = 0;
	return bad;
}

#else
typedef int pg_not_together; /* a source file holds something */
#endif
