#include <string.h>
#include "table.h"

/* Pixels counted in one step: as they stand; of a law that adds channel by channel;
 * and of one that looks at every pixel. */
#define STEP_PLAIN 120u
#define STEP 32u
#define STEP_BY_PIXEL 12u

/* Kept out of line where that is smaller. */
#if defined(__GNUC__)
#define APART __attribute__((noinline))
#else
#define APART
#endif

enum { SUM, LARGEST, CEILING };
enum { FIRST, SECOND, SLEW, LIGHT, HALVE, CLIMBED, COUNT_DONE };

/* What rises in so many microseconds at so much a millisecond, rounded down; the
 * largest number at most. */
static APART uint32_t rise(uint32_t per_ms, uint32_t took)
{
	uint64_t up = (uint64_t)per_ms * took / 1000u;
	return up > 0x7ffffffful ? 0x7ffffffful : (uint32_t)up;
}

/* The budget that a supply's loads leave and the state allows. */
static int32_t target(const struct pg_player *p, uint8_t supply)
{
	const struct pg_rail *r = &p->rails[supply];
	int32_t b = pg_table_budget(p, p->state, supply), steady = r->steady, surge = r->surge;
	uint8_t i, starts = 0;
	uint16_t bit = 1;
	if ((p->at_once.known != p->loads || p->service != PG_SERVICE_OFF) && b > r->least)
		b = r->least;
	if (b > surge)
		b = surge;
	for (i = 0; i < p->load_count; i++, bit <<= 1) {
		uint32_t running, starting;
		if (!((p->at_once.starting | p->at_once.running) & bit) || pg_table_load(p, i, &running, &starting) != supply)
			continue;
		steady -= (int32_t)running;
		if (p->at_once.starting & bit) {
			running = starting;
			starts = 1;
		}
		surge -= (int32_t)running;
	}
	if (b > steady)
		b = steady;
	if (starts && b > surge)
		b = surge;
	return b;
}

void pg_allow(struct pg_player *p, uint32_t took)
{
	struct pg_rail *r = p->rails;
	uint8_t s;
	p->over = 0;
	for (s = 0; s < p->supplies; s++, r++) {
		int32_t b = target(p, s);
		if (b > r->in_force) {
			/* Apart by less than 2^32, whatever their signs. */
			uint32_t up = rise(r->raise, took);
			if ((uint32_t)b - (uint32_t)r->in_force > up)
				b = (int32_t)((uint32_t)r->in_force + up);
		}
		r->in_force = b;
		if (r->idle > b)
			p->over = 1;
	}
}

/* Whether what the strips show has to go: it draws more than a budget, a load
 * waits for a refresh, the level or the pixels changed. */
uint8_t pg_outdated(const struct pg_player *p)
{
	uint8_t s;
	if ((p->owing & 2) || p->at_once.pending)
		return 1;
	for (s = 0; s < p->supplies; s++) {
		const struct pg_rail *r = &p->rails[s];
		if (r->drawn > r->in_force && r->drawn > r->idle)
			return 1;
	}
	return 0;
}

uint8_t pg_owed(const struct pg_player *p)
{
	uint8_t s, risen = 0;
	if (p->owing || p->climbing || pg_outdated(p))
		return 1;
	if (p->gain >= p->level)
		return 0;
	for (s = 0; s < p->supplies; s++) {
		const struct pg_rail *r = &p->rails[s];
		if (r->in_force != target(p, s))
			return 0;
		if (r->held < r->in_force)
			risen = 1;
	}
	return risen;
}

/* What the dark pixels draw, from the firmware's own figures. Where idle changes
 * because a pixel comes or goes, what the strips draw changes with it. */
