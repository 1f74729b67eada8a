/* Frames that come over the line instead of out of the stored table: docs/link.md,
 * section 6. States, hand-overs, budgets, levels and silence stay the table's; the
 * player takes the stream for one more source of frames while it is open.
 *
 * Built in by PG_STREAMS 1. The bytes wait in the decoder's work memory, which a
 * stream leaves unused, so the ring costs nothing; struct pg_stream takes 50 bytes.
 * A block is taken when its link frame was found right and its number is the next
 * one; a frame is unpacked when all of it is here, in place, in steps.
 *
 * No step takes a millisecond (controller/sim, TestStreamIsLatchedAndLosesNothing, 240
 * pixels, avr-gcc 5.4 -O2: 8,530 cycles measured).
 *
 * Included by paneglow.h.
 */
#ifndef PG_STREAM_H
#define PG_STREAM_H

#ifndef PG_STREAMS
#define PG_STREAMS 0
#endif

#define PG_STREAM_RING (PG_WORK < 0x8000ul ? PG_WORK : 0x8000ul) /* bytes */
#define PG_STREAM_CODING 1   /* version of the frames' coding */
#define PG_STREAM_BLOCK 128  /* most bytes of a block */
#define PG_STREAM_WANT 10    /* bytes of a want message */
#define PG_STREAM_MOST (PG_CHANNELS + 5ul) /* most bytes of a frame after its length */
#define PG_STREAM_WAIT 200000ul  /* microseconds that a new state waits for its first frame */
#define PG_STREAM_LIMIT 1000000ul /* without a frame, where the show knows no silence */
#define PG_STREAM_REPEAT 50000ul /* between two wants, while there is room */
#define PG_STREAM_CREDIT 256u    /* bytes set free that are told at once */

/* Why a want was sent, and why a stream has ended. */
enum {
	PG_STREAM_ON_ITS_WAY, PG_STREAM_ONCE_MORE, PG_STREAM_SILENT, PG_STREAM_MALFORMED, PG_STREAM_HAND_OVER, PG_STREAM_SERVICE,
	PG_STREAM_ANEW, PG_STREAM_CLOSED
};

#if PG_STREAMS
struct pg_player;

struct pg_stream {
	uint8_t open;      /* below: whether it is shown, or will be with the next refresh */
	uint8_t hold;      /* 1: what is frozen stands until the state's own first frame is here */
	uint8_t phase;     /* of the frame in the pixel buffer */
	uint8_t took;      /* 1: this refresh shows it */
	uint8_t marked, mark; /* it is the first of a state, and of which */
	uint8_t why;       /* the last one has ended, one of the above */
	uint8_t op, back;  /* in hand, and how far back it copies */
	uint16_t at, fill; /* the ring's oldest byte, and how many there are */
	uint16_t left;     /* bytes of the frame that is unpacked or left out */
	uint16_t clear;    /* channels still to be put out, of a frame that begins dark */
	uint16_t x, run;   /* the channel that comes next, and how many the operation has left */
	uint16_t next;     /* the block that comes next */
	uint16_t late;     /* refreshes that should have had a new frame */
	uint16_t passed;   /* frames shown, begun or left out */
	uint16_t freed;    /* bytes since the last want */
	uint8_t tell, again, asked;
	uint32_t since, patience; /* the last frame was taken, and how long none may come */
	uint32_t told, asked_at;
};

enum { PG_STREAM_NONE, PG_STREAM_ASKED, PG_STREAM_ON, PG_STREAM_AFRESH, PG_STREAM_ENDS };

/* What the line tells. Open gives 0; 1 where the ring cannot hold a frame, 2 when
 * nothing plays or somebody is inside. It and close come into force together with
 * the next refresh. */
uint8_t pg_stream_open(struct pg_player *p);
void pg_stream_close(struct pg_player *p);
void pg_stream_block(struct pg_player *p, const uint8_t *b, uint8_t n, uint32_t now);

/* 1 when a want is due: its PG_STREAM_WANT bytes. */
uint8_t pg_stream_want(struct pg_player *p, uint32_t now, uint8_t *b);

/* The player's: whether a stream is shown; why it ends with this refresh, or 0;
 * it begins, or its state does, on a frozen picture; the frame that this refresh
 * shows (0 none, 1, 2 its bytes make no frame); the work on it (as fetch: 0 more, 1
 * done, 2 no frame); work ahead of the next refresh (1 there was some). */
uint8_t pg_stream_live(const struct pg_player *p);
uint8_t pg_stream_over(const struct pg_player *p, uint8_t held);
void pg_stream_begin(struct pg_player *p);
void pg_stream_end(struct pg_player *p, uint8_t why);
uint8_t pg_stream_take(struct pg_player *p);
uint8_t pg_stream_fetch(struct pg_player *p);
uint8_t pg_stream_ahead(struct pg_player *p);
#endif

#endif
