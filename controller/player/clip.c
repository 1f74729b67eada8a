/* What is shown of a clip: which frame comes next, unpacked when it is needed or a
 * little before; where it begins; and what becomes of one that cannot be unpacked.
 */
#include "table.h"

uint8_t pg_ready(const struct pg_player *p)
{
	return pg_has(p->verified, p->clip);
}

/* The rest is the state that a silent host leads to, or else the first. */
uint8_t pg_own(const struct pg_player *p)
{
	uint8_t clip = p->now.clip;
	if (pg_has(p->damaged, clip))
		pg_read(p, &clip, p->states_at + (p->then < p->states ? p->then : p->first) * PG_TABLE_STATE, 1);
	return clip;
}

/* Before the first frame, with nothing in the decoder. */
static void afresh(struct pg_player *p)
{
	p->fresh = 1;
	p->sub = p->per_frame;
	p->aimed = p->drawn = 0;
	p->have = p->on.frames;
	if (p->holds)
		p->fade_len = 0;
}

void pg_begin(struct pg_player *p)
{
	uint8_t clip = pg_own(p);
	p->clip = clip;
	p->finishing = p->losses = 0;
	p->holds = clip == p->lost;
	pg_table_clip(p, clip, &p->on);
	p->frame = p->on.frames; /* none */
	afresh(p);
}

void pg_fade(struct pg_player *p)
{
#if PG_WITH_FADES
	p->fade_at = 0;
	p->fade_len = (uint32_t)p->now.fade * p->rate / 1000u;
	if (p->fade_len == 0)
		p->fade_len = 1;
#else
	(void)p;
#endif
}

#if PG_WITH_LOTS
/* The next number of the generator by which lots are drawn: Marsaglia's 32-bit
 * xorshift with 13, 17, 5. */
static PG_APART uint32_t another(uint32_t lot)
{
	lot ^= lot << 13;
	lot ^= lot >> 17;
	return lot ^ lot << 5;
}
#endif

/* The frame that a clip begins with. A lot is used up when the frame stands: a
 * clip that is lost on it has not begun. */
static uint32_t first_frame(struct pg_player *p)
{
#if PG_WITH_LOTS
	const struct pg_clip *c = &p->on;
	if (c->flags & PG_BY_LOT) {
		p->drawn = 1;
		return pg_decode_start_frame(c, (uint16_t)((another(p->lot) >> 16) * pg_decode_starts(c) >> 16));
	}
#endif
	(void)p;
	return 0;
}

/* The frame after one; the first after the last. */
static uint32_t following(const struct pg_player *p, uint32_t frame)
{
	return ++frame < p->on.frames ? frame : 0;
}

/* The frame after the one on show, which may be the same; on.frames where the clip
 * comes to its end and gives way to another. */
static uint32_t after(const struct pg_player *p)
{
	uint32_t next;
	if ((p->now.flags & PG_STANDS) && !p->finishing)
		return p->frame;
	next = following(p, p->frame);
	if (next == 0) {
		if (p->finishing)
			return p->on.frames;
		if (!(p->on.flags & PG_LOOPS))
			return p->frame;
	}
	return next;
}

/* Aims the decoder at a frame: the one that it gives next, or one that it has to
 * look for. */
static void aim(struct pg_player *p, uint32_t frame)
{
	const struct pg_clip *c = &p->on;
	if (p->have == frame)
		return; /* it stands, or is in the making */
	if (p->aimed || p->have >= c->frames || following(p, p->have) != frame)
		pg_decode_start(&p->decoder, c, frame);
	p->have = frame; /* what cannot be, the next step tells */
	p->aimed = 1;
}

/* A clip that cannot be unpacked is no longer trusted. While its checksum is
 * worked out again the strips hold what they show: what they show has no other
 * copy than theirs. */
static void lose(struct pg_player *p)
{
	p->verified[p->clip >> 3] &= (uint8_t)~(1u << (p->clip & 7));
	p->lost = p->rotten = p->clip;
	p->rots++;
	p->holds = 1;
	p->weight = 256;
	p->crc_done = 0;
	afresh(p);
	if (p->finishing)
		p->holds = 0;
	if (p->losses < 2)
		p->losses++;
}

