/* Checksums: the header's before anything is shown, a clip's before it is shown,
 * and once more after it could not be unpacked. CRC-32/ISO-HDLC by half bytes: 64
 * bytes of table, about 120 cycles a byte. */
#include "table.h"

/* Bytes of CRC in one step: about 0.5 ms. */
#define CRC_STEP 64u

static const uint32_t crc_table[16] PG_FLASH = {
	0x00000000ul, 0x1db71064ul, 0x3b6e20c8ul, 0x26d930acul, 0x76dc4190ul, 0x6b6b51f4ul, 0x4db26158ul, 0x5005713cul,
	0xedb88320ul, 0xf00f9344ul, 0xd6d6a3e8ul, 0xcb61b38cul, 0x9b64c2b0ul, 0x86d3d2d4ul, 0xa00ae278ul, 0xbdbdf21cul
};

static inline uint32_t half(uint32_t crc)
{
	uint32_t t;
	pg_flash_copy(&t, &crc_table[(uint8_t)crc & 15u], sizeof t);
	return crc >> 4 ^ t;
}

/* One more step over bytes of a CRC that began with ~0; gives the CRC so far. */
static PG_FAST uint32_t over(uint32_t crc, struct pg_cursor *c, uint8_t n)
{
	struct pg_cursor at = *c; /* in registers */
	for (; n > 0; n--) {
		uint8_t twice;
		crc ^= pg_next(&at);
		for (twice = 2; twice > 0; twice--)
			crc = half(crc);
	}
	*c = at;
	return crc;
}

uint8_t pg_has(const uint8_t *set, uint8_t i)
{
	return (uint8_t)(set[i >> 3] >> (i & 7) & 1);
}

uint8_t pg_crc_step(struct pg_player *p)
{
	uint8_t n = p->crc_left > CRC_STEP ? CRC_STEP : (uint8_t)p->crc_left;
	p->crc = over(p->crc, &p->crc_at, n);
	p->crc_left -= n;
	if (p->crc_left > 0)
		return 0;
	p->crc = ~p->crc ^ pg_take32(&p->crc_at); /* 0: right */
	return 1;
}

static uint8_t unknown(const struct pg_player *p, uint8_t clip)
{
	return !pg_has(p->verified, clip) && !pg_has(p->found, clip) && !pg_has(p->damaged, clip);
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
		p->crc = 0xfffffffful;
		p->crc_left = c.length;
		pg_seek(&p->crc_at, c.offset);
	}
	if (!pg_crc_step(p))
		return 1;
	p->crc_clip = PG_NONE;
	if (p->lost == i)
		p->lost = PG_NONE;
	bit = (uint8_t)(1u << (i & 7));
	/* One that is lost again before it has played through is broken, whatever its
	 * sum says. */
	if (p->crc != 0 || (i == p->clip && p->losses > 1))
		p->damaged[i >> 3] |= bit;
	else
		p->found[i >> 3] |= bit;
	return 1;
}
