/* The final codes of a pixel: source, crossfade, gain, dead pixels, wire order,
 * all on the way out, without a second buffer. Included by paneglow.h.
 */
#ifndef PG_OUTPUT_H
#define PG_OUTPUT_H

enum { PG_FROM_CLIP, PG_FROM_BLACK, PG_FROM_STILL, PG_FROM_SERVICE };

void pg_service_pixel(const struct pg_player *p, const struct pg_walk *w, uint8_t *codes);
void pg_walk_start(const struct pg_player *p, struct pg_walk *w);
uint8_t pg_walk_strip(const struct pg_player *p, struct pg_walk *w);

/* floor(code * gain / 65536) with a gain below 65536, in 16 bits: the product's
 * low half counts by its carry alone. */
static inline uint8_t pg_scale(uint8_t code, uint16_t gain)
{
	uint16_t low = (uint16_t)((uint16_t)code * (uint8_t)gain) >> 8;
	return (uint8_t)((uint16_t)((uint16_t)code * (uint8_t)(gain >> 8) + low) >> 8);
}

/* The codes of a pixel before gains: its source, mixed with what a crossfade
 * comes from. */
static inline void pg_shown(const struct pg_player *p, const struct pg_walk *w, uint8_t *codes)
{
	uint8_t d;
	switch (p->source) {
	case PG_FROM_CLIP:
		pg_pixel_at(&p->decoder, w->pixel, w->offset, w->dies, codes);
		break;
	case PG_FROM_STILL:
		codes[0] = PG_STILL_RED;
		codes[1] = PG_STILL_GREEN;
		codes[2] = PG_STILL_BLUE;
		codes[3] = PG_STILL_WHITE;
		break;
	case PG_FROM_SERVICE:
		pg_service_pixel(p, w, codes);
		break;
	default:
		codes[0] = codes[1] = codes[2] = codes[3] = 0;
	}
	if (p->weight < 256) {
		const uint8_t *from = p->frozen + w->offset;
		uint8_t b = (uint8_t)p->weight;
		for (d = 0; d < w->dies; d++)
			codes[d] = b == 0 ? from[d] : (uint8_t)((uint16_t)((uint16_t)from[d] * (uint8_t)(256u - b) + (uint16_t)codes[d] * b) >> 8);
	}
}

/* Steps over pixels without an address. 0 at the end of the strip. */
static inline uint8_t pg_walk_pixel(const struct pg_player *p, struct pg_walk *w)
{
	while (w->left > 0 && w->pixel == w->gap) {
		w->gap = p->gaps[++w->next];
		w->left--;
		w->pixel++;
		w->offset += w->dies;
	}
	return w->left > 0;
}

static inline void pg_walk_on(struct pg_walk *w)
{
	w->left--;
	w->pixel++;
	w->offset += w->dies;
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
	uint8_t codes[4], d, order;
	while (!o->open || !pg_walk_pixel(p, &o->walk)) {
		do {
			if (!pg_walk_strip(p, &o->walk))
				return 0;
		} while (o->walk.strip.line != o->line);
		o->open = 1;
		o->full = p->rails[o->walk.strip.supply].gain >= PG_FULL;
		o->gain = (uint16_t)p->rails[o->walk.strip.supply].gain;
	}
	pg_shown(p, &o->walk, codes);
	order = o->walk.order;
	for (d = 0; d < o->walk.dies; d++, order >>= 2) {
		uint8_t c = codes[order & 3];
		wire[d] = o->full ? c : pg_scale(c, o->gain);
	}
	pg_walk_on(&o->walk);
	return o->walk.dies;
}

#endif
