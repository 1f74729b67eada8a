/* A part of decode.c: its memory, and the adaptive binary decoder (docs/table-format.md,
 * section 4.3, bits and states). */
#ifndef PG_DECODE_BITS_H
#define PG_DECODE_BITS_H

#include "decode.h"

#include <string.h>

#ifdef __AVR__
#define PG_STRETCH_ELSEWHERE
#else
#define PG_TABLE(t, i) pg_states[t][i]
#endif
/* The tables in pg_states: the state after a bit 0, after 1, and these. */
enum { EVIDENCE = 2, CHANCE };
#include "states.h"

/* Bits of a coded clip's first byte. */
enum { HAS_PALETTE = 1, HAS_WRAP = 2, HAS_HISTORY = 4, HAS_PERIOD = 32, HAS_POINTS = 64, HAS_TURNS = 128 };

/* Second contexts. */
enum { ALONE, BY_VALUE, BY_SHAPE };

/* Corrections of a prediction. */
enum { AS_BASE, AS_SLOPE, AS_HALF, AS_BEFORE, AS_LINEAR, AS_AGAIN, CORRECTIONS };

/* The work area begins with these contexts; then come the first and the second
 * contexts, the predictions, the palette, the history, the older frames. */
enum {
	SIZE = 0,           /* residuals over 1 and over 2, by the two before: 2 x 4 x 4 */
	TAIL = 32,          /* their lengths: 4 x 16 */
	SAME = 96, RAW, LIGHT, KEEP, BARE,
	EQUAL,              /* 16, by the number of the plane */
	CELLS = EQUAL + 16,
	PAST_CELLS = 600, SLOPE_CELLS = 150, SHAPE_CELLS = 450
};

/* What is done next. */
enum {
	HEAD, CHECK, POINTS, TURNS, PALETTE, MAP, SEEK, CLEAR, NEXT, PUSH, FRAME, AS_IT_IS, AGE, STRETCH, COPY, PLANE, SAMPLES, TURN, DONE,
	PLAIN, FAULT
};

static uint8_t fetch(struct pg_decoder *d)
{
	if (!d->left) {
		d->fault = 1;
		return 0;
	}
	d->left--;
	return pg_next(&d->at);
}

static void begin(struct pg_decoder *d)
{
	d->range = 0xffff;
	d->value = (uint16_t)fetch(d) << 8;
	d->value |= fetch(d);
	d->bits = 0x80;
}

#ifdef PG_STRETCH_ELSEWHERE

/* In pg_stretch.S; a context of 0 is no context but a chance of 1/2. */
uint8_t pg_single(struct pg_decoder *d, uint8_t *cell);
static uint8_t single(struct pg_decoder *d, uint8_t *cell) { return pg_single(d, cell); }
static uint8_t half(struct pg_decoder *d) { return pg_single(d, 0); }

#else

/* split decodes one bit that is 1 with a chance of p/256. */
static inline uint8_t split(struct pg_decoder *d, uint8_t p)
{
	uint16_t range = d->range, value = d->value;
	uint16_t bound = (uint16_t)(uint8_t)(range >> 8) * p;
	uint8_t bit;
	if (value < bound) {
		range = bound;
		bit = 1;
	} else {
		value -= bound;
		range -= bound;
		bit = 0;
	}
	if (!(range & 0x8000u)) {
		uint8_t bits = d->bits;
		do {
			uint8_t top = bits & 0x80;
			bits <<= 1;
			if (!bits) { /* that was the mark behind the last bit */
				bits = fetch(d);
				top = bits & 0x80;
				bits = (uint8_t)(bits << 1) | 1;
			}
			range <<= 1;
			value <<= 1;
			if (top)
				value |= 1;
		} while (!(range & 0x8000u));
		d->bits = bits;
	}
	d->range = range;
	d->value = value;
	return bit;
}

static uint8_t half(struct pg_decoder *d) { return split(d, 128); }

/* single decodes one bit in one context. */
static uint8_t single(struct pg_decoder *d, uint8_t *cell)
{
	uint8_t s = *cell;
	int8_t e = (int8_t)PG_TABLE(EVIDENCE, s);
	uint8_t bit = split(d, PG_TABLE(CHANCE, (uint8_t)(e >> 1)));
	*cell = PG_TABLE(bit, s);
	return bit;
}

#endif

static uint8_t number(struct pg_decoder *d, uint8_t n)
{
	uint8_t v = 0;
	while (n--)
		v = (uint8_t)(v << 1) | half(d);
	return v;
}

/* since is a sample's history after it went from was to v: where it went last,
 * 1 up and 2 down, and above that how many frames it has stood, to 16. */
static inline uint8_t since(uint8_t h, uint8_t v, uint8_t was)
{
	if (v == was)
		return h < 64 ? h + 4 : h;
	return v > was ? 1 : 2;
}

#endif
