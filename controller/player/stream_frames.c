/* The stream's ring, and the frames that are unpacked from it. See stream.h. */
#include "stream_parts.h"

#include <string.h>

#if PG_STREAMS

/* Of a frame's flags. */
enum { DARK = 1, MARKED = 2 };

/* Operations, docs/link.md section 6. */
enum { KEEP, LITERAL, BACK, SMALL };

#define STEP 320u   /* channels unpacked in one step */
#define PER_OP 16u  /* what an operation counts, in channels */
#define CLEAR 1024u /* channels cleared in one step */
#define SKIPS 8u    /* frames left out in one step */

static uint8_t peek(const struct pg_player *p, uint8_t i)
{
	uint16_t at = p->stream.at + i;
	if (at >= PG_STREAM_RING)
		at -= PG_STREAM_RING;
	return p->decoder.work[at];
}

static void drop(struct pg_stream *s, uint16_t n)
{
	uint16_t end = PG_STREAM_RING - s->at;
	s->at = n < end ? s->at + n : n - end;
	s->fill -= n;
	s->freed += n;
}

static uint8_t get(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	uint8_t b = p->decoder.work[s->at];
	if (++s->at == PG_STREAM_RING)
		s->at = 0;
	s->fill--;
	s->freed++;
	s->left--;
	return b;
}

static uint8_t broken(struct pg_stream *s)
{
	s->phase = PG_STREAM_BROKEN;
	return 1;
}

uint8_t pg_stream_look(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	uint8_t skips = SKIPS, flags, mine, acted = 0;
	uint16_t length, n;
	while (skips-- > 0) {
		if (s->left > 0) { /* of one that is left out */
			n = s->left < s->fill ? s->left : s->fill;
			if (n == 0)
				return acted;
			drop(s, n);
			s->left -= n;
			acted = 1;
			continue;
		}
		if (s->fill < 3)
			return acted;
		length = (uint16_t)(peek(p, 0) | (uint16_t)peek(p, 1) << 8);
		flags = peek(p, 2);
		if (length == 0 || length > PG_STREAM_MOST || flags > (DARK | MARKED) || flags == MARKED || (flags > DARK && length < 2))
			return broken(s);
		if (flags & MARKED) {
			if (s->fill < 4)
				return acted;
			mine = peek(p, 3) == p->state;
			if (!mine && !s->hold) {
				if (!p->finishing)
					return acted; /* it waits for its state */
				mine = 1; /* the old state's, like those before it */
			}
		} else {
			mine = !s->hold;
		}
		if (!mine) {
			drop(s, 2);
			s->left = length;
			s->passed++;
			continue;
		}
		if (s->fill < length + 2u)
			return acted;
		s->marked = flags >> 1;
		s->mark = peek(p, 3);
		n = s->marked ? 4 : 3;
		drop(s, n);
		s->left = length + 2 - n;
		s->clear = flags & DARK ? PG_CHANNELS : 0;
		s->x = s->run = s->took = 0;
		s->phase = PG_STREAM_UNPACKING;
		s->passed++;
		return 1;
	}
	return 1;
}

/* The next operation; 0 when there is none like it. */
static uint8_t operation(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	uint8_t c = get(p), n = c & 63;
	s->op = c >> 6;
	if (n < 62) {
		s->run = n + 1u;
	} else if (n == 62) {
		if (s->left < 1)
			return 0;
		s->run = 63u + get(p);
	} else {
		if (s->left < 2)
			return 0;
		s->run = get(p);
		s->run |= (uint16_t)((uint16_t)get(p) << 8);
	}
	if (s->run == 0 || s->run > PG_CHANNELS - s->x)
		return 0;
	switch (s->op) {
	case LITERAL:
		return s->run <= s->left;
	case BACK:
		if (s->left < 1)
			return 0;
		s->back = get(p);
		return s->back != 0 && s->back <= s->x;
	case SMALL:
		return s->run / 2 + (s->run & 1) <= s->left;
	}
	return 1;
}

/* Carries some channels of the operation out. What it takes from the ring lies
 * there in one piece. */
static PG_FAST void carry_out(struct pg_player *p, uint16_t n)
{
	struct pg_stream *s = &p->stream;
	const uint8_t *from = p->decoder.work + s->at;
	uint8_t *x = p->decoder.frame + s->x;
	uint16_t i, took = 0;
	switch (s->op) {
	case LITERAL:
		memcpy(x, from, n);
		took = n;
		break;
	case BACK:
		from = x - s->back;
		for (i = n; i > 0; i--)
			*x++ = *from++;
		break;
	case SMALL:
		took = n / 2 + (n & 1);
		for (i = n / 2; i > 0; i--) {
			uint8_t c = *from++;
			*x++ += (uint8_t)((c & 15) ^ 8) - 8;
			*x++ += (uint8_t)((c >> 4) ^ 8) - 8;
		}
		if (n & 1)
			*x += (uint8_t)((*from & 15) ^ 8) - 8;
	}
	s->x += n;
	s->run -= n;
	drop(s, took);
	s->left -= took;
}

uint8_t pg_stream_unpack(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	uint16_t units = STEP, n, most;
	if (s->clear > 0) {
		n = s->clear < CLEAR ? s->clear : CLEAR;
		s->clear -= n;
		memset(p->decoder.frame + s->clear, 0, n);
		return 0;
	}
	while (units > PER_OP) {
		if (s->run == 0) {
			if (s->left == 0) {
				s->phase = PG_STREAM_WHOLE;
				return 1;
			}
			if (!operation(p)) {
				s->phase = PG_STREAM_BROKEN;
				return 2;
			}
			units -= PER_OP;
		}
		n = s->run;
		if (s->op != KEEP) {
			if (n > units)
				n = units & ~1u;
			most = PG_STREAM_RING - s->at;
			if (s->op == SMALL && most < PG_STREAM_RING / 2)
				most *= 2; /* two channels a byte */
			if (s->op != BACK && n > most)
				n = most;
			units -= n;
		}
		carry_out(p, n);
	}
	return 0;
}

#else
typedef int pg_no_stream_frames; /* a source file holds something */
#endif
