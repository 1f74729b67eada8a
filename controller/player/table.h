/* What the player's files share: the table's header, read in place
 * (docs/table-format.md, section 2), and their parts of the work.
 */
#ifndef PG_TABLE_H
#define PG_TABLE_H

#include "paneglow.h"

/* Where the rest is built to be small, a few functions are built to be fast. */
#if defined(__GNUC__) && !defined(__clang__)
#define PG_FAST __attribute__((optimize("O2"), noinline))
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

/* The work of one refresh, in order: p->phase. */
enum { PG_DARK, PG_HEADER, PG_WAIT, PG_OLD, PG_FREEZE, PG_FETCH, PG_COUNT, PG_OUT };

/* Hand-overs; hold: on the frozen picture, until a stream's frame is here. */
enum { PG_CUT, PG_CROSSFADE, PG_FINISH, PG_HOLD };
enum { PG_STANDS = 1 };                   /* of a state's flags: still */
enum { PG_FOLLOWS = 1, PG_LOOPS = 2, PG_BY_LOT = 4 }; /* of a clip's */
/* And those that this build does not play. */
#define PG_NOT_BUILT ((PG_WITH_VALUES ? 0 : PG_FOLLOWS) | (PG_WITH_LOTS ? 0 : PG_BY_LOT))

/* p->news and p->owing: a still state owes a refresh; and so does one that holds
 * what it shows, for the level or the pixels changed. */
#define PG_OUTDATED 3u

/* What a panel's figures leave no choice of is known to the compiler. */
#define pg_supplies(p) (PG_SUPPLIES == 1 ? 1 : (p)->supplies)
#define pg_supply(i) (PG_SUPPLIES == 1 ? 0 : (i))
#define pg_part_of(i) (PG_PARTS == 1 ? 0 : (i))
#define pg_follows(c) (PG_WITH_VALUES && ((c)->flags & PG_FOLLOWS))
#define pg_dies(w) (PG_CHANNELS == PG_PIXELS * PG_DIES ? PG_DIES : (w)->dies)

/* ---- table.c */

/* Copies 1 to 255 bytes from an offset of the table on. */
void pg_read(const struct pg_player *p, void *to, uint16_t from, uint8_t n);

/* Looks at the header's first bytes and begins its verification. 1 when there is
 * something to verify. */
uint8_t pg_table_open(struct pg_player *p);
/* Takes what the player keeps of a verified header. */
void pg_table_keep(struct pg_player *p);
/* A state comes into force. */
void pg_table_state(struct pg_player *p, uint8_t state);
void pg_table_clip(const struct pg_player *p, uint8_t clip, struct pg_clip *out);

/* ---- plan.c: levels */

void pg_plan(struct pg_player *p);
uint32_t pg_linear(uint16_t lightness);

/* ---- verify.c: checksums */

uint8_t pg_has(const uint8_t *set, uint8_t i);
/* Begins with a block of the table; some bytes more of it, 1 when it is through, the
 * crc being 0 if it is whole. */
void pg_crc_start(struct pg_sum *s, uint32_t at, uint32_t length);
uint8_t pg_crc_step(struct pg_sum *s);
/* Verifies a little of the clips; 0 when all are known. */
uint8_t pg_verify(struct pg_player *p);

/* ---- clip.c: what is shown of a clip, or of a stream in its place */

#if PG_STREAMS
#define pg_live(p) pg_stream_live(p)
#else
#define pg_live(p) 0
#endif

uint8_t pg_ready(const struct pg_player *p);
/* What the state shows: its clip, or the rest's where that is broken for good. */
uint8_t pg_own(const struct pg_player *p);
/* A crossfade into the state begins. */
void pg_fade(struct pg_player *p);
/* Puts the state's clip before its first frame. */
void pg_begin(struct pg_player *p);
/* Chooses what this refresh shows, and aims at its frame. */
void pg_pick(struct pg_player *p);
/* Unpacks a little more; 1 when the frame that was aimed at stands whole, 2 when
 * the clip was lost. */
uint8_t pg_fetch(struct pg_player *p);
/* Works ahead; 0 when there is nothing that is known to come. */
uint8_t pg_ahead(struct pg_player *p);

/* ---- budget.c: the budgets in force after so many microseconds; whether a still
 * state owes a refresh, and one that holds what it shows; what dark pixels draw. */
void pg_allow(struct pg_player *p, uint32_t took);
uint8_t pg_owed(const struct pg_player *p);
uint8_t pg_outdated(const struct pg_player *p);
void pg_idle(struct pg_player *p);
/* What rises in so many microseconds at so much a millisecond, rounded down; the
 * largest number at most. */
uint32_t pg_rise(uint32_t per_ms, uint32_t took);

/* ---- gain.c: the count and the gains, in steps: 1 while there are more */
void pg_scale_start(struct pg_player *p);
uint8_t pg_scale_step(struct pg_player *p);

/* ---- count.c: currents of what is shown at the supplies' gains; plain: also of
 * what is shown without them. 1 when all pixels are counted. */
void pg_count_start(struct pg_player *p, uint8_t plain);
uint8_t pg_count_step(struct pg_player *p);

#endif
