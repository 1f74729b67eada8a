/* The recount: what the codes of a refresh draw, with the firmware's own figures.
 * A row of pixels at a time goes through what is asked of it: mixed with what a
 * crossfade comes from, counted, scaled, counted again.
 */
#include <string.h>
#include "table.h"
#include "wide.h"

/* Pixels counted in one step: rows of a law that adds channel by channel, as they
 * stand, and rows that are worked on; pixels of a law that looks at every one. */
#define STEP_PLAIN 120u
#define STEP_ROWS 4u
#define STEP_BY_PIXEL 10u

enum { SUM, LARGEST, CEILING };

/* The law, known to the compiler where a panel has one alone. */
#if PG_WITH_LAWS == 1
#define law_of(part) SUM
#elif PG_WITH_LAWS == 2
#define law_of(part) LARGEST
#elif PG_WITH_LAWS == 4
#define law_of(part) CEILING
#else
#define law_of(part) ((part)->law)
#endif

/* ---- rows of codes */

static PG_FAST void paint(uint8_t *to, const uint8_t *index, const uint8_t *palette, uint8_t n, uint8_t dies)
{
	for (; n > 0; n--) {
		const uint8_t *e = palette + (uint16_t)*index++ * PG_DIES;
		*to++ = *e++;
		*to++ = *e++;
		*to++ = *e++;
		if (PG_DIES == 4 && dies == 4)
			*to++ = *e;
	}
}

#if PG_WITH_FADES
/* (from * (256 - b) + c * b) / 256, rounded down, b being 1 to 255. */
static PG_FAST void mix(uint8_t *to, const uint8_t *from, const uint8_t *c, uint8_t b, uint8_t n)
{
	uint8_t a = (uint8_t)-b;
	for (; n > 0; n--) {
		uint16_t x = (uint16_t)*from++ * a;
		*to++ = (uint8_t)((uint16_t)(x + (uint16_t)*c++ * b) >> 8);
	}
}
#endif

static PG_FAST void scale(uint8_t *to, const uint8_t *c, uint8_t low, uint8_t high, uint8_t n)
{
	for (; n > 0; n--)
		*to++ = pg_scale(*c++, low, high);
}

/* What needs no clip. */
static PG_APART void fill(const struct pg_player *p, const struct pg_walk *walk, uint8_t n, uint8_t *to)
{
	static const uint8_t still[4] = { PG_STILL_RED, PG_STILL_GREEN, PG_STILL_BLUE, PG_STILL_WHITE };
	struct pg_walk w = *walk;
	uint8_t codes[4], d;
	for (; n > 0; n--, w.pixel++) {
#if PG_WITH_SERVICE
		if (p->source == PG_FROM_SERVICE)
			pg_service_pixel(p, &w, codes);
		else
#endif
			for (d = 0; d < 4; d++)
				codes[d] = p->source == PG_FROM_STILL ? still[d] : 0;
		for (d = 0; d < pg_dies(&w); d++)
			*to++ = codes[d];
	}
}

const uint8_t *pg_row(const struct pg_player *p, const struct pg_walk *w, uint8_t n, uint8_t *buffer)
{
	const struct pg_decoder *d = &p->decoder;
	const uint8_t *c = buffer;
	if (p->source != PG_FROM_CLIP)
		fill(p, w, n, buffer);
	else if (pg_palette(d))
		paint(buffer, d->frame + w->pixel, pg_palette(d), n, pg_dies(w));
	else
		c = pg_codes(d) + w->offset;
#if PG_WITH_FADES
	if (p->weight < 256) {
		const uint8_t *from = p->frozen + w->offset;
		if (p->weight == 0)
			return from;
		mix(buffer, from, c, (uint8_t)p->weight, n * pg_dies(w));
		c = buffer;
	}
#endif
	return c;
}

/* ---- counting */

#if PG_WITH_LAWS > 1

/* A product that may pass 32 bits counts as the largest number of them: the law
 * ceiling cuts it lower in any case. */
static PG_APART uint32_t product(const struct pg_part *part, uint8_t law, const uint8_t *codes)
{
	uint32_t sum = 0, x;
	uint8_t d;
	for (d = 0; d < part->dies; d++) {
		x = codes[d] * part->channel[d];
		if (law == LARGEST) {
			if (x > sum)
				sum = x;
		} else {
			sum += x;
			if (sum < x)
				sum = 0xfffffffful;
		}
	}
	if (law == CEILING && sum > part->ceiling * 255u)
		sum = part->ceiling * 255u;
	return sum;
}

static void by_pixel(struct pg_tally *t, const struct pg_part *part, uint8_t law, const uint8_t *c, uint8_t n)
{
	for (; n > 0; n--, c += part->dies) {
		uint32_t x = product(part, law, c);
		t->low += x;
		if (t->low < x)
			t->high++;
	}
}

#endif

/* At most 257 pixels, whose sums fit 16 bits: codes in a row, or with a palette an
 * index each. */
