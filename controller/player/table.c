#include "table.h"

#define MOST_HEADER 65536ul

uint8_t pg_take8(struct pg_cursor *c)
{
	return pg_next(c);
}

uint16_t pg_take16(struct pg_cursor *c)
{
	uint8_t low = pg_next(c);
	return (uint16_t)(low | (uint16_t)pg_next(c) << 8);
}

uint32_t pg_take32(struct pg_cursor *c)
{
	uint16_t low = pg_take16(c);
	return low | (uint32_t)pg_take16(c) << 16;
}

/* CRC-32/ISO-HDLC by half bytes: 64 bytes of table, about 120 cycles a byte. */
static const uint32_t crc_table[16] PG_FLASH = {
	0x00000000ul, 0x1db71064ul, 0x3b6e20c8ul, 0x26d930acul, 0x76dc4190ul, 0x6b6b51f4ul, 0x4db26158ul, 0x5005713cul,
	0xedb88320ul, 0xf00f9344ul, 0xd6d6a3e8ul, 0xcb61b38cul, 0x9b64c2b0ul, 0x86d3d2d4ul, 0xa00ae278ul, 0xbdbdf21cul
};

static inline PG_FAST uint32_t half(uint32_t crc)
{
	uint32_t t;
	pg_flash_copy(&t, &crc_table[(uint8_t)crc & 15u], sizeof t);
	return crc >> 4 ^ t;
}

PG_FAST uint32_t pg_crc(uint32_t crc, struct pg_cursor *c, uint8_t n)
{
	struct pg_cursor at = *c; /* in registers */
	for (; n > 0; n--)
		crc = half(half(crc ^ pg_next(&at)));
	*c = at;
	return crc;
}

uint8_t pg_table_open(struct pg_player *p)
{
	struct pg_cursor c;
	uint8_t version;
	pg_seek(&c, p->base);
	if (pg_take32(&c) != PG_TABLE_MAGIC) {
		p->trouble = PG_TABLE_NONE;
		return 0;
	}
	version = pg_take8(&c);
	if (version != PG_TABLE_FORMAT) {
		p->trouble = PG_TABLE_VERSION;
		p->detail = version;
		return 0;
	}
	pg_take8(&c);
	pg_take16(&c);
	p->header_length = pg_take32(&c);
	if (p->header_length < PG_TABLE_FIXED + PG_TABLE_SUPPLY + 4 || p->header_length > MOST_HEADER) {
		p->trouble = PG_TABLE_DAMAGED;
		return 0;
	}
	pg_seek(&p->crc_at, p->base);
	p->crc = 0xfffffffful;
	p->crc_left = p->header_length - 4;
	return 1;
}

/* The header's CRC has been found right: what follows was written by a program
 * that checked it, and is checked again where the player's memory depends on it. */
void pg_table_keep(struct pg_player *p)
{
	struct pg_cursor c;
	uint32_t panel, at, clips;
	uint16_t channels, pixels, work;
	uint8_t i;

	pg_seek(&c, p->base + 6);
	p->fps = pg_take16(&c);
	pg_take32(&c);
	pg_take32(&c);
	clips = pg_take32(&c); /* they end where the notes begin */
	panel = pg_take32(&c);
	channels = pg_take16(&c);
	pixels = pg_take16(&c);
	work = pg_take16(&c);
	pg_take16(&c);
	p->silence = pg_take32(&c);
	p->then = pg_take8(&c);
	p->supplies = pg_take8(&c);
	p->load_count = pg_take8(&c);
	p->states = pg_take8(&c);
	p->levels = pg_take8(&c);
	p->clips = pg_take8(&c);
	if (panel != PG_PANEL || channels != PG_CHANNELS || pixels != PG_PIXELS) {
		p->trouble = PG_TABLE_PANEL;
		return;
	}
	if (p->supplies > PG_SUPPLIES || work > PG_WORK) {
		p->trouble = PG_TABLE_LARGE;
		return;
	}
	p->supplies_at = p->base + PG_TABLE_FIXED;
	at = p->supplies_at + (uint16_t)p->supplies * PG_TABLE_SUPPLY;
	/* Loads stand right after the supplies. */
	at += (uint16_t)p->load_count * PG_TABLE_LOAD;
	p->states_at = at;
	at += (uint16_t)p->states * PG_TABLE_STATE;
	p->budgets_at = at;
	at += (uint32_t)((uint16_t)p->states * p->supplies) * PG_TABLE_BUDGET;
	p->levels_at = at;
	at += (uint16_t)p->levels * PG_TABLE_LEVEL;
	p->clips_at = at;
	at += (uint16_t)p->clips * PG_TABLE_CLIP;
	if (p->fps == 0 || p->supplies == 0 || p->states == 0 || p->states > 64 || p->clips == 0 || p->clips > 64 || p->load_count > 16 ||
	    (p->then >= p->states && p->silence > 0) || at + 4 > p->base + p->header_length) {
		p->trouble = PG_TABLE_DAMAGED;
		return;
	}
	p->loads = (uint16_t)((uint16_t)0xffffu >> (16 - p->load_count));
	if (p->load_count == 0)
		p->loads = 0;
	pg_seek(&c, p->supplies_at);
	for (i = 0; i < p->supplies; i++) {
		struct pg_rail *r = &p->rails[i];
		r->steady = (int32_t)pg_take32(&c);
		r->surge = (int32_t)pg_take32(&c);
		r->least = (int32_t)pg_take32(&c);
		r->raise = pg_take32(&c);
		r->slew = pg_take32(&c);
	}
	/* References, once: later reads trust them. */
	for (i = 0; i < p->states; i++) {
		struct pg_state_record s;
		pg_table_state(p, i, &s);
		if (s.clip >= p->clips || (s.at_most > 0 && s.then >= p->states) || s.hand_over > 2)
			p->trouble = PG_TABLE_DAMAGED;
	}
	for (i = 0; i < p->clips; i++) {
		struct pg_clip k;
		pg_table_clip(p, i, &k);
		k.offset -= p->base;
		if (k.frames == 0 || k.work > PG_WORK || k.offset < p->header_length || k.offset > clips || k.length > clips - k.offset ||
		    clips - k.offset - k.length < 4)
			p->trouble = PG_TABLE_DAMAGED;
	}
	for (i = 0; i < p->load_count; i++) {
		uint32_t run, start;
		if (pg_table_load(p, i, &run, &start) >= p->supplies)
			p->trouble = PG_TABLE_DAMAGED;
	}
}

