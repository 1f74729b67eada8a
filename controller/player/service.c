#include "table.h"

/* Pictures that need no clip: a work light, and a test that shows color by color
 * whether every pixel answers, how many there are and which way the data runs.
 * Each lasts a second.
 *
 *	0, 1, 2   red, green, blue
 *	3         white: the white die where there is one
 *	4         count: every tenth pixel white, the first green, the last red
 *	5         direction: a white pixel runs from the first to the last
 */
void pg_service_pixel(const struct pg_player *p, const struct pg_walk *w, uint8_t *codes)
{
	const uint8_t c = PG_SERVICE_CODE;
	uint16_t i = w->pixel - w->from;
	codes[0] = codes[1] = codes[2] = codes[3] = 0;
	if (p->service == PG_SERVICE_LIGHT) {
		codes[0] = codes[1] = codes[2] = c;
		if (w->dies == 4)
			codes[3] = c;
		return;
	}
	switch (p->picture) {
	case 0:
		codes[0] = c;
		break;
	case 1:
		codes[1] = c;
		break;
	case 2:
		codes[2] = c;
		break;
	case 3:
		if (w->dies == 4)
			codes[3] = c;
		else
			codes[0] = codes[1] = codes[2] = c;
		break;
	case 4:
		if (i == 0)
			codes[1] = c;
		else if (i == w->strip.pixels - 1u)
			codes[0] = c;
		else if (i % 10 == 9)
			codes[0] = codes[1] = codes[2] = c;
		break;
	default:
		if (i == w->runner)
			codes[0] = codes[1] = codes[2] = c;
	}
}

void pg_walk_start(const struct pg_player *p, struct pg_walk *w)
{
	w->pixel = w->offset = w->left = w->at = 0;
	w->next = 0;
	w->dies = 0;
	w->gap = p->gaps[0];
}

uint8_t pg_walk_strip(const struct pg_player *p, struct pg_walk *w)
{
	struct pg_part part;
	w->pixel += w->left;
	w->offset += w->left * w->dies;
	w->left = 0;
	while (w->gap < w->pixel)
		w->gap = p->gaps[++w->next];
	if (w->at >= PG_STRIPS)
		return 0;
	pg_flash_copy(&w->strip, &pg_strips[w->at++], sizeof w->strip);
	pg_flash_copy(&part, &pg_parts[w->strip.part], sizeof part);
	w->dies = part.dies;
	w->order = part.order;
	w->left = w->strip.pixels;
	w->from = w->pixel;
	if (p->source == PG_FROM_SERVICE)
		w->runner = (uint16_t)(p->service_at % p->rate * w->strip.pixels / p->rate);
	return 1;
}
