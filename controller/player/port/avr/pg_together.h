/* Data lines side by side: pins of one port that go out at once, a bit of every line
 * in the time of one (pg_together.S). What goes out is worked out before, with
 * interrupts on, into rows of masks: a byte of every line stands in PG_ROW_MASKS
 * bytes.
 *
 * PG_TOGETHER is the mask of the pins, of PG_PORT; the lines stand on them in
 * ascending order. PG_LONGEST is the bytes of the longest line.
 */
#ifndef PG_TOGETHER_H
#define PG_TOGETHER_H

#include "pg_timing.h"

#ifndef PG_TOGETHER
#define PG_TOGETHER 0
#endif

/* Up to four lines take the pins 0 to 3, and two bits of each share a byte of masks. */
#if PG_TOGETHER > 15
#define PG_ROW_MASKS 8
#else
#define PG_ROW_MASKS 4
#endif

#ifndef __ASSEMBLER__

#include <stdint.h>

/* Bytes of the lines of a mask; then go is pg_together_byte. The last one has the
 * lines of none and pg_together_end. The fields' places are known to pg_together.S. */
struct pg_run {
	uint16_t count; /* 1 and more, but for the last */
	uint8_t active;
	void (*go)(void);
};

/* Puts one die's codes of n pixels, 1 and more, that stand dies bytes apart, into every
 * dies-th row; gain is that of struct pg_stretch. */
void pg_together_put(uint8_t *to, const uint8_t *codes, uint8_t n, uint8_t dies, uint16_t gain);

/* Turns rows of bytes, the one of pin i in place i, into rows of masks, in place; what
 * stands in the places of other lines than the active ones counts for nothing. */
void pg_together_turn(uint8_t *rows, uint16_t n, uint8_t active);

/* Sends them, run by run; guard is PG_GUARD. Interrupts are off before and after, and are taken as in
 * pg_pixels_send. 0, or 1: a pause was too long, and nothing was sent after it. */
uint8_t pg_together_send(const uint8_t *rows, const struct pg_run *first, uint8_t guard);

/* No functions to call: where the output goes on. */
void pg_together_byte(void);
void pg_together_end(void);

#endif
#endif
