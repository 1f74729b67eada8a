/* What the machine tells. All of it comes into force together with the next
 * refresh. */
#include "table.h"

uint8_t pg_state(struct pg_player *p, uint8_t state, uint32_t now)
{
	if (state >= p->states)
		return 1;
	p->wish = state;
	p->wished = now;
	return 0;
}

uint8_t pg_value(struct pg_player *p, uint8_t value)
{
	if (value != p->value_told)
		p->news |= 1;
	p->value_told = value;
	return 0;
}

/* A load's bit, its condition being known from now on; 0 when there is none. */
static uint16_t one(struct pg_player *p, uint8_t load)
{
	uint16_t bit = (uint16_t)1 << (load & 15);
	if (load >= p->load_count)
		return 0;
	p->facts.known |= bit;
	p->news |= 1;
	return bit;
}

uint8_t pg_ask(struct pg_player *p, uint8_t load)
{
	uint16_t bit = one(p, load);
	p->facts.starting |= bit;
	p->facts.pending |= bit;
	return !bit;
}

uint8_t pg_running(struct pg_player *p, uint8_t load)
{
	uint16_t bit = one(p, load);
	p->facts.running |= bit;
	p->facts.starting &= (uint16_t)~bit;
	return !bit;
}

uint8_t pg_stopped(struct pg_player *p, uint8_t load)
{
	uint16_t bit = one(p, load), others = (uint16_t)~bit;
	p->facts.running &= others;
	p->facts.starting &= others;
	p->facts.pending &= others;
	return !bit;
}

uint8_t pg_loads(struct pg_player *p, uint16_t mask)
{
	if (mask & (uint16_t)~p->loads)
		return 1;
	p->facts.known = p->loads;
	p->facts.running = mask;
	p->facts.starting = p->facts.pending; /* a load that waits for its answer still waits */
	p->news |= 1;
	return 0;
}

uint8_t pg_level(struct pg_player *p, uint16_t lightness)
{
	if (lightness > 1000)
		return 1;
	p->told = pg_linear(lightness);
	p->news = PG_OUTDATED;
	return 0;
}

uint8_t pg_clock(struct pg_player *p, uint8_t day, uint32_t second)
{
	if (day > 6 || second >= 86400ul)
		return 1;
	p->day = day;
	p->second = second;
	p->micros = 0;
	pg_plan(p);
	return 0;
}

void pg_host(struct pg_player *p, uint32_t now)
{
	p->host = now;
	p->silent = 0;
}

uint8_t pg_service(struct pg_player *p, uint8_t mode)
{
	if (mode > (PG_WITH_SERVICE ? PG_SERVICE_TEST : PG_SERVICE_OFF))
		return 1;
	p->service_told = mode;
	return 0;
}