#if PG_STREAMS
/* A stream whose bytes make no frame: the state's clip stands in for it. */
static void lose_stream(struct pg_player *p)
{
	pg_stream_end(p, PG_STREAM_MALFORMED);
	p->fade_len = 0;
	p->weight = 256;
	p->owing |= 1;
	pg_begin(p);
}

/* The next frame of the stream, if it is here. A state's first one ends the hold
 * that its hand-over began with. */
static void pick_stream(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	uint8_t held = s->hold, stands = p->now.flags & PG_STANDS;
	p->source = PG_FROM_CLIP;
	s->took = 0;
	if (p->sub < p->per_frame || (stands && !held)) {
		p->sub += p->sub < p->per_frame;
		return;
	}
	switch (pg_stream_take(p)) {
	case 0:
		if (!held && p->how == PG_NONE && s->late != 0xffff)
			s->late++;
		break;
	case 1:
		if (s->marked) {
			pg_begin(p);
			p->holds = 0; /* whatever becomes of that clip */
			if (held && !stands && p->now.hand_over == PG_CROSSFADE)
				pg_fade(p);
		}
		p->owing |= 1;
		p->sub = 1;
		break;
	case 2:
		lose_stream(p);
	}
}
#endif

uint8_t pg_fetch(struct pg_player *p)
{
#if PG_STREAMS
	if (pg_live(p)) {
		uint8_t r = pg_stream_fetch(p);
		if (r == 2)
			lose_stream(p);
		return r;
	}
#endif
	if (p->aimed) {
		uint8_t r = pg_decode_step(&p->decoder);
		if (r == PG_BAD) {
			lose(p);
			return 2;
		}
		if (r != PG_FRAME)
			return 0;
		p->aimed = 0;
	}
#if PG_WITH_LOTS
	if (p->drawn)
		p->lot = another(p->lot);
	p->drawn = 0;
#endif
	return 1;
}

/* The next frame of the clip; 0 where it gives way to another. */
static uint8_t step(struct pg_player *p)
{
	uint32_t next;
	if (pg_follows(&p->on)) {
		next = p->value;
	} else if (p->fresh) {
		next = first_frame(p);
	} else {
		next = after(p);
		if (next >= p->on.frames)
			return 0;
		if (next <= p->frame)
			p->losses = 0; /* it was whole once more */
	}
	p->fresh = 0;
	p->frame = next;
	aim(p, next);
	return 1;
}

void pg_pick(struct pg_player *p)
{
#if PG_STREAMS
	if (pg_live(p)) {
		pick_stream(p);
		if (pg_live(p))
			return;
	}
#endif
	if (p->clip == PG_NONE) {
		p->source = PG_FROM_BLACK;
		return;
	}
	if (!pg_ready(p) && p->finishing) /* its end will not come */
		pg_begin(p);
	if (pg_ready(p)) {
		p->source = PG_FROM_CLIP;
		p->holds = 0;
		if (p->sub >= p->per_frame) {
			p->sub = 0;
			if (!step(p)) {
				pg_begin(p);
				p->sub = 0;
				if (pg_ready(p))
					step(p);
			}
		}
	}
	if (!pg_ready(p)) { /* it, or the one that came after it */
		p->source = PG_FROM_STILL;
		p->sub = p->per_frame;
		p->fresh = 1;
		return;
	}
	p->sub++;
}

uint8_t pg_ahead(struct pg_player *p)
{
	uint32_t next;
#if PG_STREAMS
	if (pg_live(p))
		return p->sub >= p->per_frame && (!(p->now.flags & PG_STANDS) || p->stream.hold) && pg_stream_ahead(p);
#endif
	if (!p->aimed) {
		if (p->source != PG_FROM_CLIP || p->sub < p->per_frame || p->fresh || !pg_ready(p))
			return 0;
		next = pg_follows(&p->on) ? p->value_told : after(p);
		if (next >= p->on.frames || next == p->have)
			return 0;
		aim(p, next);
		return 1;
	}
	pg_fetch(p);
	return 1;
}
