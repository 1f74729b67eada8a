/* The stream's ring, credit and frames. See stream.h. */
#include <string.h>
#include "table.h"

#if PG_STREAMS

/* The pixel buffer holds: the frame on show; a part of the next one; all of it;
 * what is no frame. */
enum { SHOWN, UNPACKING, WHOLE, BROKEN };

/* Of a frame's flags. */
enum { DARK = 1, MARKED = 2 };

/* Operations, docs/link.md section 6. */
enum { KEEP, LITERAL, BACK, SMALL };

#define STEP 320u   /* channels unpacked in one step */
#define PER_OP 16u  /* what an operation counts, in channels */
#define CLEAR 1024u /* channels cleared in one step */
#define SKIPS 8u    /* frames left out in one step */

static uint16_t get16(const uint8_t *b)
{
	return (uint16_t)(b[0] | (uint16_t)b[1] << 8);
}

static void put16(uint8_t *b, uint16_t v)
{
	b[0] = (uint8_t)v;
	b[1] = (uint8_t)(v >> 8);
}

/* Microseconds since then; 0 when a clock that is read twice has gone back a little. */
static uint32_t since(uint32_t now, uint32_t then)
{
	uint32_t d = now - then;
	return d < 0xffff0000ul ? d : 0;
}

/* ---- what the line tells */

uint8_t pg_stream_open(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	if (PG_STREAM_RING < PG_STREAM_MOST + 2 + PG_STREAM_BLOCK)
		return 1;
	if (p->trouble != PG_TABLE_FINE || p->rate == 0 || p->service_told != PG_SERVICE_OFF)
		return 2;
	s->open = s->open < PG_STREAM_ON ? PG_STREAM_ASKED : PG_STREAM_AFRESH;
	s->why = PG_STREAM_ON_ITS_WAY;
	s->tell = 0;
	return 0;
}

void pg_stream_close(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	if (s->open == PG_STREAM_NONE)
		return;
	s->why = PG_STREAM_CLOSED;
	if (s->open == PG_STREAM_ASKED)
		s->open = PG_STREAM_NONE;
	else
		s->open = PG_STREAM_ENDS;
}

/* Asks for the blocks from the next one on, once for each gap and time. */
static void ask_again(struct pg_stream *s, uint32_t now)
{
	if (s->asked && since(now, s->asked_at) < PG_STREAM_REPEAT)
		return;
	s->asked = 1;
	s->asked_at = now;
	s->again = s->tell = 1;
}

void pg_stream_block(struct pg_player *p, const uint8_t *b, uint8_t n, uint32_t now)
{
	struct pg_stream *s = &p->stream;
	uint8_t *ring = p->decoder.work;
	uint16_t to, number, first;
	if (s->open != PG_STREAM_ON) {
		/* Told to who does not know that it has ended; one that has not begun has
		 * granted nothing. */
		if (s->open == PG_STREAM_NONE && since(now, s->told) >= PG_STREAM_REPEAT)
			s->tell = 1;
		return;
	}
	if (n < 3 || n > PG_STREAM_BLOCK + 2)
		return;
	number = get16(b);
	b += 2;
	n -= 2;
	if (number != s->next) {
		if ((uint16_t)(number - s->next) < 0x8000u)
			ask_again(s, now);
		return;
	}
	if (n > PG_STREAM_RING - s->fill)
		return; /* more than was granted */
	to = s->at + s->fill;
	if (to >= PG_STREAM_RING)
		to -= PG_STREAM_RING;
	first = PG_STREAM_RING - to;
	if (first > n)
		first = n;
	memcpy(ring + to, b, first);
	memcpy(ring, b + first, (size_t)n - first);
	s->fill += n;
	s->next++;
	s->asked = 0;
}