void pg_idle(struct pg_player *p)
{
	struct pg_walk w;
	uint8_t s;
	int32_t before[PG_SUPPLIES];
	for (s = 0; s < PG_SUPPLIES; s++) {
		before[s] = p->rails[s].idle;
		p->rails[s].idle = 0;
		p->rails[s].pixels = p->rails[s].ceiling = 0;
	}
	pg_walk_start(p, &w);
	while (pg_walk_strip(p, &w)) {
		struct pg_rail *r = &p->rails[w.strip.supply];
		struct pg_part part;
		uint16_t n = w.strip.pixels, end = w.from + w.strip.pixels;
		uint8_t g;
		for (g = 0; p->gaps[g] < end; g++)
			if (p->gaps[g] >= w.from)
				n--;
		pg_flash_copy(&part, &pg_parts[w.strip.part], sizeof part);
		r->idle += (int32_t)(part.idle * n);
		if (n > 0)
			r->pixels = 1;
		if (n > 0 && part.law == CEILING)
			r->ceiling = 1;
	}
	for (s = 0; s < PG_SUPPLIES; s++)
		p->rails[s].drawn += p->rails[s].idle - before[s];
}

/* The greatest gain for which floor(code * gain) surely draws at most limit: the
 * scaled frame has at most light * gain of numerators, so its parts draw less
 * than that divided by 255, and one microampere each for rounding up. */
static APART uint32_t bound(const struct pg_rail *r, int32_t limit)
{
	int32_t room = limit - PG_PARTS;
	uint64_t light;
	if (room <= r->idle)
		return 0;
	light = (uint64_t)((uint32_t)room - (uint32_t)r->idle) * 255u;
	if (r->light <= light)
		return PG_FULL;
	return (uint32_t)(light * PG_FULL / r->light);
}

static void count_start(struct pg_player *p, uint8_t plain)
{
	uint8_t s, i;
	p->plain = plain;
	for (s = 0; s < PG_SUPPLIES; s++) {
		for (i = 0; i < PG_PARTS; i++)
			p->num[s][i] = 0;
		if (plain)
			p->rails[s].light = 0;
	}
	pg_walk_start(p, &p->walk);
}

/* A product that may pass 32 bits counts as the largest number of them: the law
 * ceiling cuts it lower in any case. */
static APART uint32_t product(const struct pg_part *part, const uint8_t *codes)
{
	uint32_t sum = 0, x;
	uint8_t d;
	for (d = 0; d < part->dies; d++) {
		x = codes[d] * part->channel[d];
		if (part->law == LARGEST) {
			if (x > sum)
				sum = x;
		} else {
			sum += x;
			if (sum < x)
				sum = 0xfffffffful;
		}
	}
	if (part->law == CEILING && sum > part->ceiling * 255u)
		sum = part->ceiling * 255u;
	return sum;
}

static APART uint64_t weighed(const struct pg_part *part, const uint32_t *sums)
{
	uint64_t num = 0;
	uint8_t d;
	for (d = 0; d < part->dies; d++)
		num += (uint64_t)sums[d] * part->channel[d];
	return num;
}

/* What is counted of a strip's pixels. */
struct task {
	struct pg_part part;
	uint8_t full, sums, apart;
	uint16_t gain;
};

/* The usual refresh: a clip alone, at full gain, of a law that adds; its codes are
 * added where they stand, at most STEP_PLAIN pixels: the sums fit 16 bits. */
static PG_FAST void count_plain(struct pg_player *p, uint8_t n)
{
	struct pg_walk *w = &p->walk;
	struct pg_tally *t = &p->tally;
	const struct pg_decoder *d = &p->decoder;
	const uint8_t *palette = pg_palette(d), *c = palette ? d->frame + w->pixel : pg_codes(d) + w->offset;
	uint16_t s0 = 0, s1 = 0, s2 = 0, s3 = 0;
	uint8_t wide = w->dies == 4;

	w->left -= n;
	w->pixel += n;
	w->offset += (uint16_t)n * w->dies;
	if (palette)
		for (; n > 0; n--) {
			const uint8_t *e = palette + (uint16_t)*c++ * PG_DIES;
			s0 += e[0];
			s1 += e[1];
			s2 += e[2];
			if (wide)
				s3 += e[3];
		}
	else
		for (; n > 0; n--) {
			s0 += *c++;
			s1 += *c++;
			s2 += *c++;
			if (wide)
				s3 += *c++;
		}
	t->scaled[0] += s0;
	t->scaled[1] += s1;
	t->scaled[2] += s2;
	t->scaled[3] += s3;
}

