/* Checksums: the header's before anything is shown, a clip's before it is shown,
 * and once more after it could not be unpacked. CRC-32/ISO-HDLC bit by bit: a table
 * of half bytes would be no faster here. */
#include "table.h"

/* Bytes of CRC in one step: about 0.5 ms. */
#define CRC_STEP 64u

/* What is left of the bits before they are inverted, whatever the block was. */
#define RESIDUE 0xdebb20e3ul

/* One more step over bytes of a CRC that began with ~0; gives the CRC so far. */
static PG_FAST uint32_t over(uint32_t crc, struct pg_cursor *c, uint8_t n)
{
	struct pg_cursor at = *c; /* in registers */
	for (; n > 0; n--) {
		uint8_t bit;
		crc ^= pg_next(&at);
		for (bit = 8; bit > 0; bit--) {
			uint8_t out = (uint8_t)crc & 1u;
			crc >>= 1;
			if (out)
				crc ^= 0xedb88320ul;
		}
	}
	*c = at;
	return crc;
}

uint8_t pg_has(const uint8_t *set, uint8_t i)
{
	return (uint8_t)(set[i >> 3] >> (i & 7) & 1);
}

PG_APART void pg_crc_start(struct pg_sum *s, uint32_t at, uint32_t length)
{
	pg_seek(&s->at, at);
	s->crc = 0xfffffffful;
	s->left = length + 4; /* over its CRC as well, which leaves RESIDUE of a whole one */
}

uint8_t pg_crc_step(struct pg_sum *s)
{
	uint8_t n = s->left > CRC_STEP ? CRC_STEP : (uint8_t)s->left;
	s->crc = over(s->crc, &s->at, n);
	s->left -= n;
	if (s->left > 0)
		return 0;
	s->crc ^= RESIDUE; /* 0: right */
	return 1;
}

/* Whether nothing was found out about a clip. */
static PG_APART uint8_t unknown(const struct pg_player *p, uint8_t clip)
{
	uint8_t at = clip >> 3;
	return !((p->verified[at] | p->found[at] | p->damaged[at]) >> (clip & 7) & 1);
}

/* The clip on show first, then all others. */
uint8_t pg_verify(struct pg_player *p)
{
	uint8_t i = p->crc_clip, bit;
	if (p->crc_done)
		return 0;
	if (p->clip != PG_NONE && i != p->clip && unknown(p, p->clip))
		i = p->clip;
	else if (i == PG_NONE)
		for (i = 0; i < p->clips && !unknown(p, i); i++)
			;
	if (i == p->clips) {
		p->crc_done = 1;
		return 0;
	}
	if (i != p->crc_clip) {
		struct pg_clip c;
		pg_table_clip(p, i, &c);
		p->crc_clip = i;
		pg_crc_start(&p->sum, c.offset, c.length);
	}
	if (!pg_crc_step(&p->sum))
		return 1;
	p->crc_clip = PG_NONE;
	if (p->lost == i)
		p->lost = PG_NONE;
	bit = (uint8_t)(1u << (i & 7));
	/* One that is lost again before it has played through is broken, whatever its
	 * sum says. */
	if (p->sum.crc != 0 || (i == p->clip && p->losses > 1))
		p->damaged[i >> 3] |= bit;
	else
		p->found[i >> 3] |= bit;
	return 1;
}
