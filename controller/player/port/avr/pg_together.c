/* A refresh whose data lines go out side by side. See pg_together.h. */
#include "pg_avr.h"

#include <avr/interrupt.h>

#if PG_TOGETHER

#if PG_LINES > 8
#error "PG_TOGETHER: a port has eight pins"
#endif

/* The output looks at one byte more. */
static uint8_t rows[PG_LONGEST * PG_ROW_MASKS + 1];

/* A strip's final bytes, into the column of its line. */
static uint8_t *put_strip(const struct pg_player *p, struct pg_walk *w, uint8_t *to)
{
	uint32_t full = p->rails[w->strip.supply].gain;
	uint16_t gain = full == 0 ? 0 : (uint16_t)(full - 1);
	uint8_t buffer[PG_ROW];
	while (pg_walk_pixel(p, w)) {
		uint8_t n = pg_walk_row(w, PG_ROW / 4), d, order = w->order;
		const uint8_t *codes = pg_row(p, w, n, buffer);
		for (d = 0; d < w->dies; d++, order >>= 2, to += PG_ROW_MASKS)
			pg_together_put(to, codes + (order & 3), n, w->dies, gain);
		to += (n - 1u) * (uint16_t)w->dies * PG_ROW_MASKS;
		pg_walk_on(w, n);
	}
	return to;
}

/* The final bytes of all lines, each in its pin's place of the rows; gives the lengths,
 * and the longest. What stands behind the shorter ones is left out by pg_together_turn. */
static uint16_t fill(const struct pg_player *p, uint16_t length[PG_LINES])
{
	struct pg_walk w;
	uint8_t *next[PG_LINES], line;
	uint16_t longest = 0;
	for (line = 0; line < PG_LINES; line++) {
		uint8_t mask = pg_avr_mask(line);
		next[line] = rows;
		while (mask >>= 1)
			next[line]++;
	}
	pg_walk_start(p, &w);
	while (pg_walk_strip(p, &w))
		next[w.strip.line] = put_strip(p, &w, next[w.strip.line]);
	for (line = 0; line < PG_LINES; line++) {
		length[line] = (uint16_t)(next[line] - rows) / PG_ROW_MASKS;
		if (length[line] > longest)
			longest = length[line];
	}
	return longest;
}

/* Runs of rows with the same lines, the shortest line's end first. */
static void plan(const uint16_t length[PG_LINES], struct pg_run run[PG_LINES + 1])
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
}

/* Rows of bytes become rows of masks, run by run. */
static void turn(const struct pg_run *run)
{
	uint8_t *at = rows;
	for (; run->active; run++) {
		pg_together_turn(at, run->count, run->active);
		at += run->count * PG_ROW_MASKS;
	}
}

uint8_t pg_avr_refresh(const struct pg_player *p)
{
	uint16_t length[PG_LINES];
	struct pg_run runs[PG_LINES + 1];
	uint8_t bad;
	if (fill(p, length) == 0)
		return 0;
	plan(length, runs);
	turn(runs);
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
