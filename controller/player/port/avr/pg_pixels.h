/* Pixels on their way to the wire: pg_pixels.S. A data line is sent as stretches
 * of pixels that stand one after the other in the frame, on the wire, and in one
 * strip; a pixel without an address on the wire, and a strip, begin a new one.
 */
#ifndef PG_PIXELS_H
#define PG_PIXELS_H

#include <stdint.h>
#include "pg_timing.h"

/* All that the output needs of a stretch, read while its bits go out. A pixel's
 * codes R G B [W] stand at from + key * *index; after each pixel index goes on by
 * one, from by step, frozen by dies. With a palette, key is what a colour
 * takes of it and step is 0; without, key is 0 and step the dies. The fields' places are
 * known to pg_pixels.S. */
struct pg_stretch {
	const uint8_t *index, *from;
	const uint8_t *frozen; /* codes that a crossfade comes from; any when it is over */
	uint16_t count;        /* pixels, 1 and more */
	uint16_t gain;         /* k/65536 less one: 65535 changes nothing; 0 is dark */
	void (*after)(void);   /* pg_pixels_change, or pg_pixels_end of the last */
	uint8_t order[4];      /* which channel is sent first; then, at dies - i, which in place i */
	uint8_t dies;          /* 3 or 4 */
	uint8_t key, step;
	uint8_t guard;         /* PG_GUARD */
};

/* Sends stretches up to the one whose after is pg_pixels_end, on the line of the
 * mask. weight is that of the clip in a crossfade, 1..256 of 256, less one; with a
 * weight of 0 the stretches' from is their frozen. Interrupts are off before and after; they are taken, one at a time, after
 * each byte. 0, or 1: a pause was too long, and nothing was sent after it. */
uint8_t pg_pixels_send(const struct pg_stretch *s, uint8_t mask, uint8_t weight);

/* No functions to call: where the output goes on. */
void pg_pixels_change(void);
void pg_pixels_end(void);

/* Fills order from the two-bit form of a part, as in tables and panel_config.h. */
static inline void pg_pixels_order(struct pg_stretch *s, uint8_t dies, uint8_t order)
{
	uint8_t i;
	s->dies = dies;
	s->order[0] = order & 3;
	for (i = 1; i < dies; i++)
		s->order[(uint8_t)(dies - i)] = order >> (2 * i) & 3;
}

#endif
