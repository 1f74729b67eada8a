#include "pg_probe.h"

#include <avr/interrupt.h>
#include "pg_pixels.h"

/* Cycles of the pause that are none of the wait's: from the last fall to the look
 * at the clock, and from the end of the wait to the first rise. Found in the
 * simulator (controller/sim, TestProbe); a turn of the wait takes 11. */
#define AROUND 212u

static void fill(struct pg_stretch *s, uint8_t dies, uint8_t count, const uint8_t *bytes)
{
	s->index = s->from = s->frozen = bytes;
	s->count = count;
	s->gain = 65535u;
	s->after = pg_pixels_end;
	s->key = s->step = 0;
	s->guard = PG_GUARD;
	pg_pixels_order(s, dies, 0xe4); /* bytes as they stand */
}

uint8_t pg_probe(uint8_t mask, uint8_t dies, uint8_t first, const uint8_t *a, uint16_t pause, uint8_t second, const uint8_t *b)
{
	struct pg_stretch s, t;
	uint16_t from, wait;
	uint8_t sreg = SREG;

	if (pause < PG_PROBE_LEAST || pause > PG_PROBE_MOST || first == 0 || second == 0)
		return 1;
	wait = (uint16_t)(pause * 16u) - AROUND;
	fill(&s, dies, first, a);
	fill(&t, dies, second, b);
	PG_TCCR = 1;
	cli();
	pg_pixels_send(&s, mask, 255);
	from = TCNT5;
	while ((uint16_t)(TCNT5 - from) < wait)
		;
	pg_pixels_send(&t, mask, 255);
	PG_TCCR = 0;
	SREG = sreg;
	return 0;
}
