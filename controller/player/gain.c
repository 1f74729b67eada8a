/* The gains of a refresh: the level, held back until every supply keeps its
 * budget, and further until its slew is kept. Each is found by counting.
 */
#include "table.h"
#include "wide.h"

enum { FIRST, SECOND, SLEW, LIGHT, HALVE, CLIMBED };

/* The greatest gain for which floor(code * gain) surely draws at most limit: the
 * scaled frame has at most light * gain of numerators, so its parts draw less
 * than that divided by 255, and one microampere each for rounding up. */
static PG_APART uint32_t bound(const struct pg_rail *r, int32_t limit)
{
	uint64_t room = 0;
	uint32_t gain;
	if (limit <= r->idle + PG_PARTS)
		return 0;
	pg_add_product(&room, 255ul << 16, (uint32_t)(limit - PG_PARTS - r->idle));
	gain = pg_divide(&room, (uint32_t)r->light, pg_above_32(&r->light));
	return gain > PG_FULL ? PG_FULL : gain;
}

static void set_gains(struct pg_player *p, uint32_t gain)
{
	uint8_t s;
	for (s = 0; s < pg_supplies(p); s++)
		p->rails[s].gain = gain;
	p->panel_gain = gain;
}

void pg_scale_start(struct pg_player *p)
{
	set_gains(p, p->level);
	p->stage = FIRST;
	p->climbing = 0;
	/* Where the last refresh was held back this one will be: count both at once. */
	p->lit = p->capped;
	p->capped = 0;
	pg_count_start(p, p->lit);
}

static void finish(struct pg_player *p)
{
	struct pg_rail *r = p->rails;
	uint8_t s;
	p->gain = p->panel_gain;
	p->current = 0;
	for (s = 0; s < pg_supplies(p); s++, r++) {
		if (r->gain < p->gain)
			p->gain = r->gain;
		r->held = r->in_force;
		r->drawn = r->current;
		p->current += r->current;
	}
}

/* Whether the light is known now that a gain is sought by; else counts it first. */
static uint8_t lit(struct pg_player *p)
{
	p->capped = 1;
	if (p->lit)
		return 1;
	p->lit = 1;
	pg_count_start(p, 1);
	return 0;
}

#if PG_WITH_SLEW

/* Whether a supply has pixels of the law ceiling. */
static uint8_t has_ceiling(const struct pg_player *p, uint8_t supply)
{
#if PG_WITH_LAWS & 4
	struct pg_walk w;
	pg_walk_start(p, &w);
	while (pg_walk_strip(p, &w)) {
		uint8_t law;
		pg_flash_copy(&law, &pg_parts[pg_part_of(w.strip.part)].law, 1);
		if (w.strip.supply == supply && law == 2 && pg_walk_pixel(p, &w))
			return 1;
	}
#endif
	(void)p;
	(void)supply;
	return 0;
}

/* Holds each supply's light against its slew; 1 when a count is wanted. */
static uint8_t climb(struct pg_player *p)
{
	for (; p->rail < pg_supplies(p); p->rail++) {
		struct pg_rail *r = &p->rails[pg_supply(p->rail)];
		uint32_t up;
		if (r->slew == 0)
			continue;
		up = pg_rise(r->slew, p->took);
		r->limit = up < 0x7ffffffful - (uint32_t)r->drawn ? r->drawn + (int32_t)up : 0x7fffffffl;
		if (r->current <= r->limit)
			continue;
		p->stage = LIGHT;
		if (!lit(p))
			return 1;
		p->climbing = 1;
		r->low = bound(r, r->limit);
		r->high = p->panel_gain;
		if (r->low > r->high)
			r->low = r->high;
		p->halving = has_ceiling(p, p->rail) ? 9 : 0;
		p->stage = p->halving ? HALVE : CLIMBED;
		r->gain = p->halving ? (r->low + r->high) / 2 : r->low;
		pg_count_start(p, 0);
		return 1;
	}
	return 0;
}

#endif

/* One step; 1 when there are more. Under the law ceiling currents do not scale
 * with codes, so there the gap between the sure gain and the panel's is halved
 * nine times by counting; elsewhere the sure gain is close enough. */
uint8_t pg_scale_step(struct pg_player *p)
{
	struct pg_rail *r = p->rails;

	if (!pg_count_step(p))
		return 1;
	if (p->stage == FIRST) {
		uint32_t gain = p->level;
		uint8_t s;
		p->rail = 0;
		for (s = 0; s < pg_supplies(p); s++, r++) {
			uint32_t k;
			if (r->current <= r->in_force)
				continue;
			if (!lit(p))
				return 1;
			k = bound(r, r->in_force);
			if (k < gain)
				gain = k;
		}
		if (gain < p->level) {
			set_gains(p, gain);
			p->stage = SECOND;
			pg_count_start(p, 0);
			return 1;
		}
	}
#if PG_WITH_SLEW
	r = &p->rails[pg_supply(p->rail)];
	if (p->stage == HALVE) {
		if (r->current <= r->limit)
			r->low = r->gain;
		else
			r->high = r->gain;
		r->gain = (r->low + r->high) / 2;
		if (--p->halving == 0) {
			r->gain = r->low;
			p->stage = CLIMBED;
		}
		pg_count_start(p, 0);
		return 1;
	}
	if (p->stage == CLIMBED)
		p->rail++;
	p->stage = SLEW;
	if (climb(p))
		return 1;
#endif
	finish(p);
	return 0;
}