/* Counts neighbouring pixels, at most STEP: their sums fit 16 bits. */
static PG_FAST void count_run(struct pg_player *p, const struct task *k, uint8_t n)
{
	struct pg_walk w = p->walk;
	struct pg_tally *t = &p->tally;
	uint16_t s0 = 0, s1 = 0, s2 = 0, s3 = 0, p0 = 0, p1 = 0, p2 = 0, p3 = 0, gain = k->gain;
	uint8_t law = k->part.law, full = k->full, sums = k->sums, apart = k->apart, wide = w.dies == 4, codes[4];
	for (; n > 0; n--) {
		pg_shown(p, &w, codes);
		if (sums) {
			p0 += codes[0];
			p1 += codes[1];
			p2 += codes[2];
			if (wide)
				p3 += codes[3];
		}
		if (apart) {
			uint32_t x = product(&k->part, codes);
			t->plain_low += x;
			if (t->plain_low < x)
				t->plain_high++;
		}
		if (!full) {
			codes[0] = pg_scale(codes[0], gain);
			codes[1] = pg_scale(codes[1], gain);
			codes[2] = pg_scale(codes[2], gain);
			if (wide)
				codes[3] = pg_scale(codes[3], gain);
		}
		if (law == SUM) {
			s0 += codes[0];
			s1 += codes[1];
			s2 += codes[2];
			if (wide)
				s3 += codes[3];
		} else {
			uint32_t x = product(&k->part, codes);
			t->low += x;
			if (t->low < x)
				t->high++;
		}
		pg_walk_on(&w);
	}
	p->walk = w;
	t->scaled[0] += s0;
	t->scaled[1] += s1;
	t->scaled[2] += s2;
	t->scaled[3] += s3;
	t->plain[0] += p0;
	t->plain[1] += p1;
	t->plain[2] += p2;
	t->plain[3] += p3;
}

/* Counts some pixels; 1 when those before were the last. */
static uint8_t count_step(struct pg_player *p)
{
	struct pg_walk *w = &p->walk;
	struct pg_tally *t = &p->tally;
	struct pg_rail *r;
	struct task k;
	uint8_t n = STEP, plain;

	if (w->left == 0) {
		if (!pg_walk_strip(p, w)) {
			uint8_t s, i;
			for (s = 0, r = p->rails; s < p->supplies; s++, r++) {
				r->current = r->idle;
				for (i = 0; i < PG_PARTS; i++)
					if (p->num[s][i] > 0) /* the division is slow */
						r->current += (int32_t)(uint32_t)((p->num[s][i] + 254u) / 255u);
			}
			return 1;
		}
		memset(t, 0, sizeof *t);
	}
	r = &p->rails[w->strip.supply];
	pg_flash_copy(&k.part, &pg_parts[w->strip.part], sizeof k.part);
	k.full = r->gain >= PG_FULL;
	k.gain = (uint16_t)r->gain;
	k.sums = p->plain && (k.part.law == CEILING || (k.part.law == SUM && !k.full));
	k.apart = p->plain && k.part.law == LARGEST && !k.full;
	if (k.part.law != SUM)
		n = STEP_BY_PIXEL;
	plain = k.part.law == SUM && k.full && !k.sums && p->source == PG_FROM_CLIP && p->weight >= 256;
	if (plain)
		n = STEP_PLAIN;
	if (pg_walk_pixel(p, w)) {
		if (n > w->left)
			n = (uint8_t)w->left;
		if (w->gap - w->pixel < n)
			n = (uint8_t)(w->gap - w->pixel);
		if (plain)
			count_plain(p, n);
		else
			count_run(p, &k, n);
		pg_walk_pixel(p, w);
	}
	if (w->left == 0) { /* the strip is whole */
		uint64_t num = k.part.law == SUM ? weighed(&k.part, t->scaled) : (uint64_t)t->high << 32 | t->low;
		p->num[w->strip.supply][w->strip.part] += num;
		if (p->plain)
			r->light += k.sums ? weighed(&k.part, t->plain) : k.apart ? (uint64_t)t->plain_high << 32 | t->plain_low : num;
	}
	return 0;
}

