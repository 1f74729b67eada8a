/* Budgets: what a supply leaves for light, by its loads and the state. */
#include "table.h"
#include "wide.h"

uint32_t pg_rise(uint32_t per_ms, uint32_t took)
{
	uint64_t up = 0;
	uint32_t n;
	pg_add_product(&up, took, per_ms);
	n = pg_divide(&up, 1000, 0);
	return n > 0x7ffffffful ? 0x7ffffffful : n;
}

static PG_APART int32_t lesser(int32_t a, int32_t b)
{
	return a < b ? a : b;
}

/* The budget that a supply's loads leave and the state allows. */
static PG_APART int32_t target(const struct pg_player *p, uint8_t supply)
{
	const struct pg_rail *r = &p->rails[pg_supply(supply)];
	int32_t b, steady = r->steady, surge = r->surge;
	uint8_t starts = 0;
	pg_read(p, &b, p->budgets_at + (uint16_t)(p->state * pg_supplies(p) + pg_supply(supply)) * PG_TABLE_BUDGET, PG_TABLE_BUDGET);
	if (p->at_once.known != p->loads || p->service != PG_SERVICE_OFF)
		b = lesser(b, r->least);
	b = lesser(b, surge);
#if PG_MOST_LOADS > 0
	{
		uint16_t running = p->at_once.running, starting = p->at_once.starting, at = PG_TABLE_FIXED + pg_supplies(p) * PG_TABLE_SUPPLY;
		for (; running | starting; running >>= 1, starting >>= 1, at += PG_TABLE_LOAD) {
			struct {
				int32_t running, starting;
				uint8_t supply;
			} load;
			if (!((running | starting) & 1))
				continue;
			pg_read(p, &load, at, PG_TABLE_LOAD);
			if (PG_SUPPLIES > 1 && load.supply != supply)
				continue;
			steady -= load.running;
			if (starting & 1) {
				load.running = load.starting;
				starts = 1;
			}
			surge -= load.running;
		}
	}
#endif
	b = lesser(b, steady);
	return starts ? lesser(b, surge) : b;
}

void pg_allow(struct pg_player *p, uint32_t took)
{
	struct pg_rail *r = p->rails;
	uint8_t s;
	p->over = 0;
	for (s = 0; s < pg_supplies(p); s++, r++) {
		int32_t b = target(p, s);
		if (b > r->in_force) {
			/* Apart by less than 2^32, whatever their signs. */
			uint32_t up = pg_rise(r->raise, took);
			if ((uint32_t)b - (uint32_t)r->in_force > up)
				b = (int32_t)((uint32_t)r->in_force + up);
		}
		r->in_force = b;
		if (r->idle > b)
			p->over = 1;
	}
}

uint8_t pg_outdated(const struct pg_player *p)
{
	const struct pg_rail *r = p->rails;
	uint8_t s;
	if ((p->owing & 2) || p->at_once.pending)
		return 1;
	for (s = 0; s < pg_supplies(p); s++, r++)
		if (r->drawn > r->in_force && r->drawn > r->idle)
			return 1;
	return 0;
}

uint8_t pg_owed(const struct pg_player *p)
{
	const struct pg_rail *r = p->rails;
	uint8_t s, risen = 0;
	if (p->owing || p->climbing || pg_outdated(p))
		return 1;
	if (p->gain >= p->level)
		return 0;
	for (s = 0; s < pg_supplies(p); s++, r++) {
		if (r->in_force != target(p, s))
			return 0;
		if (r->held < r->in_force)
			risen = 1;
	}
	return risen;
}

/* From the firmware's own figures. Where idle changes because a pixel comes or
 * goes, what the strips draw changes with it. */
void pg_idle(struct pg_player *p)
{
	struct pg_walk w;
	uint8_t s;
	for (s = 0; s < PG_SUPPLIES; s++) {
		p->rails[s].drawn -= p->rails[s].idle;
		p->rails[s].idle = 0;
	}
	pg_walk_start(p, &w);
	while (pg_walk_strip(p, &w)) {
		uint32_t idle;
		pg_flash_copy(&idle, &pg_parts[pg_part_of(w.strip.part)].idle, 4);
		while (pg_walk_pixel(p, &w)) {
			uint8_t n = pg_walk_row(&w, 255);
			p->rails[pg_supply(w.strip.supply)].idle += (int32_t)(idle * n);
			pg_walk_on(&w, n);
		}
	}
	for (s = 0; s < PG_SUPPLIES; s++)
		p->rails[s].drawn += p->rails[s].idle;
}