void pg_table_state(const struct pg_player *p, uint8_t state, struct pg_state_record *s)
{
	struct pg_cursor c;
	pg_seek(&c, p->states_at + (uint16_t)state * PG_TABLE_STATE);
	s->clip = pg_take8(&c);
	s->hand_over = pg_take8(&c);
	s->fade = pg_take16(&c);
	s->loads = pg_take16(&c);
	s->flags = pg_take8(&c);
	s->then = pg_take8(&c);
	s->at_most = pg_take32(&c);
}

int32_t pg_table_budget(const struct pg_player *p, uint8_t state, uint8_t supply)
{
	struct pg_cursor c;
	pg_seek(&c, p->budgets_at + (uint32_t)((uint16_t)state * p->supplies + supply) * PG_TABLE_BUDGET);
	return (int32_t)pg_take32(&c);
}

uint8_t pg_table_load(const struct pg_player *p, uint8_t load, uint32_t *run, uint32_t *start)
{
	struct pg_cursor c;
	pg_seek(&c, p->supplies_at + (uint16_t)p->supplies * PG_TABLE_SUPPLY + (uint16_t)load * PG_TABLE_LOAD);
	*run = pg_take32(&c);
	*start = pg_take32(&c);
	return pg_take8(&c);
}

void pg_table_clip(const struct pg_player *p, uint8_t clip, struct pg_clip *out)
{
	struct pg_cursor c;
	pg_seek(&c, p->clips_at + (uint16_t)clip * PG_TABLE_CLIP);
	out->kind = pg_take8(&c);
	out->flags = pg_take8(&c);
	out->work = pg_take16(&c);
	out->frames = pg_take32(&c);
	out->offset = p->base + pg_take32(&c);
	out->length = pg_take32(&c);
}

/* ((L+16)/116)^3 of a lightness in per mille as k/65536, rounded; the straight
 * line below L* = 8 (CIE 15:2018). */
uint32_t pg_linear(uint16_t lightness)
{
	uint64_t q;
	if (lightness > 1000)
		lightness = 1000;
	if (lightness <= 80)
		return (uint32_t)(((uint64_t)lightness * (27ul * PG_FULL) + 121945ul) / 243890ul);
	q = (uint64_t)lightness + 160;
	return (uint32_t)((q * q * q * PG_FULL + 780448000ul) / 1560896000ul);
}

/* The timetable's level now: the last entry of today that has begun, or else the
 * last of the nearest day before. */
void pg_plan(struct pg_player *p)
{
	uint32_t before = p->planned;
	uint8_t back;
	p->planned = PG_FULL;
	for (back = 0; back <= 7; back++) {
		struct pg_cursor c;
		uint8_t day = (uint8_t)((p->day + 14u - back) % 7u), i, found = 0;
		uint32_t best = 0;
		uint16_t level = 0;
		pg_seek(&c, p->levels_at);
		for (i = 0; i < p->levels; i++) {
			uint32_t from = pg_take32(&c);
			uint8_t days = pg_take8(&c);
			uint16_t lightness = pg_take16(&c);
			if ((days >> day & 1) && (!found || from > best) && (back > 0 || from <= p->second)) {
				best = from;
				level = lightness;
				found = 1;
			}
		}
		if (found) {
			p->planned = pg_linear(level);
			break;
		}
	}
	if (p->planned != before)
		p->news = PG_OUTDATED;
}
