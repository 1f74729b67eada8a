/* Key frames. See keys.h. The Go twin is render/table/keys.go. */
#include <string.h>

#include "decode.h"

#if PG_KEYS_CLIPS

#ifdef __AVR__
#include <avr/pgmspace.h>
#define LIGHT_OF(s) pgm_read_word(&pg_curve[s])
#else
#define LIGHT_OF(s) (pg_curve[s])
#endif
#include "curve.h"

/* Codes made in one step: about 150 cycles each, well under a millisecond. */
#define CODES 48u

#define NO_KEY 0xfffffffful

enum { FIRST, AFTER, MAKE, ON };

static uint32_t count_of(const struct pg_keys *k)
{
	uint32_t n = (k->frames + k->hop - 1) / k->hop;
	return n + (!k->closes && (k->frames - 1) % k->hop != 0);
}

static uint32_t frame_of(const struct pg_keys *k, uint32_t key)
{
	uint32_t f = key * k->hop;
	return f < k->frames ? f : k->frames - 1;
}

static uint32_t key_of(const struct pg_keys *k, uint32_t frame)
{
	return !k->closes && frame == k->frames - 1 ? k->count - 1 : frame / k->hop;
}

static uint8_t coded(struct pg_decoder *d, uint32_t key)
{
	const struct pg_keys *k = &d->keys;
	return pg_plain_start(d, PG_CODED, k->address + 4, k->length - 4, k->count, key);
}

uint8_t pg_keys_start(struct pg_decoder *d, uint32_t address, uint32_t length, uint32_t frames, uint32_t frame)
{
	struct pg_keys *k = &d->keys;
	struct pg_cursor c;
	uint8_t flags;
	if (length <= 4 || frame >= frames)
		return PG_BAD;
	pg_seek(&c, address);
	k->hop = pg_next(&c);
	flags = pg_next(&c);
	k->top = pg_next(&c);
	k->top |= (uint16_t)((uint16_t)pg_next(&c) << 8);
	if (k->hop == 0 || flags > 3)
		return PG_BAD;
	k->on = 1;
	k->closes = flags & 1;
	k->dithers = flags >> 1;
	k->frames = frames;
	k->frame = frame;
	k->count = count_of(k);
	k->address = address;
	k->length = length;
	k->key = NO_KEY;
	k->phase = FIRST;
	return coded(d, key_of(k, frame));
}

/* Its own memory stands behind what the coded clip asks for. */
static uint8_t place(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	if (d->palette || d->work_end + (k->dithers ? 3u : 2u) * PG_CHANNELS > PG_WORK)
		return 0;
	k->before = d->work + d->work_end;
	k->out = k->before + PG_CHANNELS;
	k->rest = k->out + PG_CHANNELS;
	return 1;
}

/* A key has come into the decoder's frame: it becomes the one before, and the
 * one after it is asked for. */
static uint8_t take(struct pg_decoder *d, uint32_t key)
{
	struct pg_keys *k = &d->keys;
	memcpy(k->before, d->frame, d->plane);
	k->key = key;
	k->channel = 0;
	k->phase = MAKE;
	if (k->dithers)
		memset(k->rest, 128, PG_CHANNELS);
	if (key + 1 == k->count) {
		if (!k->closes)
			return PG_MORE; /* it stays: both are the same */
		if (coded(d, 0) == PG_BAD)
			return PG_BAD;
	}
	k->phase = AFTER;
	return PG_MORE;
}

/* Some of the frame's codes; 1 when all are made. */
static uint8_t make(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	uint32_t from = frame_of(k, k->key);
	uint32_t span = (k->key + 1 < k->count ? frame_of(k, k->key + 1) : k->frames) - from;
	uint16_t w = (uint16_t)((k->frame - from) * 256u / span), n;
	for (n = 0; n < CODES && k->channel < PG_CHANNELS; n++) {
		uint8_t a = k->before[k->channel], b = d->frame[k->channel];
		uint32_t v;
		v = LIGHT_OF(a);
		if (w)
			v = (v * (256u - w) + (uint32_t)LIGHT_OF(b) * w) >> 8;
		v = v * k->top >> 16;
		v += k->dithers ? k->rest[k->channel] : 128u;
		k->out[k->channel] = (uint8_t)(v >> 8);
		if (k->dithers)
			k->rest[k->channel] = (uint8_t)v;
		k->channel++;
	}
	return k->channel == PG_CHANNELS;
}

uint8_t pg_keys_step(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	uint8_t r;
	uint32_t key;
	switch (k->phase) {
	case FIRST:
	case AFTER:
		r = pg_plain_step(d);
		if (r != PG_FRAME)
			return r;
		if (k->phase == AFTER) {
			k->phase = MAKE;
			k->channel = 0;
			return PG_MORE;
		}
		if (!place(d))
			return PG_BAD;
		key = key_of(k, k->frame);
		r = take(d, key);
		/* Rounding errors are carried from the key on. */
		k->wanted = k->frame;
		if (k->dithers)
			k->frame = frame_of(k, key);
		return r;
	case ON:
		k->frame = k->frame + 1 < k->frames ? k->frame + 1 : 0;
		k->wanted = k->frame;
		k->channel = 0;
		key = key_of(k, k->frame);
		if (key == k->key && k->frame != 0) {
			k->phase = MAKE;
			return PG_MORE;
		}
		if (key == k->key + 1 || (k->closes && k->key + 1 == k->count))
			return take(d, key);
		k->phase = FIRST;
		k->key = NO_KEY;
		return coded(d, key);
	default:
		if (!make(d))
			return PG_MORE;
		k->channel = 0;
		if (k->frame != k->wanted) {
			k->frame++;
			return PG_MORE;
		}
		k->phase = ON;
		return PG_FRAME;
	}
}
#endif
