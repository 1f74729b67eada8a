/* The black box in its memory: where it ends, how it grows, what it gives back. See
 * log.h. */
#include "log_parts.h"

#include <string.h>

enum { SEARCH_NEWEST, SEARCH_OLDER, SEARCH_END, READY, ERASE, ERASING, SEAL, WRITE };

/* Records wait so long, or until there are more than so many. Where a page is
 * written only once it is better filled. */
#if PG_STORE_CELL == PG_STORE_PAGE
#define HOLD (60 * PG_LOG_HOLD)
#define FEW (PG_LOG_ROOM - 1)
#else
#define HOLD PG_LOG_HOLD
#define FEW (PG_LOG_ROOM / 2)
#endif

/* Where the memory cannot be read while it is erased the show stands still so long:
 * when a unit is nearly full the next one is erased as soon as nothing moves. */
#define AHEAD (PG_LOG_CELLS / 4)

static uint8_t valid(const uint8_t *r)
{
	return pg_log_crc(0xffff, r, 14) == (uint16_t)(r[14] | (uint16_t)r[15] << 8);
}

static uint32_t address(uint8_t unit, uint16_t cell)
{
	return PG_LOG_AT + (uint32_t)unit * PG_STORE_UNIT + cell * (uint32_t)PG_LOG_RECORD;
}

static uint8_t before(uint8_t unit)
{
	return (uint8_t)((unit == 0 ? PG_LOG_UNITS : unit) - 1u);
}

static uint8_t behind(uint8_t unit)
{
	return (uint8_t)(unit + 1u == PG_LOG_UNITS ? 0 : unit + 1);
}

static void start(struct pg_log *l, uint8_t reset)
{
	uint8_t *b;
	l->starts++;
	if (reset & 4)
		l->brown_outs++;
	l->ready = 1;
	l->ahead = l->still = l->calm = 0;
	l->urgent = 1;
	l->step = READY;
	b = pg_log_record(l, PG_LOG_START, 0);
	b[0] = reset;
	pg_put32(b + 1, l->starts);
	pg_put32(b + 5, l->brown_outs);
}

uint8_t pg_log_search(struct pg_log *l, uint8_t reset)
{
	uint8_t r[PG_LOG_RECORD], i, blank = 1;
	if (l->ready)
		return 1;
	if (pg_store_busy())
		return 0;
	switch (l->step) {
	case SEARCH_NEWEST:
		if (l->at == 0) {
			l->units = 0;
			l->tokens = 2 * PG_LOG_RESERVED;
		}
		pg_store_read(address(l->at, 0), r, sizeof r);
		if (valid(r) && r[0] == PG_LOG_UNIT && (l->units == 0 || pg_get32(r + 1) > l->first)) {
			l->units = 1;
			l->unit = l->at;
			l->first = pg_get32(r + 1);
			l->starts = pg_get32(r + 5);
			l->brown_outs = pg_get32(r + 9);
		}
		if (++l->at < PG_LOG_UNITS)
			return 0;
		if (l->units == 0) { /* a new memory */
			l->unit = PG_LOG_UNITS - 1;
			l->cell = PG_LOG_CELLS;
			l->first = (uint32_t)0 - PG_LOG_CELLS;
			start(l, reset);
			return 1;
		}
		l->at = before(l->unit);
		l->step = SEARCH_OLDER;
		return 0;
	case SEARCH_OLDER:
		pg_store_read(address(l->at, 0), r, sizeof r);
		if (l->at != l->unit && valid(r) && r[0] == PG_LOG_UNIT && pg_get32(r + 1) == l->first - l->units * (uint32_t)PG_LOG_CELLS) {
			l->units++;
			l->at = before(l->at);
			return 0;
		}
		l->looked = 1;
		l->cell = 1;
		l->step = SEARCH_END;
		return 0;
	default:
		pg_store_read(address(l->unit, l->looked), r, sizeof r);
		for (i = 0; i < sizeof r; i++)
			if (r[i] != 0xff)
				blank = 0;
		l->looked++;
		if (!blank)
			l->cell = l->looked;
		if (valid(r) && r[0] == PG_LOG_START) {
			l->starts = pg_get32(r + 6);
			l->brown_outs = pg_get32(r + 10);
			/* Who starts over and over writes little else. */
			if (l->tokens > 8)
				l->tokens -= 6;
		}
		if (l->looked < PG_LOG_CELLS)
			return 0;
#if PG_STORE_CELL == PG_STORE_PAGE
		l->cell = (uint16_t)((l->cell + PG_LOG_ROOM - 1) / PG_LOG_ROOM * PG_LOG_ROOM);
#endif
		start(l, reset);
		return 1;
	}
}

