/* The black box. See log.h. */
#include "link.h"
#include "log.h"

#include <string.h>
#include "slots.h"
#include "table.h"

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

#define RESERVED 32u /* records that values may not use up */
#define LEAST_RAIL_STEP 50u
#define CLOCK_SLACK 2u /* seconds by which the clock may be off before it is written down */
#define ONE_DAY 86400ul

#if PG_MISSING > 0
static const uint16_t missing[PG_MISSING] PG_FLASH = { PG_MISSING_LIST };
#endif

static void put16(uint8_t *b, uint16_t v)
{
	b[0] = (uint8_t)v;
	b[1] = (uint8_t)(v >> 8);
}

static void put32(uint8_t *b, uint32_t v)
{
	put16(b, (uint16_t)v);
	put16(b + 2, (uint16_t)(v >> 16));
}

static uint32_t get32(const uint8_t *b)
{
	return (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

static uint16_t crc_of(uint16_t crc, const uint8_t *b, uint8_t n)
{
	while (n--)
		crc = pg_crc16(crc, *b++);
	return crc;
}

static uint8_t valid(const uint8_t *r)
{
	return crc_of(0xffff, r, 14) == (uint16_t)(r[14] | (uint16_t)r[15] << 8);
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

/* ---- the buffer */

/* A record at the buffer's end, to be filled; 0 when it is full. */
static uint8_t *append(struct pg_log *l, uint8_t kind, uint32_t refresh)
{
	uint8_t *r, i;
	if (l->n >= PG_LOG_ROOM)
		return 0;
	r = l->buf[l->n++];
	for (i = 0; i < PG_LOG_RECORD; i++)
		r[i] = 0;
	r[0] = kind;
	put32(r + 1, refresh);
	if (l->after != 0xffff)
		l->after++;
	return r + 5;
}

static void leave_out(struct pg_log *l, uint32_t refresh)
{
	if (l->left == 0)
		l->left_at = refresh;
	if (l->left != 0xffff)
		l->left++;
}

/* Room for a record of its own nine bytes; 0: it was left out, and counted. What
 * was left out before is told first. */
static uint8_t *record(struct pg_log *l, uint8_t kind, uint32_t refresh)
{
	uint8_t need = l->left ? 2 : 1, *b;
	if (l->n + need > PG_LOG_ROOM || (kind == PG_LOG_VALUE && (l->tokens < RESERVED || l->n > PG_LOG_ROOM / 2))) {
		leave_out(l, refresh);
		return 0;
	}
	if (l->left) {
		b = append(l, PG_LOG_LEFT, l->left_at);
		put16(b, l->left);
		put32(b + 2, refresh); /* the first that was taken again */
		l->left = 0;
		l->check = 1;
	}
	return append(l, kind, refresh);
}

/* ---- the search */

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
	b = record(l, PG_LOG_START, 0);
	b[0] = reset;
	put32(b + 1, l->starts);
	put32(b + 5, l->brown_outs);
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
			l->tokens = 2 * RESERVED;
		}
		pg_store_read(address(l->at, 0), r, sizeof r);
		if (valid(r) && r[0] == PG_LOG_UNIT && (l->units == 0 || get32(r + 1) > l->first)) {
			l->units = 1;
			l->unit = l->at;
			l->first = get32(r + 1);
			l->starts = get32(r + 5);
			l->brown_outs = get32(r + 9);
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
		if (l->at != l->unit && valid(r) && r[0] == PG_LOG_UNIT && get32(r + 1) == l->first - l->units * (uint32_t)PG_LOG_CELLS) {
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
			l->starts = get32(r + 6);
			l->brown_outs = get32(r + 10);
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

/* ---- writing */

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
	put32(r + 1, l->first);
	/* The start that waits behind it is counted there. */
	put32(r + 5, l->starts);
	put32(r + 9, l->brown_outs);
	r[13] = 0;
	l->urgent = 1;
}

/* One step of getting the buffer into the store. */
static void write_on(struct pg_log *l, uint32_t now, uint8_t quiet)
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
		put16(r + 14, crc_of(0xffff, r, 14));
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

/* ---- what came into force */

void pg_log_begin(struct pg_log *l, const struct pg_player *p, uint32_t installed)
{
	uint8_t *b, i;
	l->seen = l->checked = l->dead_at = 0;
	l->state = l->clip = PG_NONE;
	l->service = PG_SERVICE_OFF;
	l->trouble = PG_TABLE_FINE;
	l->marked = p->marked;
	l->stream = l->follows = l->damaged = l->rots = l->check = 0;
	l->value = 0;
	l->level = PG_FULL;
	l->known = l->running = l->starting = l->pending = 0;
	for (i = 0; i < 8; i++)
		l->verified[i] = 0;
	l->held = 0;
	l->second = ONE_DAY;
	l->summed = 0;
	l->sum = 0xffffffff;
	l->after = 0;
	b = record(l, PG_LOG_BEGIN, 0);
	if (b == 0)
		return;
	put32(b, p->lot);
	b[4] = p->per_frame;
	put32(b + 5, installed);
}

/* The table's sum, of what ends its header and its clips: a block a step. */
static void sum_on(struct pg_log *l, const struct pg_player *p)
{
	struct pg_cursor c;
	uint32_t at;
	uint8_t i, *b;
	pg_read(p, &at, 8, sizeof at); /* the header's length */
	at += p->base - 4;
	if (l->summed > 0) {
		struct pg_clip clip;
		pg_table_clip(p, l->summed - 1, &clip);
		at = clip.offset + clip.length;
	}
	if (l->summed == p->clips + 1u)
		return;
	pg_seek(&c, at);
	for (i = 0; i < 4; i++)
		l->sum = pg_crc32c(l->sum, pg_take8(&c));
	if (++l->summed <= p->clips)
		return;
	l->sum = ~l->sum;
	b = record(l, PG_LOG_TABLE, p->refreshes);
	if (b == 0)
		return;
	put32(b, l->sum);
	b[4] = p->per_frame;
}

static uint8_t has(const uint8_t *set, uint8_t i)
{
	return (uint8_t)(set[i >> 3] >> (i & 7) & 1);
}

static uint16_t held(const struct pg_player *p)
{
	uint16_t crc = 0xffff;
	uint8_t s;
	for (s = 0; s < p->supplies; s++) {
		crc = crc_of(crc, (const uint8_t *)&p->rails[s].held, 4);
		crc = crc_of(crc, (const uint8_t *)&p->rails[s].gain, 4);
	}
	return crc;
}

/* The pixels that were marked dead, four a record; one that is not full ends
 * them. 1: there is another record. */
static uint8_t next_dead(const struct pg_player *p, uint8_t *at, uint8_t *b)
{
	uint8_t k, n = 0;
	for (k = 0; k < 8; k++)
		b[1 + k] = 0xff;
	b[0] = 0;
	for (; p->gaps[*at] != PG_GAP_END && n < 4; (*at)++) {
#if PG_MISSING > 0
		uint16_t i, m;
		for (i = 0; i < PG_MISSING; i++) {
			pg_flash_copy(&m, &missing[i], sizeof m);
			if (m == p->gaps[*at])
				break;
		}
		if (i < PG_MISSING)
			continue;
#endif
		put16(b + 1 + 2 * n++, p->gaps[*at]);
	}
	return n == 4;
}

static void dead(struct pg_log *l, const struct pg_player *p, uint32_t refresh)
{
	uint8_t at = 0, first = 1, more, *b;
	do {
		b = record(l, PG_LOG_DEAD, refresh);
		if (b == 0)
			return;
		more = next_dead(p, &at, b);
		b[0] = first;
		first = 0;
	} while (more);
}

static void value(struct pg_log *l, const struct pg_player *p)
{
	uint8_t *b, i;
	uint32_t last;
	l->value = p->value;
	if (l->n > l->batch && l->left == 0 && l->buf[l->n - 1][0] == PG_LOG_VALUE) { /* beside the one that waits */
		b = l->buf[l->n - 1];
		last = get32(b + 1);
		b += 5;
		for (i = 1; i < 9 && b[i]; i += 2)
			last += b[i];
		if (i < 9 && p->refreshes - last < 256) {
			b[i] = (uint8_t)(p->refreshes - last);
			b[i + 1] = p->value;
			return;
		}
	}
	b = record(l, PG_LOG_VALUE, p->refreshes);
	if (b)
		b[0] = p->value;
}

static void clock(struct pg_log *l, const struct pg_player *p)
{
	uint8_t *b;
	uint32_t off;
	if (p->day == PG_NONE || p->rate == 0)
		return;
	if (l->second < ONE_DAY && ++l->tick >= p->rate) {
		l->tick = 0;
		if (++l->second == ONE_DAY) {
			l->second = 0;
			l->day = l->day == 6 ? 0 : (uint8_t)(l->day + 1);
		}
	}
	if (l->second < ONE_DAY) {
		off = p->second >= l->second ? p->second - l->second : l->second - p->second;
		if (off > ONE_DAY / 2)
			off = ONE_DAY - off;
		else if (p->day != l->day)
			off = ONE_DAY;
		if (off <= CLOCK_SLACK)
			return;
	}
	l->second = p->second;
	l->day = p->day;
	l->tick = 0;
	b = record(l, PG_LOG_CLOCK, p->refreshes);
	if (b == 0)
		return;
	b[0] = p->day;
	put32(b + 1, p->second);
	put32(b + 5, p->micros);
}

static uint8_t live(const struct pg_player *p)
{
#if PG_STREAMS
	return pg_stream_live(p);
#else
	(void)p;
	return 0;
#endif
}

/* Whether all that goes on can be told in a few records. */
static uint8_t settled(const struct pg_player *p)
{
	return p->source == PG_FROM_CLIP && p->clip != PG_NONE && has(p->verified, p->clip) && !has(p->damaged, p->clip) && p->fade_len == 0 &&
		p->weight == 256 && !p->holds && p->lost == PG_NONE && !live(p) && !p->finishing && !p->fresh && p->service == PG_SERVICE_OFF && !p->climbing && p->over == 0;
}

/* A check point: the table, what is shown and where it is, the budgets. What was
 * told but does not show yet is forgotten here and written again when it does. */
static void check_point(struct pg_log *l, const struct pg_player *p)
{
	uint8_t *b, s, i, n = 0, at = 0, more, any = 0;
	uint8_t scratch[9];
	do {
		more = next_dead(p, &at, scratch);
		any |= scratch[1] != 0xff || scratch[2] != 0xff;
		n++;
	} while (more);
	if (!any)
		n = 0;
	for (i = 0; i < 8; i++)
		if (p->damaged[i])
			break;
	n += (uint8_t)((i < 8) + (p->day != PG_NONE) + 3 + p->supplies + (l->left > 0));
	if (l->n + n > PG_LOG_ROOM || l->tokens < n + 8u)
		return;
	b = record(l, PG_LOG_TABLE, p->refreshes);
	put32(b, l->sum);
	b[4] = p->per_frame;
	b[5] = (uint8_t)p->level;
	b[6] = (uint8_t)(p->level >> 8);
	b[7] = (uint8_t)(p->level >> 16);
	b[8] = 1;
	if (any)
		dead(l, p, p->refreshes);
	if (i < 8)
		memcpy(record(l, PG_LOG_DAMAGED, p->refreshes), p->damaged, 8);
	l->second = ONE_DAY;
	clock(l, p);
	b = record(l, PG_LOG_PLACE, p->refreshes);
	put32(b, p->frame);
	put32(b + 4, p->lot);
	b[8] = p->value;
	for (s = 0; s < p->supplies; s++) {
		b = record(l, PG_LOG_BUDGET, p->refreshes);
		put32(b, (uint32_t)p->rails[s].in_force);
		put32(b + 4, (uint32_t)p->rails[s].held);
		b[8] = s;
	}
	b = record(l, PG_LOG_CHECK, p->refreshes);
	b[0] = p->state;
	b[1] = p->clip;
	b[2] = p->sub;
	put16(b + 3, p->at_once.known);
	put16(b + 5, p->at_once.running);
	put16(b + 7, p->at_once.starting);
	l->value = p->value;
	for (i = 0; i < 8; i++)
		l->verified[i] = 0;
	l->verified[p->clip >> 3] = (uint8_t)(1u << (p->clip & 7));
	l->check = 0;
	l->checked = p->refreshes;
	l->after = 0;
}

static uint8_t count_damaged(const struct pg_player *p)
{
	uint8_t i, k, n = 0;
	for (i = 0; i < 8; i++)
		for (k = p->damaged[i]; k; k &= (uint8_t)(k - 1))
			n++;
	return n;
}

static uint8_t turned(const struct pg_log *l, const struct pg_player *p, uint8_t clip)
{
	return clip != PG_NONE && has(p->verified, clip) != has(l->verified, clip);
}

/* Looks at the refresh that has just ended. */
static void observe(struct pg_log *l, const struct pg_player *p)
{
	uint32_t now = p->refreshes;
	uint8_t *b, i, told = 0, n, follows;
	uint16_t h;

	if (now - l->seen != 1)
		leave_out(l, l->seen + 1); /* some were not looked at */
	l->seen = now;
	/* Of several things in one refresh those come first that change what a clip is. */
	n = count_damaged(p);
	if (p->rots != l->rots) {
		if ((uint8_t)(p->rots - l->rots) > 1)
			leave_out(l, now); /* which they were is not known */
		l->rots = p->rots;
		b = record(l, PG_LOG_LOST, now);
		if (b) {
			b[0] = p->rotten;
			b[1] = has(p->verified, p->rotten); /* found right again before this refresh */
			put32(b + 2, p->lot); /* one may have been drawn, or not */
		}
		i = (uint8_t)(1u << (p->rotten & 7));
		l->verified[p->rotten >> 3] = (uint8_t)((l->verified[p->rotten >> 3] & ~i) | (p->verified[p->rotten >> 3] & i));
	}
	if (turned(l, p, p->clip) || turned(l, p, l->clip)) { /* the one before may be what a crossfade comes from */
		for (i = 0; i < 8; i++)
			l->verified[i] = p->verified[i];
		b = record(l, PG_LOG_VERIFIED, now);
		if (b)
			memcpy(b, p->verified, 8);
		told = 1;
	}
	if (n != l->damaged) {
		l->damaged = n;
		b = record(l, PG_LOG_DAMAGED, now);
		if (b)
			memcpy(b, p->damaged, 8);
	}
	if (l->dead_at == now)
		told = 1;
	if (p->at_once.known != l->known || p->at_once.running != l->running || p->at_once.starting != l->starting || p->at_once.pending != l->pending) {
		b = record(l, PG_LOG_FACTS, now);
		if (b) {
			put16(b, p->at_once.known);
			put16(b + 2, p->at_once.running);
			put16(b + 4, p->at_once.starting);
			put16(b + 6, p->at_once.pending);
		}
		told = 1;
	}
	l->known = p->at_once.known;
	l->running = p->at_once.running;
	l->starting = p->at_once.starting;
	/* What waited was granted by this refresh; not while somebody is inside. */
	l->pending = p->service == PG_SERVICE_OFF ? 0 : p->at_once.pending;
	if (p->service != l->service) {
		l->service = p->service;
		b = record(l, PG_LOG_SERVICE, now);
		if (b) {
			b[0] = p->service;
			b[1] = PG_SERVICE_CODE;
		}
		told = 1;
	}
	if (p->level != l->level) {
		l->level = p->level;
		b = record(l, PG_LOG_LEVEL, now);
		if (b) {
			for (i = 0; i < 3; i++) {
				b[i] = (uint8_t)(p->level >> (8 * i));
				b[3 + i] = (uint8_t)(p->told >> (8 * i));
				b[6 + i] = (uint8_t)(p->planned >> (8 * i));
			}
		}
		told = 1;
	}
	if (p->state != l->state) {
		b = record(l, PG_LOG_STATE, now);
		if (b) {
			b[0] = p->state;
			b[1] = now == 1 ? PG_NONE : p->how;
			b[2] = p->by;
			b[3] = p->clip;
			b[4] = PG_STILL_RED;
			b[5] = PG_STILL_GREEN;
			b[6] = PG_STILL_BLUE;
			b[7] = PG_STILL_WHITE;
		}
		l->state = p->state;
		told = 1;
	}
	/* A crossfade from a clip that follows a value freezes what it would have shown. */
	follows = p->clip != PG_NONE && (p->on.flags & 1);
	if ((follows || l->follows) && p->value != l->value) {
		value(l, p);
		told = 1;
	}
	l->follows = follows;
	l->clip = p->clip;
	/* News of nothing new: a still state goes out once more for them, perhaps under
	 * a budget that has risen since; and what the strips held in place of a lost clip
	 * gives way. */
	l->still = p->now.flags & PG_STANDS;
	if (l->still && p->service == PG_SERVICE_OFF) {
		h = held(p);
		if (!told && p->owing && h != l->held) {
			b = record(l, PG_LOG_NEWS, now);
			if (b)
				b[0] = p->owing;
		}
		l->held = h;
	}
	if (p->source == PG_FROM_STILL && p->owing == PG_OUTDATED) {
		b = record(l, PG_LOG_NEWS, now);
		if (b)
			b[0] = p->owing;
	}
	clock(l, p);
	if (live(p) != l->stream) {
		l->stream = live(p);
		b = record(l, PG_LOG_STREAM, now);
		if (b)
			b[0] = l->stream;
		l->check = 1;
	}
	if (now - l->checked >= p->rate * PG_LOG_CHECK_EVERY)
		l->check = 1;
	if (l->check && l->summed > p->clips && p->marked == l->marked && settled(p))
		check_point(l, p);
}

void pg_log_run(struct pg_log *l, const struct pg_player *p, uint32_t now, uint8_t quiet)
{
	uint8_t *b;
	if (!l->ready)
		return;
	if (now - l->filled >= PG_LOG_EVERY) {
		l->filled = now - l->filled < 2 * PG_LOG_EVERY ? l->filled + PG_LOG_EVERY : now;
		if (l->tokens < PG_LOG_BURST)
			l->tokens++;
	}
	if (p->trouble != l->trouble) {
		l->trouble = p->trouble;
		b = record(l, PG_LOG_TROUBLE, 0);
		if (b) {
			b[0] = p->trouble;
			b[1] = p->detail;
		}
	}
	l->calm = p->rate == 0 || p->source != PG_FROM_CLIP || l->still;
	if (p->rate != 0 && p->refreshes != l->seen) {
		observe(l, p);
		return;
	}
	if (p->marked != l->marked) { /* it comes into force with the refresh in the making, or the next */
		l->marked = p->marked;
		l->dead_at = p->refreshes + 1;
		dead(l, p, l->dead_at);
	}
	if (p->rate != 0 && l->summed <= p->clips) {
		sum_on(l, p);
		return;
	}
	write_on(l, now, quiet);
}

void pg_log_upload(struct pg_log *l, uint32_t now)
{
	l->uploading = 1;
	l->uploaded = now;
}

uint8_t pg_log_wants(const struct pg_log *l, uint32_t now)
{
	return l->ready && now - l->counted >= PG_LOG_COUNTS_EVERY;
}

void pg_log_counts(struct pg_log *l, const struct pg_player *p, uint32_t now, uint32_t bad_frames, uint32_t again, uint32_t held, uint32_t silences)
{
	uint8_t c[9], *b;
	uint16_t crc;
	l->counted = now;
	if (l->counts == 0 && !(bad_frames | again | held | silences | p->late))
		return;
	put16(c, bad_frames > 0xffff ? 0xffff : (uint16_t)bad_frames);
	put16(c + 2, again > 0xffff ? 0xffff : (uint16_t)again);
	put16(c + 4, held > 0xffff ? 0xffff : (uint16_t)held);
	c[6] = silences > 0xff ? 0xff : (uint8_t)silences;
	put16(c + 7, p->late);
	crc = crc_of(0xffff, c, sizeof c);
	if (crc == l->counts)
		return;
	b = record(l, PG_LOG_COUNTS, p->refreshes);
	if (b == 0)
		return;
	l->counts = crc;
	memcpy(b, c, sizeof c);
}

void pg_log_volts(struct pg_log *l, const struct pg_player *p, uint8_t supply, uint16_t millivolts)
{
	uint8_t *b;
	if (!l->ready || supply >= PG_SUPPLIES || (l->volts[supply] != 0 && (uint32_t)millivolts + LEAST_RAIL_STEP > l->volts[supply]))
		return;
	l->volts[supply] = millivolts;
	b = record(l, PG_LOG_VOLTS, p->refreshes);
	if (b == 0)
		return;
	b[0] = supply;
	put16(b + 1, millivolts);
}

/* ---- reading */

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
