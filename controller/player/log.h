/* The black box: what came into force in the player, refresh by refresh, so that
 * what the panel showed can be played again (docs/blackbox.md), and counters that
 * outlast a reset.
 *
 * Records of sixteen bytes go into units of the store after the slots, one after
 * the other; when a unit is full the oldest is erased. Each record carries its own
 * CRC, so that power may go at any byte: a torn one is left where it is and not
 * counted as one. A unit begins with a record that keeps the counters.
 *
 * Records wait in memory for a second, then go out together; a reset loses what
 * waits. Memory wears by how many are written: PG_LOG_EVERY lets one pass in so
 * much time, saved up to PG_LOG_BURST. Values that change all the time are left
 * out first, and that they were is written down. From a check point on everything
 * is exact again.
 *
 * struct pg_log takes 319 bytes with one supply, the code 7.8 KiB by avr-gcc 5.4
 * -Os -mcall-prologues, 8.9 by -O2.
 */
#ifndef PG_LOG_H
#define PG_LOG_H

#include "paneglow.h"
#include "store.h"

#ifndef PG_LOG_EVERY
#define PG_LOG_EVERY 4000000ul /* microseconds for a record, in the long run: 85 erasures a day of 4 KiB at most */
#endif
#ifndef PG_LOG_BURST
#define PG_LOG_BURST 160u /* records, at most 255 */
#endif
#ifndef PG_LOG_HOLD
#define PG_LOG_HOLD 1000000ul /* microseconds that a record may wait */
#endif
#ifndef PG_LOG_CHECK_EVERY
#define PG_LOG_CHECK_EVERY 3600ul /* seconds between two check points, where nothing asks for one before */
#endif
#define PG_LOG_COUNTS_EVERY 600000000ul /* microseconds between two records of counters */
#define PG_LOG_UPLOAD 10000000ul /* microseconds after an upload's last message in which nothing is erased */

#define PG_LOG_BUSY 255u
#define PG_LOG_RECORD 16u
#define PG_LOG_CELLS (PG_STORE_UNIT / PG_LOG_RECORD)
#if PG_STORE_CELL == PG_STORE_PAGE
#define PG_LOG_ROOM (PG_STORE_PAGE / PG_LOG_RECORD) /* a page is written only once */
#else
#define PG_LOG_ROOM 12u /* a check point with sixteen dead pixels */
#endif
#if PG_LOG_CELLS < 4
#error "units of at least 64 bytes for the black box"
#endif

/* Kinds of records: kind 1, number of the refresh 4, nine bytes of their own,
 * CRC-16/IBM-3740 of these fourteen 2; all low byte first. docs/blackbox.md. */
enum {
	PG_LOG_UNIT = 1, PG_LOG_START, PG_LOG_BEGIN, PG_LOG_TABLE, PG_LOG_STATE, PG_LOG_FACTS, PG_LOG_VALUE, PG_LOG_LEVEL,
	PG_LOG_SERVICE, PG_LOG_CLOCK, PG_LOG_DEAD, PG_LOG_VERIFIED, PG_LOG_DAMAGED, PG_LOG_NEWS, PG_LOG_COUNTS, PG_LOG_VOLTS,
	PG_LOG_LEFT, PG_LOG_TROUBLE, PG_LOG_STREAM, PG_LOG_PLACE, PG_LOG_BUDGET, PG_LOG_CHECK, PG_LOG_LOST
};

struct pg_log {
	/* where it is written; numbers count all records since the installation */
	uint32_t first;   /* number of the first cell of the unit in hand */
	uint16_t cell;    /* of it, the next to be written */
	uint8_t unit;     /* in hand */
	uint8_t units;    /* that hold records without a gap, it included */
	uint8_t step, at; /* of the search or the writing */
	uint16_t looked;
	uint8_t batch;    /* records that are being written */
	uint8_t ready;    /* 1: the search is done */
	uint8_t urgent;   /* 1: write at once */
	uint8_t uploading;
	uint8_t ahead;    /* 1: the next unit stands erased */
	uint8_t tokens;   /* records that may be written */
	uint32_t filled, since, uploaded, counted;
	uint32_t starts, brown_outs; /* since the installation */
	/* what is in the log already */
	uint32_t seen;    /* refreshes looked at */
	uint32_t checked; /* refresh of the last check point */
	uint32_t dead_at; /* refresh from which on the pixels marked last are gone */
	uint32_t left_at; /* refresh of the first record left out */
	uint16_t left;    /* records left out since one was taken */
	uint16_t after;   /* records since the last check point */
	uint8_t check;    /* 1: a check point is wanted */
	uint8_t state, service, trouble, marked, stream, damaged, rots, follows, clip;
	uint8_t still, calm; /* the state shows one frame; nothing moves just now */
	uint16_t value;   /* 256: not told yet */
	uint32_t level;
	uint16_t known, running, starting, pending;
	uint8_t verified[8];
	uint16_t held;    /* CRC of budgets and gains of what the strips show */
	uint16_t tick;    /* refreshes since the second below */
	uint32_t second;  /* of the day, as foreseen; from 86400 on: none */
	uint8_t day;
	uint16_t counts;  /* CRC of the counters written last */
	uint16_t volts[PG_SUPPLIES]; /* lowest written, millivolts */
	/* the table's sum, in the making */
	uint32_t sum;
	uint8_t summed;   /* blocks, the header included */
	uint8_t n;        /* records in the buffer */
	uint8_t buf[PG_LOG_ROOM + 1][PG_LOG_RECORD];
};

/* Looks for the log's end, a cell a step; 1 when it is done. reset is the cause of
 * this start, as in struct pg_identity. */
uint8_t pg_log_search(struct pg_log *l, uint8_t reset);

/* The player begins with a table; to be called right after pg_start. */
void pg_log_begin(struct pg_log *l, const struct pg_player *p, uint32_t installed);

/* One step, to be called before each pg_run: looks at a refresh that has ended, or
 * writes. quiet: the store is nobody else's just now. */
void pg_log_run(struct pg_log *l, const struct pg_player *p, uint32_t now, uint8_t quiet);

/* An upload's message has come. */
void pg_log_upload(struct pg_log *l, uint32_t now);

/* Counters as they stand: n numbers. Written when they changed, every ten minutes at
 * most; pg_log_wants tells when it is time. */
uint8_t pg_log_wants(const struct pg_log *l, uint32_t now);
void pg_log_counts(struct pg_log *l, const struct pg_player *p, uint32_t now, uint32_t bad_frames, uint32_t again, uint32_t held, uint32_t silences);

/* The firmware's, where it measures: a supply's volts, in millivolts. New lows are
 * written down, in steps of 50 mV. */
void pg_log_volts(struct pg_log *l, const struct pg_player *p, uint8_t supply, uint16_t millivolts);

/* Reads up to most records from a number on into out, and gives how many; *given
 * is the number of the first. What waits in memory is written soon after.
 * PG_LOG_BUSY while the store is. */
uint8_t pg_log_read(struct pg_log *l, uint32_t wanted, uint32_t *given, uint8_t *out, uint8_t most);

#endif
