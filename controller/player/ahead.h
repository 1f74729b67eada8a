/* The next block of a table, taken and answered while the controller's own program
 * stands still: for who runs then (the boot section of the AVR port, which writes a page
 * for 9 ms). Only what goes as it should is done here: a whole block that begins where
 * the last one ended and for which there is room. Whatever else has come stays where it
 * is, until pg_line_take can look at it.
 *
 * A step takes at most 480 cycles of an AVR (measured in the simulator); its receiver keeps
 * two bytes and a third under way, 960 cycles at 500,000 baud. Nothing has happened
 * before the last step: what was begun and not ended may be forgotten.
 */
#ifndef PG_AHEAD_H
#define PG_AHEAD_H

#include "bytes.h"
#include "link_byte.h"

#define PG_AHEAD_ANSWER 12 /* bytes of the answer on the line: status 0 and an offset */
#define PG_AHEAD_PIECE 8   /* bytes copied at once */

enum { PG_AHEAD_LOOKS, PG_AHEAD_COPIES, PG_AHEAD_SUMS, PG_AHEAD_ENDS }; /* steps */

/* The boot section is built once: this order stays. */
struct pg_ahead {
	uint8_t open;    /* 1: blocks may be taken */
	uint8_t taken;   /* how many were, their answers sent but for the last */
	uint8_t seq;     /* of the last one */
	uint8_t step;
	uint8_t owed;    /* 1: the last one's answer is still to be sent */
	uint16_t sum;    /* CRC of the last one's frame */
	uint16_t room;   /* bytes that may still be taken */
	uint32_t next;   /* the offset that the next block begins at */
	uint8_t *to;     /* where its first byte goes, in a ring */
	uint8_t *begin, *end; /* the ring's first byte, and behind its last one */
	const uint8_t *from;
	uint8_t *at;
	uint8_t left, summed;
	uint16_t crc;
	uint8_t answer[PG_AHEAD_ANSWER];
};

/* One step with the frame whose last byte, but for the zero, has come. 0: that is not for
 * here; 1: go on; 2: it was taken: the zero counts as heard, and a->answer is owed. */
static inline uint8_t pg_ahead_step(struct pg_ahead *a, struct pg_link *l)
{
	uint8_t *o = a->answer, i, code;
	uint8_t n;

	if (!a->open || a->owed)
		return 0;
	switch (a->step) {
	case PG_AHEAD_LOOKS:
		n = (uint8_t)(l->out - 8); /* kind, number and CRC, and the offset */
		if (l->out <= 8 || n > a->room || !pg_link_whole(l) || l->buf[0] != PG_BLOCK || pg_get32(l->buf + 2) != a->next)
			return 0;
		a->from = l->buf + 6;
		a->at = a->to;
		a->left = n;
		o[2] = PG_BLOCK;
		o[3] = l->buf[1];
		o[4] = 0;
		pg_put32(o + 5, a->next + n);
		a->step = PG_AHEAD_COPIES;
		return 1;
	case PG_AHEAD_COPIES:
		n = a->left < PG_AHEAD_PIECE ? a->left : PG_AHEAD_PIECE;
		a->left -= n;
		for (; n > 0; n--) {
			*a->at++ = *a->from++;
			if (a->at == a->end)
				a->at = a->begin;
		}
		if (a->left == 0) {
			a->crc = 0xffff;
			a->summed = 2;
			a->step = PG_AHEAD_SUMS;
		}
		return 1;
	case PG_AHEAD_SUMS:
		a->crc = pg_link_crc(a->crc, o[a->summed]);
		if (++a->summed == 9) {
			pg_put16(o + 9, a->crc);
			a->step = PG_AHEAD_ENDS;
		}
		return 1;
	default: /* the stuffing, as in pg_link_pack, and it is done */
		code = 11;
		for (i = 10; i >= 2; i--)
			if (o[i] == 0) {
				o[i] = (uint8_t)(code - i);
				code = i;
			}
		o[0] = o[11] = 0;
		o[1] = (uint8_t)(code - 1);
		n = (uint8_t)(l->out - 8);
		a->to = a->at;
		a->next += n;
		a->room -= n;
		a->seq = l->buf[1];
		a->sum = l->crc;
		a->taken++;
		a->owed = 1;
		a->step = PG_AHEAD_LOOKS;
		l->n = 0;
		return 2;
	}
}

#endif
