/* Taking a table in. See upload.h. */
#include "upload_parts.h"
#include "link.h"

void pg_upload_start(struct pg_upload *u, struct pg_slots *s, uint32_t layout)
{
	u->slots = s;
	u->layout = layout;
	u->length = u->crc = u->next = u->flushed = 0;
	u->doing = NOTHING;
	u->writing = FILLING;
	u->trouble = PG_OK;
#if PG_STORE_STOPS
	u->ahead.open = 0;
#endif
	u->replies = 0;
	u->from = u->pages;
	u->bytes = 0;
	u->oldest = u->at = 0;
	u->source = u->left = u->sum = 0;
}

/* A range of a slot: 0 the one in force, 1 the one being loaded. */
static uint8_t range(const struct pg_upload *u, uint8_t which, uint32_t offset, uint32_t n, uint32_t *at)
{
	uint32_t end = which == 0 ? (u->slots->number != 0 ? u->slots->length : 0) : PG_SLOT_SIZE;
	if (which > 1 || offset > end || n > end - offset)
		return 0;
	*at = PG_SLOT_AT(which == 0 ? u->slots->slot : pg_upload_slot(u)) + offset;
	return 1;
}

static uint8_t begin(struct pg_upload *u, const uint8_t *b)
{
	uint32_t length = pg_get32(b);
	if (length == 0 || length > PG_SLOT_SIZE)
		return PG_OUT_OF_RANGE;
	if (pg_get32(b + 8) != u->layout)
		return PG_REFUSED;
	if (!pg_safe_to_write())
		return PG_BUSY;
	u->length = length;
	u->crc = pg_get32(b + 4);
	u->next = u->flushed = 0;
	u->oldest = u->at = 0;
	u->writing = FILLING;
	u->trouble = PG_OK;
	u->reply[0] = pg_upload_slot(u);
	pg_put32(u->reply + 1, PG_STORE_UNIT);
	u->replies = 5;
	return PG_OK;
}

/* Goes to an offset: where the last one ended, or the beginning of a later unit,
 * when what lies between was found to be right and everything before it is
 * written. Only an empty block and a copy may jump: blocks overtake one that was
 * lost on the line. */
static uint8_t go_to(struct pg_upload *u, uint32_t offset, uint8_t jump)
{
	if (offset == u->next)
		return 1;
	if (!jump || offset < u->next || offset % PG_STORE_UNIT != 0 || u->next != u->flushed || offset > u->length)
		return 0;
	u->next = u->flushed = offset;
	u->oldest = u->at = 0;
	return 1;
}

/* How much of n bytes at an offset was taken before: a question that comes twice
 * goes on where it stopped. */
static uint32_t already(const struct pg_upload *u, uint32_t offset, uint32_t n)
{
	if (offset >= u->next)
		return 0;
	return u->next - offset < n ? u->next - offset : n;
}

/* An empty block says where the next one will stand; it is answered when all
 * before it is written. */
static uint8_t block(struct pg_upload *u, const uint8_t *b, uint8_t n)
{
	uint32_t offset = pg_get32(b), k;
	n -= 4;
	if (u->length == 0 || offset > u->length || n > u->length - offset)
		return PG_OUT_OF_RANGE;
	k = already(u, offset, n);
	if (k == 0 && !go_to(u, offset, n == 0))
		return PG_OUT_OF_RANGE;
	u->from = b + 4 + k;
	u->bytes = (uint8_t)(n - k);
	u->doing = TAKE;
	return PG_LATER;
}

static uint8_t copy(struct pg_upload *u, const uint8_t *b)
{
	uint32_t to = pg_get32(b + 4), n = pg_get32(b + 8), k;
	if (u->length == 0 || n == 0 || to > u->length || n > u->length - to || !range(u, 0, pg_get32(b), n, &u->source))
		return PG_OUT_OF_RANGE;
	k = already(u, to, n);
	if (k == 0 && !go_to(u, to, 1))
		return PG_OUT_OF_RANGE;
	u->source += k;
	u->left = n - k;
	u->doing = COPY;
	return PG_LATER;
}

