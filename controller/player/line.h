/* The controller's side of the conversation: docs/link.md. Takes what comes over
 * the line, tells the player, answers, keeps tables; leaves the machine's own text
 * alone. With it a firmware is told by a computer what its own program does not
 * know; whatever the firmware tells the player itself counts just as much.
 *
 * The caller owns one struct pg_line, beside its struct pg_player. Nothing here
 * waits; no call takes longer than a millisecond (controller/sim measures them).
 *
 *	pg_line_start(&line, &panel, &me, BUILT_IN, 115200, now);
 *	for (;;) {
 *		while (a byte waits && pg_line_ready(&line))
 *			switch (pg_line_take(&line, byte, now)) {
 *			case PG_LINK_TEXT: line.in.text[0 .. line.in.texts) are the machine's
 *			case PG_LINE_PASS: line.in.body[0 .. line.in.bodies) too, zeros and all
 *			}
 *		pg_line_run(&line, now);                 before pg_run, in every pass
 *		if (the line takes a byte && pg_line_next(&line, &byte)) send it
 *	}
 *
 * The machine's own text may go out while pg_line_sending is 0: that is the one
 * lock of the line.
 */
#ifndef PG_LINE_H
#define PG_LINE_H

#include "link.h"
#include "log.h"
#include "paneglow.h"
#include "upload.h"

#define PG_LINE_VERSION 1
#define PG_LINE_EVENT 64 /* most bytes of a pass message from the machine's program */
#define PG_LINE_RECORDS 15 /* of the black box in one answer */
#define PG_LINE_PASS 3   /* beside what pg_link_take finds */

#ifndef PG_LINE_WINDOW
#define PG_LINE_WINDOW 510 /* bytes of blocks that may be under way: a frame in struct pg_link, 255 in the receiver's ring */
#endif
#define PG_LINE_HOLD 300 /* milliseconds after the last question of an upload that the player does not run */
#ifndef PG_LINE_REFRESHES
#define PG_LINE_REFRESHES 1 /* for one frame, pg_start's */
#endif
#define PG_LINE_PLAYING 2 /* in a read message: the table that plays, wherever it stands */
#define PG_LINE_READ 64 /* most bytes of it in one answer */

/* What only the firmware knows of itself. */
struct pg_identity {
	uint16_t firmware;
	uint8_t board[8];
	uint8_t brown_out; /* tenths of a volt; 0 none, 255 unknown */
	uint8_t reset;     /* bits: 1 power, 2 pin, 4 brown-out, 8 watchdog, 16 debug */
	uint8_t store;     /* what the start of the memory for tables gave; not 0: none can be kept */
};

/* Counters, in the order of a counters answer. */
enum {
	PG_COUNT_RESETS, PG_COUNT_BROWN_OUTS, PG_COUNT_REFRESHES, PG_COUNT_LATE, PG_COUNT_AGAIN, PG_COUNT_HELD,
	PG_COUNT_BAD_BLOCKS, PG_COUNT_BAD_FRAMES, PG_COUNT_RETURNED, PG_COUNT_SILENCES, PG_COUNTS
};

struct pg_line {
	struct pg_link in;
	struct pg_slots slots;
	struct pg_upload upload;
	struct pg_log log;
	struct pg_player *player;
	const struct pg_identity *me;
	uint32_t built_in;  /* the address of the table that plays when no slot holds one */
	uint32_t limit;     /* of a pause within a frame, microseconds */
	uint32_t number;    /* of the record whose table plays */
	uint32_t millis;    /* since the start */
	uint32_t fed;       /* of them, when the last question about tables came */
	uint32_t counted;   /* the microsecond up to which they are counted */
	uint32_t returned;  /* bytes that had waited and turned out to be text */
	uint16_t asked;     /* loads that the computer waits for */
	uint16_t granted;   /* and those it was told may start */
	uint16_t silences;
	uint8_t silent;     /* as the player was when last looked at */
	uint8_t step;       /* what pg_line_run does next */
	uint8_t tell;       /* 1: an event is owed */
	uint8_t held;       /* 1: a question waits for the answer before it to be sent */
	/* kept while the player begins with another table */
	struct pg_told {
		uint16_t known, running;
		uint32_t told, second;
		uint8_t day, value, service, state;
		uint16_t gaps[PG_GAPS + 1];
	} told;
	/* the answer, kept to be sent again */
	uint8_t kind, seq, answered;
	uint16_t sum;       /* CRC of the question */
	uint16_t outs, at;
	uint8_t out[PG_LINK_WIRE];
	/* what goes out unasked */
	uint8_t events, event_at;
	uint8_t event[PG_LINE_EVENT + 7];
};