static void set_gains(struct pg_player *p, uint32_t gain)
{
	uint8_t s;
	for (s = 0; s < p->supplies; s++)
		p->rails[s].gain = gain;
	p->panel_gain = gain;
}

void pg_scale_start(struct pg_player *p)
{
	set_gains(p, p->level);
	p->stage = FIRST;
	p->rail = 0;
	p->climbing = 0;
	/* Where the last refresh was held back this one will be: count both at once. */
	p->lit = p->capped;
	p->capped = 0;
	count_start(p, p->lit);
}

static void finish(struct pg_player *p)
{
	uint8_t s;
	p->gain = p->panel_gain;
	p->current = 0;
	for (s = 0; s < p->supplies; s++) {
		struct pg_rail *r = &p->rails[s];
		if (r->gain < p->gain)
			p->gain = r->gain;
		r->held = r->in_force;
		r->drawn = r->current;
		p->current += r->current;
	}
}

/* Holds each supply's light against its slew; 1 when a count is wanted. */
static uint8_t climb(struct pg_player *p)
{
	uint32_t up;
	for (; p->rail < p->supplies; p->rail++) {
		struct pg_rail *r = &p->rails[p->rail];
		if (r->slew == 0)
			continue;
		up = rise(r->slew, p->took);
		r->limit = up < 0x7ffffffful - (uint32_t)r->drawn ? r->drawn + (int32_t)up : 0x7fffffffl;
		if (r->current <= r->limit)
			continue;
		p->capped = 1;
		if (!p->lit) {
			p->lit = 1;
			p->stage = LIGHT;
			count_start(p, 1);
			return 1;
		}
		p->climbing = 1;
		r->low = bound(r, r->limit);
		r->high = p->panel_gain;
		if (r->low > r->high)
			r->low = r->high;
		p->halving = r->ceiling ? 9 : 0;
		p->stage = p->halving ? HALVE : CLIMBED;
		r->gain = p->halving ? (r->low + r->high) / 2 : r->low;
		count_start(p, 0);
		return 1;
	}
	return 0;
}

/* One step; 1 when there are more. Under the law ceiling currents do not scale
 * with codes, so there the gap between the sure gain and the panel's is halved
 * nine times by counting; elsewhere the sure gain is close enough. */
uint8_t pg_scale_step(struct pg_player *p)
{
	uint8_t s, over = 0;
	uint32_t gain;
	struct pg_rail *r;

	if (!count_step(p))
		return 1;
	switch (p->stage) {
	case FIRST:
		for (s = 0; s < p->supplies; s++)
			if (p->rails[s].current > p->rails[s].in_force)
				over = 1;
		if (!over)
			break;
		p->capped = 1;
		if (!p->lit) {
			p->lit = 1;
			count_start(p, 1);
			return 1;
		}
		gain = p->level;
		for (s = 0; s < p->supplies; s++) {
			r = &p->rails[s];
			if (r->current > r->in_force) {
				uint32_t k = bound(r, r->in_force);
				if (k < gain)
					gain = k;
			}
		}
		if (gain < p->level) {
			set_gains(p, gain);
			p->stage = SECOND;
			count_start(p, 0);
			return 1;
		}
		break;
	case HALVE:
		r = &p->rails[p->rail];
		if (r->current <= r->limit)
			r->low = r->gain;
		else
			r->high = r->gain;
		if (--p->halving > 0) {
			r->gain = (r->low + r->high) / 2;
		} else {
			r->gain = r->low;
			p->stage = CLIMBED;
		}
		count_start(p, 0);
		return 1;
	case CLIMBED:
		p->rail++;
		break;
	default: /* SECOND; LIGHT: the same rail again, its light known now */
		break;
	}
	p->stage = SLEW;
	if (climb(p))
		return 1;
	finish(p);
	return 0;
}
