/* The stream between the line and the player: asking, credit, blocks, and whose turn
 * a frame is. See stream.h. */
#include "stream_parts.h"

#include <string.h>
#include "bytes.h"

#if PG_STREAMS

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
	number = pg_get16(b);
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
	pg_put16(b, s->next);
	pg_put16(b + 2, room);
	pg_put16(b + 4, s->late);
	pg_put16(b + 6, s->passed);
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
	s->phase = PG_STREAM_SHOWN;
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
	s->phase = PG_STREAM_SHOWN;
	s->why = why;
	s->tell = 1;
}

uint8_t pg_stream_take(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	s->took = 0;
	if (s->phase == PG_STREAM_SHOWN)
		pg_stream_look(p);
	if (s->phase == PG_STREAM_BROKEN)
		return 2;
	if (s->phase == PG_STREAM_SHOWN)
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
	if (s->phase == PG_STREAM_UNPACKING)
		r = pg_stream_unpack(p);
	if (r == 1)
		s->phase = PG_STREAM_SHOWN;
	return r;
}

uint8_t pg_stream_ahead(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	if (s->phase == PG_STREAM_UNPACKING) {
		pg_stream_unpack(p);
		return 1;
	}
	return s->phase == PG_STREAM_SHOWN && pg_stream_look(p);
}

#else
typedef int pg_no_stream; /* a source file holds something */
#endif
