#include "table.h"

#if PG_WITH_SERVICE

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
	enum { WHITE = 7, DIE = 8 }; /* red, green, blue are bits 0 to 2 */
	uint16_t i = w->pixel - w->from;
	uint8_t what = 0, d, wide = pg_dies(w) == 4;
	if (p->service == PG_SERVICE_LIGHT) {
		what = wide ? WHITE | DIE : WHITE;
	} else if (p->picture < 3) {
		what = (uint8_t)(1u << p->picture);
	} else if (p->picture == 3) {
		what = wide ? DIE : WHITE;
	} else if (p->picture == 5) {
		if (i == w->runner)
			what = WHITE;
	} else if (i == 0) {
		what = 2;
	} else if (i == w->strip.pixels - 1u) {
		what = 1;
	} else if (i % 10 == 9) {
		what = WHITE;
	}
	for (d = 0; d < 4; d++, what >>= 1)
		*codes++ = what & 1 ? PG_SERVICE_CODE : 0;
}

#endif
