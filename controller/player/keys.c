/* Key frames. See keys.h. The Go twin is render/table/keys.go. */
#include <string.h>

#include "decode.h"

#if PG_KEYS_CLIPS

#ifdef __AVR__
#include <avr/pgmspace.h>
#define LIGHT_OF(s) pgm_read_word(&pg_curve[s])

/* floor(a * b / 65536): half of what the compiler's own product takes. */
static inline uint16_t upper(uint16_t a, uint16_t b)
{
	uint16_t r;
	uint8_t low, none;
	__asm__("mul %B[a], %B[b]\n\t"
		"movw %A[r], r0\n\t"
		"mul %A[a], %A[b]\n\t"
		"mov %[low], r1\n\t"
		"clr %[none]\n\t"
		"mul %B[a], %A[b]\n\t"
		"add %[low], r0\n\t"
		"adc %A[r], r1\n\t"
		"adc %B[r], %[none]\n\t"
		"mul %A[a], %B[b]\n\t"
		"add %[low], r0\n\t"
		"adc %A[r], r1\n\t"
		"adc %B[r], %[none]\n\t"
		"clr __zero_reg__"
		: [r] "=&r"(r), [low] "=&r"(low), [none] "=&r"(none)
		: [a] "r"(a), [b] "r"(b)
		: "r0");
	return r;
}
#else
#define LIGHT_OF(s) (pg_curve[s])

static inline uint16_t upper(uint16_t a, uint16_t b)
{
	return (uint16_t)((uint32_t)a * b >> 16);
}
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
	k->turning = 0;
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

/* floor((a * (256 - w) + b * w) / 256) = a + floor((b - a) * w / 256), by two
 * products of bytes. */
static inline uint16_t between(uint16_t a, uint16_t b, uint8_t w)
{
	uint16_t d, low;
	if (b >= a) {
		d = b - a;
		low = (uint16_t)((uint16_t)(uint8_t)d * w) >> 8;
		return (uint16_t)(a + (uint16_t)((uint16_t)(uint8_t)(d >> 8) * w) + low);
	}
	d = a - b;
	low = (uint16_t)((uint16_t)((uint16_t)(uint8_t)d * w) + 255u) >> 8; /* down, so up here */
	return (uint16_t)(a - (uint16_t)((uint16_t)(uint8_t)(d >> 8) * w) - low);
}

/* Some of the frame's codes; 1 when all are made. w is 0 at a key, and below 256
 * everywhere. */
static uint8_t make(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	uint32_t from = frame_of(k, k->key);
	uint32_t span = (k->key + 1 < k->count ? frame_of(k, k->key + 1) : k->frames) - from;
	uint8_t w = (uint8_t)((k->frame - from) * 256u / span);
	uint16_t left = PG_CHANNELS - k->channel, top = k->top;
	const uint8_t *a = k->before + k->channel, *b = d->frame + k->channel;
	uint8_t *out = k->out + k->channel, *rest = k->dithers ? k->rest + k->channel : 0;
	uint8_t n = left > CODES ? CODES : (uint8_t)left;

	k->channel += n;
	for (; n; n--) {
		uint8_t s = *a++, t = *b++;
		uint16_t light = LIGHT_OF(s);
		if (w && s != t)
			light = between(light, LIGHT_OF(t), w);
		light = upper(light, top);
		if (rest) {
			light += *rest;
			*rest++ = (uint8_t)light;
		} else {
			light += 128u;
		}
		*out++ = (uint8_t)(light >> 8);
	}
	return k->channel == PG_CHANNELS;
}

/* The frame in the making belongs to the key before: both keys are needed but for
 * the key's own frame. */
static uint8_t make_or_unpack(struct pg_decoder *d)
{
	struct pg_keys *k = &d->keys;
	k->channel = 0;
	k->phase = MAKE;
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
