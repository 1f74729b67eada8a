/* The final codes of a pixel: source, crossfade, gain, dead pixels, wire order,
 * all on the way out, without a second buffer. Included by paneglow.h.
 */
#ifndef PG_OUTPUT_H
#define PG_OUTPUT_H

enum { PG_FROM_CLIP, PG_FROM_BLACK, PG_FROM_STILL, PG_FROM_SERVICE };

void pg_service_pixel(const struct pg_player *p, const struct pg_walk *w, uint8_t *codes);

/* A walk over the panel: its next strip, 0 after the last; past pixels without an
 * address, 0 at the end of the strip; past n pixels; and how many follow that have
 * one, at most `most`. */
void pg_walk_start(const struct pg_player *p, struct pg_walk *w);
uint8_t pg_walk_strip(const struct pg_player *p, struct pg_walk *w);
uint8_t pg_walk_pixel(const struct pg_player *p, struct pg_walk *w);
void pg_walk_on(struct pg_walk *w, uint16_t n);
uint8_t pg_walk_row(const struct pg_walk *w, uint8_t most);
void pg_walk_missing(struct pg_player *p);

/* Codes before gains of n neighbouring pixels, their source mixed with what a
 * crossfade comes from: in the buffer, or where they stand already. */
#define PG_ROW 48u /* bytes of a buffer */
const uint8_t *pg_row(const struct pg_player *p, const struct pg_walk *w, uint8_t n, uint8_t *buffer);

/* floor(code * gain / 65536) with a gain below 65536, of which the two bytes are
 * given: the product's lowest byte counts for nothing. */
static inline uint8_t pg_scale(uint8_t code, uint8_t low, uint8_t high)
{
	uint8_t carried = (uint8_t)((uint16_t)((uint16_t)code * low) >> 8);
	return (uint8_t)((uint16_t)((uint16_t)code * high + carried) >> 8);
}

/* One data line on its way out. */
struct pg_out {
	struct pg_walk walk;
	uint16_t gain;
	uint8_t line, full, open;
};

static inline void pg_out_line(const struct pg_player *p, struct pg_out *o, uint8_t line)
{
	pg_walk_start(p, &o->walk);
	o->line = line;
	o->open = 0;
}

/* The next pixel of the line in the order of its wires; gives its bytes, 3 or 4,
 * or 0 after the last. */
static inline uint8_t pg_out_pixel(const struct pg_player *p, struct pg_out *o, uint8_t wire[4])
{
	uint8_t buffer[4], d, order;
	const uint8_t *codes;
	while (!o->open || !pg_walk_pixel(p, &o->walk)) {
		do {
			if (!pg_walk_strip(p, &o->walk))
				return 0;
		} while (o->walk.strip.line != o->line);
		o->open = 1;
		o->full = p->rails[o->walk.strip.supply].gain >= PG_FULL;
		o->gain = (uint16_t)p->rails[o->walk.strip.supply].gain;
	}
	codes = pg_row(p, &o->walk, 1, buffer);
	order = o->walk.order;
	for (d = 0; d < o->walk.dies; d++, order >>= 2) {
		uint8_t c = codes[order & 3];
		wire[d] = o->full ? c : pg_scale(c, (uint8_t)o->gain, (uint8_t)(o->gain >> 8));
	}
	pg_walk_on(&o->walk, 1);
	return o->walk.dies;
}

#endif
