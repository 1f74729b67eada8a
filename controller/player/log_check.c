/* Check points of the black box: all that goes on, told in a few records, so that a
 * log can be played again from here. See log.h. */
#include "log_parts.h"

#include <string.h>
#include "slots.h"

#define CLOCK_SLACK 2u /* seconds by which the clock may be off before it is written down */

#if PG_MISSING > 0
static const uint16_t missing[PG_MISSING] PG_FLASH = { PG_MISSING_LIST };
#endif

/* The table's sum, of what ends its header and its clips: a block a step. */
void pg_log_sum(struct pg_log *l, const struct pg_player *p)
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
	b = pg_log_record(l, PG_LOG_TABLE, p->refreshes);
	if (b == 0)
		return;
	pg_put32(b, l->sum);
	b[4] = p->per_frame;
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
		pg_put16(b + 1 + 2 * n++, p->gaps[*at]);
	}
	return n == 4;
}

void pg_log_dead(struct pg_log *l, const struct pg_player *p, uint32_t refresh)
{
	uint8_t at = 0, first = 1, more, *b;
	do {
		b = pg_log_record(l, PG_LOG_DEAD, refresh);
		if (b == 0)
			return;
		more = next_dead(p, &at, b);
		b[0] = first;
		first = 0;
	} while (more);
}

void pg_log_clock(struct pg_log *l, const struct pg_player *p)
{
	uint8_t *b;
	uint32_t off;
	if (p->day == PG_NONE || p->rate == 0)
		return;
	if (l->second < PG_LOG_DAY && ++l->tick >= p->rate) {
		l->tick = 0;
		if (++l->second == PG_LOG_DAY) {
			l->second = 0;
			l->day = l->day == 6 ? 0 : (uint8_t)(l->day + 1);
		}
	}
	if (l->second < PG_LOG_DAY) {
		off = p->second >= l->second ? p->second - l->second : l->second - p->second;
		if (off > PG_LOG_DAY / 2)
			off = PG_LOG_DAY - off;
		else if (p->day != l->day)
			off = PG_LOG_DAY;
		if (off <= CLOCK_SLACK)
			return;
	}
	l->second = p->second;
	l->day = p->day;
	l->tick = 0;
	b = pg_log_record(l, PG_LOG_CLOCK, p->refreshes);
	if (b == 0)
		return;
	b[0] = p->day;
	pg_put32(b + 1, p->second);
	pg_put32(b + 5, p->micros);
}

/* A check point: the table, what is shown and where it is, the budgets. What was
 * told but does not show yet is forgotten here and written again when it does. */
void pg_log_check(struct pg_log *l, const struct pg_player *p)
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
	b = pg_log_record(l, PG_LOG_TABLE, p->refreshes);
	pg_put32(b, l->sum);
	b[4] = p->per_frame;
	b[5] = (uint8_t)p->level;
	b[6] = (uint8_t)(p->level >> 8);
	b[7] = (uint8_t)(p->level >> 16);
	b[8] = 1;
	if (any)
		pg_log_dead(l, p, p->refreshes);
	if (i < 8)
		memcpy(pg_log_record(l, PG_LOG_DAMAGED, p->refreshes), p->damaged, 8);
	l->second = PG_LOG_DAY;
	pg_log_clock(l, p);
	b = pg_log_record(l, PG_LOG_PLACE, p->refreshes);
	pg_put32(b, p->frame);
	pg_put32(b + 4, p->lot);
	b[8] = p->value;
	for (s = 0; s < p->supplies; s++) {
		b = pg_log_record(l, PG_LOG_BUDGET, p->refreshes);
		pg_put32(b, (uint32_t)p->rails[s].in_force);
		pg_put32(b + 4, (uint32_t)p->rails[s].held);
		b[8] = s;
	}
	b = pg_log_record(l, PG_LOG_CHECK, p->refreshes);
	b[0] = p->state;
	b[1] = p->clip;
	b[2] = p->sub;
	pg_put16(b + 3, p->at_once.known);
	pg_put16(b + 5, p->at_once.running);
	pg_put16(b + 7, p->at_once.starting);
	l->value = p->value;
	for (i = 0; i < 8; i++)
		l->verified[i] = 0;
	l->verified[p->clip >> 3] = (uint8_t)(1u << (p->clip & 7));
	l->check = 0;
	l->checked = p->refreshes;
	l->after = 0;
}
