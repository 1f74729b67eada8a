/* Key frames. See keys.h. The Go twin is render/table/keys.go. */
#include <string.h>

#include "decode.h"

#if PG_KEYS_CLIPS

/* Codes made in one step, pixels of a field, and entries of its map: up to 100, 160
 * and 100 cycles each, well under a millisecond. */
#define CODES 120u
#define PIXELS 64u
#define MAPPED 96u

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
	struct pg_clip c = { PG_CODED, 0, 0, k->count, k->address + 4, k->length - 4 };
	return pg_plain_start(d, &c, key);
}

uint8_t pg_keys_start(struct pg_decoder *d, const struct pg_clip *clip, uint32_t frame)
{
	struct pg_keys *k = &d->keys;
	struct pg_cursor c;
	uint8_t flags;
	if (clip->length <= 4 || frame >= clip->frames || (k->on == PG_FIELD && !PG_EVEN_DIES))
		return PG_BAD;
	pg_seek(&c, clip->offset);
	k->hop = pg_take8(&c);
	flags = pg_take8(&c);
	k->top = pg_take16(&c);
	if (k->hop == 0 || flags > 3)
		return PG_BAD;
	k->closes = flags & 1;
	k->dithers = flags >> 1;
	k->frames = clip->frames;
	k->frame = frame;
	k->count = count_of(k);
	k->address = clip->offset;
	k->length = clip->length;
	k->key = NO_KEY;
	k->phase = FIRST;
	k->turning = 0;
	return coded(d, key_of(k, frame));
}

/* Its own memory stands behind what the coded clip asks for. */
static uint8_t place(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	if ((d->palette == 0) != (k->on == PG_KEYS) || d->work_end + (k->dithers ? 2ul : 1ul) * PG_CHANNELS + d->plane > PG_WORK)
		return 0;
	k->before = d->work + d->work_end;
	k->out = k->before + d->plane;
	k->rest = k->out + PG_CHANNELS;
	return 1;
}

/* A key stands in the decoder's frame: it becomes the one before. The one after
 * it is unpacked for the frame after the key's own, which shows nothing of it, so
 * that no frame waits for two. */
static void take(struct pg_decoder *d, uint32_t key)
{
	struct pg_keys *k = &d->keys;
	memcpy(k->before, d->frame, d->plane);
	k->key = key;
	k->both = !k->closes && key + 1 == k->count; /* it stays: both are the same */
	if (k->dithers)
		memset(k->rest, 128, PG_CHANNELS);
}

/* The samples of a field's map stand behind the place where light comes to stand;
 * two bytes for one, the last of them in the last one's own place. */
uint8_t pg_keys_map(struct pg_decoder *d)
{
	const uint16_t all = (d->opening.colours + 1u) * PG_DIES;
	uint8_t n, *to = d->palette + 2 * d->place;
	const uint8_t *from = d->palette + all + d->place;
	for (n = 0; n < MAPPED && d->place < all; n++, d->place++) {
		uint16_t light = pg_light(*from++, d->keys.top);
		*to++ = (uint8_t)light;
		*to++ = (uint8_t)(light >> 8);
	}
	return d->place == all;
}

/* Some of the frame's codes; 1 when all are made. At a key w is 0: all is the key's
 * own. */
static uint8_t make(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	const uint8_t field = k->on == PG_FIELD;
	const uint16_t at = field ? k->channel / PG_DIES : k->channel, left = (field ? PG_PIXELS : PG_CHANNELS) - at;
	const uint8_t most = field ? PIXELS : CODES;
	struct pg_blend x;

	x.before = k->before + at;
	x.after = k->w ? d->frame + at : x.before;
	x.out = k->out + k->channel;
	x.rest = k->dithers ? k->rest + k->channel : 0;
	x.map = d->palette;
	x.top = k->top;
	x.w = k->w;
	x.n = left > most ? most : (uint8_t)left;
	x.dies = PG_DIES;
	if (field) {
		k->channel += (uint16_t)x.n * PG_DIES;
		pg_blend_field(&x);
	} else {
		k->channel += x.n;
		pg_blend_keys(&x);
	}
	return k->channel == PG_CHANNELS;
}

/* How far the frame in the making lies from the key before to the one after, in
 * 256ths; below 256 everywhere. */
static uint8_t weight(const struct pg_keys *k)
{
	uint32_t from = frame_of(k, k->key);
	uint32_t span = (k->key + 1 < k->count ? frame_of(k, k->key + 1) : k->frames) - from;
	return (uint8_t)((k->frame - from) * 256u / span);
}

/* The frame in the making belongs to the key before: both keys are needed but for
 * the key's own frame. */
static uint8_t make_or_unpack(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	k->channel = 0;
	k->phase = MAKE;
	k->w = weight(k);
	if (k->both || k->frame == frame_of(k, k->key))
		return PG_MORE;
	k->phase = AFTER;
	return k->key + 1 == k->count ? coded(d, 0) : PG_MORE;
}

uint8_t pg_keys_step(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	uint8_t r;
	uint32_t key;
	switch (k->phase) {
	case FIRST:
		r = pg_plain_step(d);
		if (r != PG_FRAME)
			return r;
		if (!place(d))
			return PG_BAD;
		key = key_of(k, k->frame);
		take(d, key);
		/* Rounding errors are carried from the key on. */
		k->wanted = k->frame;
		if (k->dithers)
			k->frame = frame_of(k, key);
		return make_or_unpack(d);
	case AFTER:
		r = pg_plain_step(d);
		if (r != PG_FRAME)
			return r;
		k->both = 1;
		if (k->turning) /* with a key a frame the one after is due at once */
			take(d, key_of(k, k->frame));
		k->turning = 0;
		return make_or_unpack(d);
	case ON:
		k->frame = k->frame + 1 < k->frames ? k->frame + 1 : 0;
		k->wanted = k->frame;
		key = key_of(k, k->frame);
		if (key == k->key && k->frame != 0)
			return make_or_unpack(d);
		if (key == k->key + 1 || (k->closes && k->key + 1 == k->count)) {
			if (k->both) {
				take(d, key);
				return make_or_unpack(d);
			}
			k->phase = AFTER;
			k->turning = 1;
			return k->key + 1 == k->count ? coded(d, 0) : PG_MORE;
		}
		k->phase = FIRST;
		k->key = NO_KEY;
		return coded(d, key);
	default:
		if (!make(d))
			return PG_MORE;
		if (k->frame != k->wanted) {
			k->frame++;
			return make_or_unpack(d);
		}
		k->phase = ON;
		return PG_FRAME;
	}
}

#endif
