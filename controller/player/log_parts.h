/* What the parts of the black box have of each other: log.c holds the records that
 * wait, log_cells.c gets them into the memory and out of it, log_seen.c looks at
 * refreshes, log_check.c tells all that goes on in a few records. */
#ifndef PG_LOG_PARTS_H
#define PG_LOG_PARTS_H

#include "log.h"
#include "bytes.h"
#include "table.h"

#define PG_LOG_RESERVED 32u /* records that values may not use up */
#define PG_LOG_DAY 86400ul

uint16_t pg_log_crc(uint16_t crc, const uint8_t *b, uint8_t n);

/* Room for a record of its own nine bytes, all 0; 0: it was left out, and counted.
 * What was left out before is told first. */
uint8_t *pg_log_record(struct pg_log *l, uint8_t kind, uint32_t refresh);
void pg_log_leave_out(struct pg_log *l, uint32_t refresh);

/* One step of getting what waits into the memory. */
void pg_log_write(struct pg_log *l, uint32_t now, uint8_t quiet);

/* Looks at the refresh that has just ended. */
void pg_log_observe(struct pg_log *l, const struct pg_player *p);

/* One step of the table's sum; the pixels that were marked dead; the time of day
 * when it is not the one foreseen; a check point, when there is room for it. */
void pg_log_sum(struct pg_log *l, const struct pg_player *p);
void pg_log_dead(struct pg_log *l, const struct pg_player *p, uint32_t refresh);
void pg_log_clock(struct pg_log *l, const struct pg_player *p);
void pg_log_check(struct pg_log *l, const struct pg_player *p);

static inline uint8_t pg_log_has(const uint8_t *set, uint8_t i)
{
	return (uint8_t)(set[i >> 3] >> (i & 7) & 1);
}

static inline uint8_t pg_log_live(const struct pg_player *p)
{
#if PG_STREAMS
	return pg_stream_live(p);
#else
	(void)p;
	return 0;
#endif
}

#endif
