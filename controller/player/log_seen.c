/* What came into force, refresh by refresh. See log.h. */
#include "log_parts.h"

#include <string.h>

static uint16_t held(const struct pg_player *p)
{
	uint16_t crc = 0xffff;
	uint8_t s;
	for (s = 0; s < p->supplies; s++) {
		crc = pg_log_crc(crc, (const uint8_t *)&p->rails[s].held, 4);
		crc = pg_log_crc(crc, (const uint8_t *)&p->rails[s].gain, 4);
	}
	return crc;
}

static void value(struct pg_log *l, const struct pg_player *p)
{
	uint8_t *b, i;
	uint32_t last;
	l->value = p->value;
	if (l->n > l->batch && l->left == 0 && l->buf[l->n - 1][0] == PG_LOG_VALUE) { /* beside the one that waits */
		b = l->buf[l->n - 1];
		last = pg_get32(b + 1);
		b += 5;
		for (i = 1; i < 9 && b[i]; i += 2)
			last += b[i];
		if (i < 9 && p->refreshes - last < 256) {
			b[i] = (uint8_t)(p->refreshes - last);
			b[i + 1] = p->value;
			return;
		}
	}
	b = pg_log_record(l, PG_LOG_VALUE, p->refreshes);
	if (b)
		b[0] = p->value;
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
	return clip != PG_NONE && pg_log_has(p->verified, clip) != pg_log_has(l->verified, clip);
}

/* Whether all that goes on can be told in a few records. */
static uint8_t settled(const struct pg_player *p)
{
	return p->source == PG_FROM_CLIP && p->clip != PG_NONE && pg_log_has(p->verified, p->clip) && !pg_log_has(p->damaged, p->clip) && p->fade_len == 0 &&
		p->weight == 256 && !p->holds && p->lost == PG_NONE && !pg_log_live(p) && !p->finishing && !p->fresh && p->service == PG_SERVICE_OFF && !p->climbing && p->over == 0;
}

/* Looks at the refresh that has just ended. */
void pg_log_observe(struct pg_log *l, const struct pg_player *p)
{
	uint32_t now = p->refreshes;
	uint8_t *b, i, told = 0, n, follows;
	uint16_t h;

	if (now - l->seen != 1)
		pg_log_leave_out(l, l->seen + 1); /* some were not looked at */
	l->seen = now;
	/* Of several things in one refresh those come first that change what a clip is. */
	n = count_damaged(p);
	if (p->rots != l->rots) {
		if ((uint8_t)(p->rots - l->rots) > 1)
			pg_log_leave_out(l, now); /* which they were is not known */
		l->rots = p->rots;
		b = pg_log_record(l, PG_LOG_LOST, now);
		if (b) {
			b[0] = p->rotten;
			b[1] = pg_log_has(p->verified, p->rotten); /* found right again before this refresh */
			pg_put32(b + 2, p->lot); /* one may have been drawn, or not */
		}
		i = (uint8_t)(1u << (p->rotten & 7));
		l->verified[p->rotten >> 3] = (uint8_t)((l->verified[p->rotten >> 3] & ~i) | (p->verified[p->rotten >> 3] & i));
	}
	if (turned(l, p, p->clip) || turned(l, p, l->clip)) { /* the one before may be what a crossfade comes from */
		for (i = 0; i < 8; i++)
			l->verified[i] = p->verified[i];
		b = pg_log_record(l, PG_LOG_VERIFIED, now);
		if (b)
			memcpy(b, p->verified, 8);
		told = 1;
	}
	if (n != l->damaged) {
		l->damaged = n;
		b = pg_log_record(l, PG_LOG_DAMAGED, now);
		if (b)
			memcpy(b, p->damaged, 8);
	}
	if (l->dead_at == now)
		told = 1;
	if (p->at_once.known != l->known || p->at_once.running != l->running || p->at_once.starting != l->starting || p->at_once.pending != l->pending) {
		b = pg_log_record(l, PG_LOG_FACTS, now);
		if (b) {
			pg_put16(b, p->at_once.known);
			pg_put16(b + 2, p->at_once.running);
			pg_put16(b + 4, p->at_once.starting);
			pg_put16(b + 6, p->at_once.pending);
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
		b = pg_log_record(l, PG_LOG_SERVICE, now);
		if (b) {
			b[0] = p->service;
			b[1] = PG_SERVICE_CODE;
		}
		told = 1;
	}
	if (p->level != l->level) {
		l->level = p->level;
		b = pg_log_record(l, PG_LOG_LEVEL, now);
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
		b = pg_log_record(l, PG_LOG_STATE, now);
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
			b = pg_log_record(l, PG_LOG_NEWS, now);
			if (b)
				b[0] = p->owing;
		}
		l->held = h;
	}
	if (p->source == PG_FROM_STILL && p->owing == PG_OUTDATED) {
		b = pg_log_record(l, PG_LOG_NEWS, now);
		if (b)
			b[0] = p->owing;
	}
	pg_log_clock(l, p);
	if (pg_log_live(p) != l->stream) {
		l->stream = pg_log_live(p);
		b = pg_log_record(l, PG_LOG_STREAM, now);
		if (b)
			b[0] = l->stream;
		l->check = 1;
	}
	if (now - l->checked >= p->rate * PG_LOG_CHECK_EVERY)
		l->check = 1;
	if (l->check && l->summed > p->clips && p->marked == l->marked && settled(p))
		pg_log_check(l, p);
}