/* Looks for the table in force, which takes pg_line_run some steps, and begins the
 * player with it; until then the player must not run. */
void pg_line_start(struct pg_line *l, struct pg_player *p, const struct pg_identity *me, uint32_t built_in, uint32_t baud, uint32_t now);

/* Whether a byte may be taken: not while a question is being worked on. */
uint8_t pg_line_ready(const struct pg_line *l);
uint8_t pg_line_take(struct pg_line *l, uint8_t byte, uint32_t now);

/* The same for all that waits in a receiver's ring of 256, from *out up to in, until
 * something was found. */
uint8_t pg_line_take_from(struct pg_line *l, const volatile uint8_t *ring, uint8_t in, volatile uint8_t *out, uint32_t now);

/* Where many bytes have come, those in the midst of a frame may be given together:
 * how many of them were taken, 0 when the next one is pg_line_take's. */
static inline uint8_t pg_line_some(struct pg_line *l, const uint8_t *b, uint8_t n, uint32_t now)
{
	return pg_link_some(&l->in, b, n, now);
}

/* One step. 1 while the player may run; 0 while it has no table yet, and while one
 * comes in: the strips keep what they show until it is there, at most PG_LINE_HOLD
 * longer than it is sent. */
uint8_t pg_line_run(struct pg_line *l, uint32_t now);

/* Text that had to wait and is the machine's after all: as after pg_line_take, when
 * the line is quiet. */
uint8_t pg_line_quiet(struct pg_line *l, uint32_t now);

/* The next byte to be sent; 0 when there is none. */
uint8_t pg_line_begin_next(struct pg_line *l, uint8_t *byte);
static inline uint8_t pg_line_next(struct pg_line *l, uint8_t *byte)
{
	if (l->at >= l->outs || l->event_at != 0)
		return pg_line_begin_next(l, byte);
	*byte = l->out[l->at++]; /* an answer goes on */
	return 1;
}
uint8_t pg_line_sending(const struct pg_line *l);

/* Bytes of the machine's program for the computer, as a pass message. 0; 1 when
 * there are more than PG_LINE_EVENT or something is still going out: again later. */
uint8_t pg_line_pass(struct pg_line *l, const uint8_t *b, uint8_t n);

/* Answers the question in hand with a status and, when it is PG_OK, n bytes. */
void pg_line_answer(struct pg_line *l, uint8_t status, const uint8_t *b, uint8_t n);

/* Bytes of the table that plays, slot or built in, for a computer that compares them:
 * offset 4, bytes 1, up to PG_LINE_READ and to where its notes begin. A status. */
uint8_t pg_line_playing(const struct pg_player *p, const uint8_t *wanted, uint8_t *to);

/* All loads are known to stand still. */
uint8_t pg_line_idle(const struct pg_line *l);

/* The firmware's: fills in the counters that only it knows (refreshes sent again
 * and held); the others are set afterwards. */
void pg_line_counts(uint32_t counts[PG_COUNTS]);

/* The firmware's: a probe of the strips, PG_PROBE in docs/link.md; a status. */
uint8_t pg_line_probe(const uint8_t *body);

#endif
