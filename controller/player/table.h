/* The table's header, read in place: docs/table-format.md, section 2. */
#ifndef PG_TABLE_H
#define PG_TABLE_H

#include "paneglow.h"

/* Where the rest is built to be small, a few functions are built to be fast. */
#if defined(__GNUC__) && !defined(__clang__)
#define PG_FAST __attribute__((optimize("O2")))
#else
#define PG_FAST
#endif

#define PG_TABLE_MAGIC 0x656e61d0ul
#define PG_TABLE_FORMAT 2u

/* Bytes of the header's fixed part and of its records. */
enum {
	PG_TABLE_FIXED = 48, PG_TABLE_SUPPLY = 20, PG_TABLE_LOAD = 9, PG_TABLE_STATE = 12, PG_TABLE_BUDGET = 4,
	PG_TABLE_LEVEL = 7, PG_TABLE_CLIP = 24
};

/* A state's record and its budgets' place. */
struct pg_state_record {
	uint8_t clip, hand_over, flags, then;
	uint16_t fade, loads;
	uint32_t at_most;
};

uint8_t pg_take8(struct pg_cursor *c);
uint16_t pg_take16(struct pg_cursor *c);
uint32_t pg_take32(struct pg_cursor *c);

/* One more step over bytes of a CRC that began with ~0; gives the CRC so far. */
uint32_t pg_crc(uint32_t crc, struct pg_cursor *c, uint8_t n);

/* Looks at the header's first bytes and begins its verification. 1 when there is
 * something to verify. */
uint8_t pg_table_open(struct pg_player *p);
/* Takes what the player keeps of a verified header. */
void pg_table_keep(struct pg_player *p);

void pg_table_state(const struct pg_player *p, uint8_t state, struct pg_state_record *s);
int32_t pg_table_budget(const struct pg_player *p, uint8_t state, uint8_t supply);
uint8_t pg_table_load(const struct pg_player *p, uint8_t load, uint32_t *run, uint32_t *start); /* its supply */
void pg_table_clip(const struct pg_player *p, uint8_t clip, struct pg_clip *out);

/* p->news and p->owing: a still state owes a refresh; and so does one that holds
 * what it shows, for the level or the pixels changed. */
#define PG_OUTDATED 3u

/* What level and budget work with. */
void pg_plan(struct pg_player *p);
uint32_t pg_linear(uint16_t lightness);

/* budget.c: the budgets in force after so many microseconds; whether a still
 * state owes a refresh, and one that holds what it shows; the count and the gains, in steps: 1 while there are
 * more. */
void pg_allow(struct pg_player *p, uint32_t took);
uint8_t pg_owed(const struct pg_player *p);
uint8_t pg_outdated(const struct pg_player *p);
void pg_idle(struct pg_player *p);
void pg_scale_start(struct pg_player *p);
uint8_t pg_scale_step(struct pg_player *p);

#endif
