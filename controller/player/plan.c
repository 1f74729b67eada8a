/* Levels: how bright the show is by the machine's wish and by the time of day. */
#include "table.h"
#include "wide.h"

/* ((L+16)/116)^3 of a lightness in per mille as k/65536, rounded; the straight
 * line below L* = 8 (CIE 15:2018). */
uint32_t pg_linear(uint16_t lightness)
{
	uint64_t n = 780448000ul;
	uint32_t q;
	if (lightness > 1000)
		lightness = 1000;
	if (lightness <= 80)
		return (lightness * (27ul * PG_FULL) + 121945ul) / 243890ul;
	q = lightness + 160u;
	pg_add_product(&n, PG_FULL, q * q * q);
	return pg_divide(&n, 1560896000ul, 0);
}

/* The timetable's level now: the last entry that has begun, up to a week ago. */
void pg_plan(struct pg_player *p)
{
#if PG_WITH_TIMETABLE
	struct {
		uint32_t from;
		uint8_t days, level[2];
	} e;
	uint32_t best = 0xfffffffful, before = p->planned;
	uint8_t i;
	p->planned = PG_FULL;
	for (i = 0; i < p->levels; i++) {
		uint32_t ago;
		uint8_t day = p->day, back;
		pg_read(p, &e, p->levels_at + i * PG_TABLE_LEVEL, PG_TABLE_LEVEL);
		ago = p->second - e.from;
		for (back = 0; back <= 7; back++, ago += 86400ul) {
			if ((e.days >> day & 1) && (int32_t)ago >= 0) {
				if (ago < best) {
					best = ago;
					p->planned = pg_linear((uint16_t)(e.level[0] | (uint16_t)e.level[1] << 8));
				}
				break;
			}
			day = day == 0 ? 6 : day - 1;
		}
	}
	if (p->planned != before)
		p->news = PG_OUTDATED;
#else
	(void)p;
#endif
}