static PG_FAST void by_channel(struct pg_tally *t, const uint8_t *c, const uint8_t *palette, uint8_t n, uint8_t dies)
{
	uint16_t s0 = 0, s1 = 0, s2 = 0, s3 = 0;
	for (; n > 0; n--) {
		const uint8_t *e = c;
		if (palette) {
			e = palette + (uint16_t)*c++ * PG_DIES;
		} else {
			c += dies;
		}
		s0 += e[0];
		s1 += e[1];
		s2 += e[2];
		if (PG_DIES == 4 && dies == 4)
			s3 += e[3];
	}
	t->sums[0] += s0;
	t->sums[1] += s1;
	t->sums[2] += s2;
	if (PG_DIES == 4)
		t->sums[3] += s3;
}

static void count(struct pg_tally *t, const struct pg_part *part, uint8_t law, const uint8_t *c, uint8_t n, uint8_t dies)
{
#if PG_WITH_LAWS > 1
	if (law != SUM) {
		by_pixel(t, part, law, c, n);
		return;
	}
#endif
	(void)part;
	(void)law;
	by_channel(t, c, 0, n, dies);
}

/* A tally's numerators, added up; the part is one of the firmware's constants. */
static PG_APART void add(uint64_t *num, struct pg_tally *t, const struct pg_part *part)
{
	uint32_t channel;
	uint8_t d;
	for (d = 0; d < PG_DIES; d++) {
		pg_flash_copy(&channel, &part->channel[d], 4);
		pg_add_product(num, t->sums[d], channel); /* 0 for a die that it has not */
	}
#if PG_WITH_LAWS > 1
	pg_add_product(num, 1, t->low);
	pg_add_product(num, 0x800000ul, (uint32_t)t->high << 9); /* high x 2^32 */
#endif
	memset(t, 0, sizeof *t);
}

void pg_count_start(struct pg_player *p, uint8_t plain)
{
	uint8_t s;
	p->plain = plain;
	memset(p->num, 0, sizeof p->num);
	if (plain)
		for (s = 0; s < PG_SUPPLIES; s++)
			p->rails[s].light = 0;
	pg_walk_start(p, &p->walk);
}

/* All pixels are counted: from numerators to microamperes. */
static void sum_up(struct pg_player *p)
{
	struct pg_rail *r = p->rails;
	uint8_t s, i;
	for (s = 0; s < pg_supplies(p); s++, r++) {
		r->current = r->idle;
		for (i = 0; i < PG_PARTS; i++) {
			uint64_t *n = &p->num[s][i];
			pg_add_product(n, 1, 254); /* rounded up */
			r->current += (int32_t)pg_divide(n, 255, 0);
		}
	}
}

uint8_t pg_count_step(struct pg_player *p)
{
	struct pg_walk *w = &p->walk;
	struct pg_rail *r;
	const struct pg_part *at, *part = 0; /* among the firmware's constants; and in memory */
#if PG_WITH_LAWS > 1
	struct pg_part copy;
#endif
	uint8_t buffer[PG_ROW], law, rows = STEP_ROWS, most, full;

	if (w->left == 0 && !pg_walk_strip(p, w)) {
		sum_up(p);
		return 1;
	}
	r = &p->rails[pg_supply(w->strip.supply)];
	at = &pg_parts[pg_part_of(w->strip.part)];
#if PG_WITH_LAWS > 1
	pg_flash_copy(&copy, at, sizeof copy);
	part = &copy;
#endif
	law = law_of(part);
	full = (uint8_t)(r->gain >> 16); /* it is no more than PG_FULL */
	most = PG_ROW / pg_dies(w);
	if (law != SUM || p->source != PG_FROM_CLIP)
		rows = 1;
	if (law != SUM) {
		most = STEP_BY_PIXEL;
	} else if (full && p->source == PG_FROM_CLIP && p->weight >= 256) {
		most = STEP_PLAIN; /* nothing is done to them */
		rows = 0;
	}
	while (pg_walk_pixel(p, w)) {
		uint8_t n = pg_walk_row(w, most);
		const uint8_t *c;
		if (rows == 0) {
			const uint8_t *palette = pg_palette(&p->decoder);
			c = palette ? p->decoder.frame + w->pixel : pg_codes(&p->decoder) + w->offset;
			by_channel(&p->scaled, c, palette, n, pg_dies(w));
			if (p->plain)
				by_channel(&p->whole, c, palette, n, pg_dies(w));
		} else {
			c = pg_row(p, w, n, buffer);
			if (p->plain)
				count(&p->whole, part, law == CEILING ? SUM : law, c, n, pg_dies(w));
			if (!full) {
				scale(buffer, c, (uint8_t)r->gain, (uint8_t)(r->gain >> 8), n * pg_dies(w));
				c = buffer;
			}
			count(&p->scaled, part, law, c, n, pg_dies(w));
		}
		pg_walk_on(w, n);
		if (rows <= 1)
			break;
		rows--;
	}
	if (!pg_walk_pixel(p, w)) { /* the strip is whole */
		add(&p->num[pg_supply(w->strip.supply)][pg_part_of(w->strip.part)], &p->scaled, at);
		if (p->plain)
			add(&r->light, &p->whole, at);
	}
	return 0;
}
