/* Which table plays. See slots.h. */
#include "slots.h"
#include "bytes.h"
#include "pg_port.h"

/* As the player's own: small all around, fast here. */
#if defined(__GNUC__) && !defined(__clang__)
#define FAST __attribute__((optimize("O2"), noinline))
#else
#define FAST
#endif

#define CELLS_IN_UNIT (PG_STORE_UNIT / PG_STORE_CELL)
#define CELLS ((uint16_t)(CELLS_IN_UNIT * PG_STORE_CELL_UNITS))

/* Where a new record has got to. */
enum { IDLE, LOOK, ERASE, ERASING, WRITE, WRITING };

static uint32_t sum(const uint8_t *b, uint8_t n)
{
	return ~pg_crc32c_over(0xffffffff, b, n);
}

static uint32_t at(uint16_t cell)
{
	return (uint32_t)cell * PG_STORE_CELL;
}

void pg_slots_begin(struct pg_slots *s)
{
	s->number = 0;
	s->length = s->crc = 0;
	s->slot = 0;
	s->minute[0] = s->minute[1] = s->minute[2] = 0;
	s->cell = 0;
	s->next = 0;
	s->step = IDLE;
	s->tries = 0;
}

/* Takes a record that was found right. */
static void keep(struct pg_slots *s)
{
	const uint8_t *r = s->record;
	uint8_t i;
	s->number = pg_get32(r);
	s->slot = r[4];
	for (i = 0; i < 3; i++)
		s->minute[i] = r[5 + i];
	s->length = pg_get32(r + 8);
	s->crc = pg_get32(r + 12);
	s->cell = s->next;
}

uint8_t pg_slots_search(struct pg_slots *s)
{
	const uint8_t *r = s->record;

	if (s->next >= CELLS)
		return PG_SLOTS_DONE;
	pg_store_read(at(s->next), s->record, sizeof s->record);
	if (pg_get32(r + 16) == sum(r, 16) && pg_get32(r) > s->number && r[4] < 2 && pg_get32(r + 8) <= PG_SLOT_SIZE)
		keep(s);
	s->next++;
	return s->next >= CELLS ? PG_SLOTS_DONE : PG_SLOTS_MORE;
}

/* The cell after one, in ring order. */
static uint16_t after(uint16_t cell)
{
	return cell + 1 == CELLS ? 0 : (uint16_t)(cell + 1);
}

void pg_slots_switch(struct pg_slots *s, uint8_t slot, const uint8_t minute[3], uint32_t length, uint32_t crc)
{
	uint8_t *r = s->record, i;

	pg_put32(r, s->number + 1);
	r[4] = slot;
	for (i = 0; i < 3; i++)
		r[5 + i] = minute[i];
	pg_put32(r + 8, length);
	pg_put32(r + 12, crc);
	pg_put32(r + 16, sum(r, 16));
	s->next = s->number == 0 ? 0 : after(s->cell);
	s->tries = 0;
	s->step = LOOK;
}

/* A cell is fresh when all of it is ones: a torn record is left where it is. */
static uint8_t fresh(uint16_t cell)
{
	uint8_t b[4], k, i;
	for (k = 0; k < PG_STORE_CELL / 4; k++) {
		pg_store_read(at(cell) + (uint32_t)4 * k, b, 4);
		for (i = 0; i < 4; i++)
			if (b[i] != 0xff)
				return 0;
	}
	return 1;
}

static uint8_t same(const struct pg_slots *s)
{
	uint8_t b[sizeof s->record], i;
	pg_store_read(at(s->next), b, sizeof b);
	for (i = 0; i < sizeof b; i++)
		if (b[i] != s->record[i])
			return 0;
	return 1;
}

uint8_t pg_slots_step(struct pg_slots *s)
{
	if (pg_store_busy())
		return PG_SLOTS_MORE;
	switch (s->step) {
	case LOOK:
		/* The unit of the record in force is never erased. */
		if (fresh(s->next))
			s->step = WRITE;
		else if (s->next % CELLS_IN_UNIT == 0 && (s->number == 0 || s->next / CELLS_IN_UNIT != s->cell / CELLS_IN_UNIT))
			s->step = ERASE;
		else
			break;
		return PG_SLOTS_MORE;
	case ERASE:
		pg_store_erase(at(s->next));
		s->step = ERASING;
		return PG_SLOTS_MORE;
	case ERASING:
		if (!fresh(s->next))
			break;
		s->step = WRITE;
		return PG_SLOTS_MORE;
	case WRITE:
		pg_store_write(at(s->next), s->record, sizeof s->record);
		s->step = WRITING;
		return PG_SLOTS_MORE;
	case WRITING:
		if (!same(s))
			break;
		keep(s);
		s->step = IDLE;
		return PG_SLOTS_DONE;
	default:
		return PG_SLOTS_FAILED;
	}
	/* This cell takes nothing: the next one, until all were tried. */
	s->next = after(s->next);
	if (++s->tries >= CELLS) {
		s->step = IDLE;
		return PG_SLOTS_FAILED;
	}
	s->step = LOOK;
	return PG_SLOTS_MORE;
}

/* Two tables of 16 words, for the low and the high half of a byte: whole bytes are
 * moved, no bits shifted, which takes a third of the time on an 8-bit processor. One
 * table of 256 words would be 1 KiB. Polynomial 0x82F63B78, reflected. */
FAST uint32_t pg_crc32c_over(uint32_t crc, const uint8_t *b, uint8_t n)
{
	static const uint32_t t[2][16] PG_FLASH = {
		{ 0x00000000ul, 0xf26b8303ul, 0xe13b70f7ul, 0x1350f3f4ul, 0xc79a971ful, 0x35f1141cul, 0x26a1e7e8ul, 0xd4ca64ebul,
		  0x8ad958cful, 0x78b2dbccul, 0x6be22838ul, 0x9989ab3bul, 0x4d43cfd0ul, 0xbf284cd3ul, 0xac78bf27ul, 0x5e133c24ul },
		{ 0x00000000ul, 0x105ec76ful, 0x20bd8edeul, 0x30e349b1ul, 0x417b1dbcul, 0x5125dad3ul, 0x61c69362ul, 0x7198540dul,
		  0x82f63b78ul, 0x92a8fc17ul, 0xa24bb5a6ul, 0xb21572c9ul, 0xc38d26c4ul, 0xd3d3e1abul, 0xe330a81aul, 0xf36e6f75ul } };
	for (; n > 0; n--) {
		uint32_t low, high;
		uint8_t x = *b++ ^ (uint8_t)crc;
		pg_flash_copy(&low, &t[0][x & 15], 4);
		pg_flash_copy(&high, &t[1][x >> 4], 4);
		crc = crc >> 8 ^ low ^ high;
	}
	return crc;
}

uint32_t pg_crc32c(uint32_t crc, uint8_t byte)
{
	return pg_crc32c_over(crc, &byte, 1);
}
