/* Clips of kinds still, raw and coded, step by step; see decode.h. Its parts are
 * headers: as one unit a compiler puts the work of a step where it is called. */
#include "decode_bits.h"
#include "decode_samples.h"
#include "decode_head.h"
#include "decode_frames.h"

#ifdef PG_STRETCH_ELSEWHERE
#include <stddef.h>
/* pg_stretch.S knows where these stand. */
#define HOLD(field, at) typedef char at_##field[offsetof(struct pg_decoder, field) == (at) ? 1 : -1]
HOLD(range, 0);
HOLD(value, 2);
HOLD(bits, 4);
HOLD(fault, 5);
HOLD(weights, 6);
HOLD(x, 14);
HOLD(q, 16);
HOLD(history, 18);
HOLD(older, 20);
HOLD(first, 22);
HOLD(second, 24);
HOLD(cells, 26);
HOLD(step, 28);
HOLD(stride, 29);
HOLD(by, 30);
HOLD(free, 31);
HOLD(hi, 32);
HOLD(pair, 33);
HOLD(shift, 34);
HOLD(base, 35);
HOLD(before, 36);
HOLD(last, 37);
HOLD(size1, 38);
HOLD(side1, 39);
HOLD(size2, 40);
HOLD(n, 41);
HOLD(units, 42);
HOLD(at, 43);
HOLD(left, 46);
#endif

uint8_t pg_take8(struct pg_cursor *c)
{
	return pg_next(c);
}

uint16_t pg_take16(struct pg_cursor *c)
{
	uint8_t low = pg_take8(c);
	return (uint16_t)(low | (uint16_t)pg_take8(c) << 8);
}

pg_offset pg_take24(struct pg_cursor *c)
{
	uint16_t low = pg_take16(c);
	return low | (pg_offset)pg_take8(c) << 16;
}

uint32_t pg_take32(struct pg_cursor *c)
{
	uint16_t low = pg_take16(c);
	return low | (uint32_t)pg_take16(c) << 16;
}

uint16_t pg_decode_starts(const struct pg_clip *c)
{
	struct front f;
	if (c->kind == PG_RAW)
		return c->frames > 65535u ? 65535u : (uint16_t)c->frames;
	return c->kind == PG_CODED && front(c, &f) ? f.points + 1u : 1;
}

uint32_t pg_decode_start_frame(const struct pg_clip *c, uint16_t i)
{
	struct front f;
	struct pg_cursor at;
	uint32_t frame;
	if (c->kind == PG_RAW)
		return i;
	if (c->kind != PG_CODED || !i || !front(c, &f) || i > f.points)
		return 0;
	pg_seek(&at, c->offset + f.points_at + 6u * (i - 1));
	frame = pg_take24(&at);
	return frame < c->frames ? frame : 0;
}

uint8_t pg_plain_start(struct pg_decoder *d, const struct pg_clip *c, uint32_t frame)
{
	struct pg_opening *o = &d->opening;
	uint8_t same = d->known && !memcmp(&o->clip, c, sizeof *c);
	o->clip = *c;
	o->next = frame;
	o->wanted = 0;
	d->place = 0;
	d->phase = FAULT;
	d->known = 0;
	if (frame >= c->frames)
		return PG_BAD;
	if (c->kind == PG_CODED) {
		d->phase = HEAD;
		if (same) {
			d->known = 1;
			d->phase = SEEK;
		} else {
			d->fault = 0;
			d->palette = 0;
		}
		return PG_MORE;
	}
#if PG_WITH_PLAIN
	if (c->kind == PG_STILL) {
		if (c->length != PG_CHANNELS)
			return PG_BAD;
		frame = 0;
	} else if (c->kind != PG_RAW || c->length % PG_CHANNELS || c->length / PG_CHANNELS != c->frames)
		return PG_BAD;
	d->fault = 0;
	d->palette = 0;
	pg_seek(&d->at, c->offset + frame * PG_CHANNELS);
	d->phase = PLAIN;
	return PG_MORE;
#else
	return PG_BAD;
#endif
}

/* What is done in a phase; gives the next one. */
static uint8_t (*const jobs[FAULT])(struct pg_decoder *, struct pg_opening *) PG_FLASH = {
	head, check,
#if PG_WITH_POINTS
	points,
#else
	0, /* nothing leads there */
#endif
	turns, palette, map, seek, clear, next, push, frame, as_it_is, age, stretch, copy, plane, samples, turn, done,
#if PG_WITH_PLAIN
	plain
#endif
};

uint8_t pg_plain_step(struct pg_decoder *d)
{
	uint8_t (*job)(struct pg_decoder *, struct pg_opening *);
	struct pg_opening *o = &d->opening;
	uint8_t was = d->phase, to;
	if (was >= FAULT)
		return PG_BAD;
	pg_flash_copy(&job, &jobs[was], sizeof job);
	to = job(d, o);
	d->phase = to;
	if (to == FAULT) {
		d->known = 0;
		return PG_BAD;
	}
	if (was != DONE)
		return PG_MORE;
	if (o->wanted) {
		o->wanted--;
		return PG_MORE;
	}
	if (++o->next == o->clip.frames)
		o->next = 0;
	return PG_FRAME;
}

uint8_t pg_decode_start(struct pg_decoder *d, const struct pg_clip *c, uint32_t frame)
{
#if PG_KEYS_CLIPS
	uint8_t on = c->kind == PG_KEYS || c->kind == PG_FIELD ? c->kind : 0;
	if (d->keys.on != on)
		d->known = 0; /* another layout of the memory */
	d->keys.on = on;
	if (on)
		return pg_keys_start(d, c, frame);
#endif
	return pg_plain_start(d, c, frame);
}

uint8_t pg_decode_step(struct pg_decoder *d)
{
#if PG_KEYS_CLIPS
	if (d->keys.on)
		return pg_keys_step(d);
#endif
	return pg_plain_step(d);
}