/* The next unit, which stands erased, is begun. */
static void open_unit(struct pg_log *l)
{
	uint8_t *r = l->buf[0], i;
	l->ahead = 0;
	l->unit = behind(l->unit);
	l->units++;
	l->first += PG_LOG_CELLS;
	l->cell = 0;
	for (i = l->n; i > 0; i--)
		memcpy(l->buf[i], l->buf[i - 1], PG_LOG_RECORD);
	l->n++;
	r[0] = PG_LOG_UNIT;
	pg_put32(r + 1, l->first);
	/* The start that waits behind it is counted there. */
	pg_put32(r + 5, l->starts);
	pg_put32(r + 9, l->brown_outs);
	r[13] = 0;
	l->urgent = 1;
}

/* One step of getting the buffer into the store. */
void pg_log_write(struct pg_log *l, uint32_t now, uint8_t quiet)
{
	uint8_t *r, i, left;
	if (l->step == READY && l->n == 0) {
		l->since = now;
		return;
	}
	if (!quiet || pg_store_busy())
		return;
	switch (l->step) {
	case READY:
		if (!l->urgent && (l->tokens == 0 || (now - l->since < HOLD && l->n <= FEW)))
			return;
		if (l->uploading && now - l->uploaded >= PG_LOG_UPLOAD)
			l->uploading = 0;
		if (!l->ahead && !l->uploading && l->cell + AHEAD >= PG_LOG_CELLS && (l->cell >= PG_LOG_CELLS || l->calm)) {
			l->step = ERASE;
			return;
		}
		if (l->cell >= PG_LOG_CELLS) {
			if (l->ahead)
				open_unit(l);
			return;
		}
		/* As many as stand in one page, and as may be written. */
		left = (uint8_t)(PG_STORE_PAGE / PG_LOG_RECORD - l->cell % (PG_STORE_PAGE / PG_LOG_RECORD));
		l->batch = l->n < left ? l->n : left;
		if (!l->urgent && l->batch > l->tokens)
			l->batch = l->tokens;
		l->at = 0;
		l->step = SEAL;
		return;
	case ERASE:
		if (l->units == PG_LOG_UNITS)
			l->units--;
		pg_store_erase(address(behind(l->unit), 0));
		l->step = ERASING;
		return;
	case ERASING:
		l->ahead = 1;
		l->step = READY;
		return;
	case SEAL:
		r = l->buf[l->at];
		pg_put16(r + 14, pg_log_crc(0xffff, r, 14));
		if (++l->at >= l->batch)
			l->step = WRITE;
		return;
	default:
		pg_store_write(address(l->unit, l->cell), l->buf[0], (uint16_t)(l->batch * PG_LOG_RECORD));
		l->cell += l->batch;
#if PG_STORE_CELL == PG_STORE_PAGE
		l->cell = (uint16_t)((l->cell + PG_LOG_ROOM - 1) / PG_LOG_ROOM * PG_LOG_ROOM);
#endif
		l->tokens = l->tokens > l->batch ? (uint8_t)(l->tokens - l->batch) : 0;
		l->n -= l->batch;
		for (i = 0; i < l->n; i++)
			memcpy(l->buf[i], l->buf[i + l->batch], PG_LOG_RECORD);
		l->batch = 0;
		l->urgent = 0;
		l->since = now;
		l->step = READY;
		if (l->after >= (PG_LOG_UNITS - 1) * PG_LOG_CELLS / 2)
			l->check = 1;
	}
}

uint8_t pg_log_read(struct pg_log *l, uint32_t wanted, uint32_t *given, uint8_t *out, uint8_t most)
{
	uint32_t next = l->first + l->cell, oldest = l->first + PG_LOG_CELLS - l->units * (uint32_t)PG_LOG_CELLS, i;
	uint8_t n = 0;
	if (l->n > 0)
		l->urgent = 1;
	if (pg_store_busy())
		return PG_LOG_BUSY;
	if (wanted > next)
		wanted = next;
	if (wanted < oldest)
		wanted = oldest;
	*given = wanted;
	for (; n < most && wanted < next; n++, wanted++) {
		i = wanted - oldest;
		pg_store_read(address((uint8_t)((l->unit + PG_LOG_UNITS + 1 - l->units + i / PG_LOG_CELLS) % PG_LOG_UNITS), (uint16_t)(i % PG_LOG_CELLS)), out, PG_LOG_RECORD);
		out += PG_LOG_RECORD;
	}
	return n;
}
