/* The black box: the records that wait, and who adds to them. See log.h. */
#include "log_parts.h"

#include <string.h>
#include "link.h"

#define LEAST_RAIL_STEP 50u

uint16_t pg_log_crc(uint16_t crc, const uint8_t *b, uint8_t n)
{
	while (n--)
		crc = pg_crc16(crc, *b++);
	return crc;
}

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
	pg_put32(r + 1, refresh);
	if (l->after != 0xffff)
		l->after++;
	return r + 5;
}

void pg_log_leave_out(struct pg_log *l, uint32_t refresh)
{
	if (l->left == 0)
		l->left_at = refresh;
	if (l->left != 0xffff)
		l->left++;
}

/* Room for a record of its own nine bytes; 0: it was left out, and counted. What
 * was left out before is told first. */
uint8_t *pg_log_record(struct pg_log *l, uint8_t kind, uint32_t refresh)
{
	uint8_t need = l->left ? 2 : 1, *b;
	if (l->n + need > PG_LOG_ROOM || (kind == PG_LOG_VALUE && (l->tokens < PG_LOG_RESERVED || l->n > PG_LOG_ROOM / 2))) {
		pg_log_leave_out(l, refresh);
		return 0;
	}
	if (l->left) {
		b = append(l, PG_LOG_LEFT, l->left_at);
		pg_put16(b, l->left);
		pg_put32(b + 2, refresh); /* the first that was taken again */
		l->left = 0;
		l->check = 1;
	}
	return append(l, kind, refresh);
}

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
	l->second = PG_LOG_DAY;
	l->summed = 0;
	l->sum = 0xffffffff;
	l->after = 0;
	b = pg_log_record(l, PG_LOG_BEGIN, 0);
	if (b == 0)
		return;
	pg_put32(b, p->lot);
	b[4] = p->per_frame;
	pg_put32(b + 5, installed);
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
		b = pg_log_record(l, PG_LOG_TROUBLE, 0);
		if (b) {
			b[0] = p->trouble;
			b[1] = p->detail;
		}
	}
	l->calm = p->rate == 0 || p->source != PG_FROM_CLIP || l->still;
	if (p->rate != 0 && p->refreshes != l->seen) {
		pg_log_observe(l, p);
		return;
	}
	if (p->marked != l->marked) { /* it comes into force with the refresh in the making, or the next */
		l->marked = p->marked;
		l->dead_at = p->refreshes + 1;
		pg_log_dead(l, p, l->dead_at);
	}
	if (p->rate != 0 && l->summed <= p->clips) {
		pg_log_sum(l, p);
		return;
	}
	pg_log_write(l, now, quiet);
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
	pg_put16(c, bad_frames > 0xffff ? 0xffff : (uint16_t)bad_frames);
	pg_put16(c + 2, again > 0xffff ? 0xffff : (uint16_t)again);
	pg_put16(c + 4, held > 0xffff ? 0xffff : (uint16_t)held);
	c[6] = silences > 0xff ? 0xff : (uint8_t)silences;
	pg_put16(c + 7, p->late);
	crc = pg_log_crc(0xffff, c, sizeof c);
	if (crc == l->counts)
		return;
	b = pg_log_record(l, PG_LOG_COUNTS, p->refreshes);
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
	b = pg_log_record(l, PG_LOG_VOLTS, p->refreshes);
	if (b == 0)
		return;
	b[0] = supply;
	pg_put16(b + 1, millivolts);
}
