/* Walking over the panel's pixels, strip by strip, in the order of the data; and
 * those that have no address. */
#include "table.h"

const struct pg_part pg_parts[PG_PARTS] PG_FLASH = { PG_PART_LIST };
const struct pg_strip pg_strips[PG_STRIPS] PG_FLASH = { PG_STRIP_LIST };
#if PG_MISSING > 0
static const uint16_t missing[PG_MISSING] PG_FLASH = { PG_MISSING_LIST };
#endif

void pg_walk_start(const struct pg_player *p, struct pg_walk *w)
{
	w->pixel = w->offset = w->left = w->at = 0;
	w->next = 0;
	w->dies = 0;
	w->gap = p->gaps[0];
}

void pg_walk_on(struct pg_walk *w, uint16_t n)
{
	w->left -= n;
	w->pixel += n;
	w->offset += n * pg_dies(w);
}

uint8_t pg_walk_strip(const struct pg_player *p, struct pg_walk *w)
{
	const struct pg_part *part;
	pg_walk_on(w, w->left);
#if PG_GAPS > 0
	while (w->gap < w->pixel)
		w->gap = p->gaps[++w->next];
#endif
	if (w->at >= PG_STRIPS)
		return 0;
	pg_flash_copy(&w->strip, &pg_strips[w->at++], sizeof w->strip);
	part = &pg_parts[pg_part_of(w->strip.part)];
	pg_flash_copy(&w->dies, &part->dies, 2); /* and order */
	w->left = w->strip.pixels;
	w->from = w->pixel;
#if PG_WITH_SERVICE
	if (p->source == PG_FROM_SERVICE)
		w->runner = (uint16_t)(p->service_at % p->rate * w->strip.pixels / p->rate);
#endif
	return 1;
}

uint8_t pg_walk_pixel(const struct pg_player *p, struct pg_walk *w)
{
#if PG_GAPS > 0
	while (w->left > 0 && w->pixel == w->gap) {
		w->gap = p->gaps[++w->next];
		pg_walk_on(w, 1);
	}
#else
	(void)p;
#endif
	return w->left > 0;
}

uint8_t pg_walk_row(const struct pg_walk *w, uint8_t most)
{
	uint16_t n = w->left;
#if PG_GAPS > 0
	uint16_t to = w->gap - w->pixel;
	if (to < n)
		n = to;
#endif
	return n < most ? (uint8_t)n : most;
}

/* What the pixels without an address are when the player begins. */
void pg_walk_missing(struct pg_player *p)
{
	uint8_t i;
	for (i = 0; i <= PG_GAPS; i++)
		p->gaps[i] = PG_GAP_END;
#if PG_MISSING > 0
	for (i = 0; i < PG_MISSING; i++)
		pg_flash_copy(&p->gaps[i], &missing[i], sizeof p->gaps[i]);
#endif
}

#if PG_DEAD > 0

/* Whether the panel was built without a pixel. */
static uint8_t is_missing(uint16_t pixel)
{
#if PG_MISSING > 0
	uint8_t i;
	for (i = 0; i < PG_MISSING; i++) {
		uint16_t m;
		pg_flash_copy(&m, &missing[i], sizeof m);
		if (m == pixel)
			return 1;
	}
#endif
	(void)pixel;
	return 0;
}

uint8_t pg_dead(struct pg_player *p, uint16_t pixel, uint8_t dead)
{
	uint16_t *g = p->gaps, after, k;
	if (pixel >= PG_PIXELS)
		return 1;
	if (p->phase > PG_WAIT)
		return 2;
	while (*g < pixel)
		g++;
	if ((*g == pixel) == !!dead)
		return 0;
	if (dead) {
		if (p->gaps[PG_GAPS - 1] != PG_GAP_END)
			return 1;
		for (after = pixel;; g++) { /* the others one place on */
			k = *g;
			*g = after;
			if (after == PG_GAP_END)
				break;
			after = k;
		}
	} else {
		if (is_missing(pixel))
			return 1;
		do
			g[0] = g[1];
		while (*g++ != PG_GAP_END);
	}
	p->marked++;
	p->news = PG_OUTDATED;
	pg_idle(p);
	return 0;
}

#else

uint8_t pg_dead(struct pg_player *p, uint16_t pixel, uint8_t dead)
{
	(void)p;
	return pixel >= PG_PIXELS || dead ? 1 : 0;
}

#endif