uint8_t pg_stream_want(struct pg_player *p, uint32_t now, uint8_t *b)
{
	struct pg_stream *s = &p->stream;
	uint16_t room = 0;
	if (s->open == PG_STREAM_ON) {
		room = PG_STREAM_RING - s->fill;
		if (s->freed >= PG_STREAM_CREDIT || (room > 0 && since(now, s->told) >= PG_STREAM_REPEAT))
			s->tell = 1;
	}
	if (!s->tell)
		return 0;
	put16(b, s->next);
	put16(b + 2, room);
	put16(b + 4, s->late);
	put16(b + 6, s->passed);
	b[8] = p->wish != PG_NONE ? p->wish : p->state;
	b[9] = s->why;
	if (s->open == PG_STREAM_NONE && s->why == PG_STREAM_ON_ITS_WAY)
		b[9] = PG_STREAM_ANEW; /* it never knew of one */
	else if (s->why == PG_STREAM_ON_ITS_WAY && s->again)
		b[9] = PG_STREAM_ONCE_MORE;
	s->tell = s->again = 0;
	s->freed = 0;
	s->told = now;
	return 1;
}

/* ---- the ring */

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

/* ---- frames */

static uint8_t broken(struct pg_stream *s)
{
	s->phase = BROKEN;
	return 1;
}

/* Looks at the next frame: begins to unpack it when it is whole and its turn has
 * come, leaves it out when it belongs to a state that is gone. 1 when there was
 * something to do. */
static uint8_t look(struct pg_player *p)
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
		s->phase = UNPACKING;
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

/* A bounded step; 0 while there is more, 1 when the frame stands, 2 when its bytes
 * make none. */
static uint8_t unpack(struct pg_player *p)
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
				s->phase = WHOLE;
				return 1;
			}
			if (!operation(p)) {
				s->phase = BROKEN;
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

/* ---- the player's */

uint8_t pg_stream_live(const struct pg_player *p)
{
	return p->stream.open >= PG_STREAM_ON;
}

uint8_t pg_stream_over(const struct pg_player *p, uint8_t held)
{
	const struct pg_stream *s = &p->stream;
	if (s->open == PG_STREAM_NONE)
		return 0;
	if (p->service != PG_SERVICE_OFF)
		return PG_STREAM_SERVICE;
	if (s->open == PG_STREAM_ENDS)
		return s->why;
	if (p->silent)
		return PG_STREAM_SILENT;
	if (s->open == PG_STREAM_ON && (s->hold || !held) && (int32_t)(p->at - s->since) >= (int32_t)s->patience)
		return s->hold && s->patience == PG_STREAM_WAIT ? PG_STREAM_HAND_OVER : PG_STREAM_SILENT;
	return 0;
}

static uint32_t patience(const struct pg_player *p)
{
	return p->silence ? p->silence * 1000u : PG_STREAM_LIMIT;
}

void pg_stream_begin(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	struct pg_decoder *d = &p->decoder;
	s->hold = 1;
	s->took = 0;
	s->since = p->at;
	s->patience = PG_STREAM_WAIT;
	s->tell = 1;
	s->phase = SHOWN;
	if (s->open == PG_STREAM_ON)
		return;
	/* The ring is empty, and the decoder no longer knows its clip. */
	s->open = PG_STREAM_ON;
	s->patience = patience(p);
	s->at = s->fill = s->left = s->next = s->late = s->passed = 0;
	s->asked = s->again = 0;
	d->known = 0;
	d->palette = 0;
#if PG_KEYS_CLIPS
	d->keys.on = 0;
#endif
}

void pg_stream_end(struct pg_player *p, uint8_t why)
{
	struct pg_stream *s = &p->stream;
	s->open = PG_STREAM_NONE;
	s->hold = 0;
	s->phase = SHOWN;
	s->why = why;
	s->tell = 1;
}

uint8_t pg_stream_take(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	s->took = 0;
	if (s->phase == SHOWN)
		look(p);
	if (s->phase == BROKEN)
		return 2;
	if (s->phase == SHOWN)
		return 0;
	s->took = 1;
	if (s->mark != p->state)
		s->marked = 0;
	s->since = p->at;
	s->patience = patience(p);
	if (s->marked)
		s->hold = 0;
	return 1;
}

uint8_t pg_stream_fetch(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	uint8_t r = 1;
	if (!s->took)
		return 1;
	if (s->phase == UNPACKING)
		r = unpack(p);
	if (r == 1)
		s->phase = SHOWN;
	return r;
}

uint8_t pg_stream_ahead(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	if (s->phase == UNPACKING) {
		unpack(p);
		return 1;
	}
	return s->phase == SHOWN && look(p);
}

#else
typedef int pg_no_stream; /* a source file holds something */
#endif