uint8_t pg_upload_take(struct pg_upload *u, uint8_t kind, const uint8_t *b, uint8_t n)
{
	uint8_t k;
	u->replies = 0;
	if (u->doing != NOTHING)
		return PG_BUSY;
	switch (kind) {
	case PG_BEGIN:
		return n == 12 ? begin(u, b) : PG_MALFORMED;
	case PG_BLOCK:
		return n >= 4 ? block(u, b, n) : PG_MALFORMED;
	case PG_COPY:
		return n == 12 ? copy(u, b) : PG_MALFORMED;
	case PG_VERIFY:
		if (n != 9)
			return PG_MALFORMED;
		if (!range(u, b[0], pg_get32(b + 1), pg_get32(b + 5), &u->source))
			return PG_OUT_OF_RANGE;
		u->left = pg_get32(b + 5);
		u->sum = 0xffffffff;
		u->doing = SUM;
		return PG_LATER;
	case PG_READ:
		if (n != 6)
			return PG_MALFORMED;
		if (b[5] > sizeof u->reply || !range(u, b[0], pg_get32(b + 1), b[5], &u->source))
			return PG_OUT_OF_RANGE;
		u->left = b[5];
		u->doing = READ; /* the memory may be at work, for the black box too */
		return PG_LATER;
	case PG_SWITCH:
		if (n != 0 && n != 3)
			return PG_MALFORMED;
		for (k = 0; k < 3; k++)
			u->minute[k] = n ? b[k] : 0;
		/* The sum tells whether all came. */
		if (u->length == 0)
			return PG_OUT_OF_RANGE;
		if (!pg_safe_to_write())
			return PG_BUSY;
		u->source = PG_SLOT_AT(pg_upload_slot(u));
		u->left = u->length;
		u->sum = 0xffffffff;
		u->doing = SUM_BEFORE_SWITCH;
		return PG_LATER;
	default:
		return PG_UNKNOWN;
	}
}

static uint8_t end(struct pg_upload *u, uint8_t status)
{
	u->doing = NOTHING;
	if (status != PG_OK)
		u->replies = 0;
	if (status == PG_STORAGE) { /* what the slot holds is not known any more */
		u->length = 0;
		u->writing = FILLING;
		u->trouble = PG_OK;
	}
	return status;
}

static uint8_t took(struct pg_upload *u)
{
	pg_put32(u->reply, u->next);
	u->replies = 4;
	return end(u, PG_OK);
}

/* One step of a sum that is worked out over the memory; 1 at its end. */
static uint8_t add_up(struct pg_upload *u)
{
	uint8_t b[64], n = u->left < sizeof b ? (uint8_t)u->left : (uint8_t)sizeof b;
	pg_store_read(u->source, b, n);
	u->sum = pg_crc32c_over(u->sum, b, n);
	u->source += n;
	u->left -= n;
	return u->left == 0;
}

static uint8_t copy_step(struct pg_upload *u)
{
	uint16_t n = pg_upload_room(u);
	if (u->left == 0)
		return took(u);
	if (n > 64)
		n = 64;
	if (n > u->left)
		n = (uint16_t)u->left;
	if (n > 0) /* else a page has to be written first */
		pg_store_read(u->source, u->pages + u->at, (uint8_t)n);
	u->source += n;
	u->left -= n;
	pg_upload_put(u, n);
	return PG_LATER;
}

uint8_t pg_upload_run(struct pg_upload *u)
{
	if (u->doing == SWITCH) {
		switch (pg_slots_step(u->slots)) {
		case PG_SLOTS_MORE:
			return PG_LATER;
		case PG_SLOTS_DONE:
			pg_put32(u->reply, u->slots->number);
			u->replies = 4;
			u->length = 0;
			return end(u, PG_OK);
		default:
			return end(u, PG_STORAGE);
		}
	}
	/* A block's bytes are taken whatever the memory does. */
	if (u->doing == TAKE && u->trouble == PG_OK && u->bytes > 0 && pg_upload_bytes(u))
		return took(u);
	if (u->doing == NOTHING && !pg_upload_behind(u))
		return PG_LATER;
	if (pg_store_busy())
		return PG_LATER;
	if (u->doing == READ) {
		pg_store_read(u->source, u->reply, (uint8_t)u->left);
		u->replies = (uint8_t)u->left;
		return end(u, PG_OK);
	}
	if (u->trouble == PG_OK && pg_upload_behind(u)) {
		if (u->writing != COMPARE && !pg_safe_to_write()) /* told to who waits for it */
			return u->doing == NOTHING ? PG_LATER : end(u, PG_BUSY);
		pg_upload_page(u);
		return PG_LATER;
	}
	if (u->doing == NOTHING)
		return PG_LATER;
	if (u->trouble != PG_OK)
		return end(u, u->trouble);
	switch (u->doing) {
	case TAKE:
		return u->bytes == 0 ? took(u) : PG_LATER;
	case COPY:
		return copy_step(u);
	default:
		if (!add_up(u))
			return PG_LATER;
		if (u->doing == SUM) {
			pg_put32(u->reply, ~u->sum);
			u->replies = 4;
			return end(u, PG_OK);
		}
		if (~u->sum != u->crc)
			return end(u, PG_DAMAGED);
		if (!pg_table_fits(PG_SLOT_AT(pg_upload_slot(u)), u->length))
			return end(u, PG_REFUSED);
		pg_slots_switch(u->slots, pg_upload_slot(u), u->minute, u->length, u->crc);
		u->doing = SWITCH;
		return PG_LATER;
	}
}
