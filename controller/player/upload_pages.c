/* Pages that wait to be written, and writing them. See upload.h. */
#include "upload_parts.h"

/* Whether the oldest page holds all that it will. */
static uint8_t whole(const struct pg_upload *u)
{
	return u->next != u->flushed && (u->next - u->flushed >= PG_STORE_PAGE || u->next == u->length);
}

/* A unit is erased as soon as its first byte has come, so that the page has room
 * meanwhile; where that stops the processor, when its page is there to be written
 * at once. */
uint8_t pg_upload_behind(const struct pg_upload *u)
{
	switch (u->writing) {
	case FILLING:
		return u->length != 0 && (whole(u) || (!PG_STORE_STOPS && u->next != u->flushed && u->flushed % PG_STORE_UNIT == 0));
	case WRITE:
		return whole(u);
	default:
		return 1;
	}
}

uint8_t pg_upload_writes(const struct pg_upload *u)
{
	return u->doing == NOTHING && u->trouble == PG_OK && pg_upload_behind(u) && pg_safe_to_write();
}

void pg_upload_page(struct pg_upload *u)
{
	uint32_t at = PG_SLOT_AT(pg_upload_slot(u)) + u->flushed;
	const uint8_t *page = u->pages + u->oldest;
	uint16_t n = u->next - u->flushed >= PG_STORE_PAGE ? (uint16_t)PG_STORE_PAGE : (uint16_t)(u->next - u->flushed);

	switch (u->writing) {
	case FILLING:
		if (u->flushed % PG_STORE_UNIT == 0) {
			u->writing = WRITE;
			pg_store_erase(at);
			if (!PG_STORE_STOPS || !pg_safe_to_write())
				return; /* what stopped the processor is done */
		}
		/* fall through */
	case WRITE:
		pg_store_write(at, page, n);
		u->writing = COMPARE;
		if (!PG_STORE_STOPS)
			return;
		/* fall through */
	default:
		if (pg_store_same(at, page, n)) {
			u->flushed += n;
			u->oldest = u->oldest + PG_STORE_PAGE == PG_UPLOAD_ROOM ? 0 : (uint16_t)(u->oldest + PG_STORE_PAGE);
		} else {
			u->trouble = PG_STORAGE;
		}
		u->writing = FILLING;
	}
}

uint16_t pg_upload_room(const struct pg_upload *u)
{
	uint16_t free = (uint16_t)(PG_UPLOAD_ROOM - (uint16_t)(u->next - u->flushed));
	uint16_t piece = (uint16_t)(PG_UPLOAD_ROOM - u->at);
	return free < piece ? free : piece;
}

void pg_upload_put(struct pg_upload *u, uint16_t n)
{
	u->next += n;
	u->at += n;
	if (u->at == PG_UPLOAD_ROOM)
		u->at = 0;
}

/* A block is copied in 5 cycles a byte, by the library in 8. */
static void copy_bytes(uint8_t *to, const uint8_t *from, uint8_t n)
{
	for (; n >= 4; n -= 4) {
		*to++ = *from++;
		*to++ = *from++;
		*to++ = *from++;
		*to++ = *from++;
	}
	while (n-- > 0)
		*to++ = *from++;
}

uint8_t pg_upload_bytes(struct pg_upload *u)
{
	while (u->bytes > 0) {
		uint16_t n = pg_upload_room(u);
		if (n == 0)
			return 0;
		if (n > u->bytes)
			n = u->bytes;
		copy_bytes(u->pages + u->at, u->from, (uint8_t)n);
		u->from += n;
		pg_upload_put(u, n);
		u->bytes -= (uint8_t)n;
	}
	return 1;
}

#if PG_STORE_STOPS
void pg_upload_open(struct pg_upload *u)
{
	struct pg_ahead *a = &u->ahead;
	uint16_t free = (uint16_t)(PG_UPLOAD_ROOM - (uint16_t)(u->next - u->flushed));
	a->next = u->next;
	a->room = u->length - u->next < free ? (uint16_t)(u->length - u->next) : free;
	a->to = u->pages + u->at;
	a->begin = u->pages;
	a->end = u->pages + PG_UPLOAD_ROOM;
	a->taken = a->owed = 0;
	a->step = PG_AHEAD_LOOKS; /* the block under way begins anew */
	a->open = 1;
}

uint8_t pg_upload_close(struct pg_upload *u)
{
	u->ahead.open = 0;
	u->next = u->ahead.next;
	u->at = (uint16_t)(u->ahead.to - u->pages);
	return u->ahead.taken;
}
#endif
