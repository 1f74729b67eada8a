/* The hot places of keys.c: some codes of a frame between two keys
 * (docs/table-format.md, sections 4.4 and 4.5). AVR has both in assembly, in
 * port/avr/pg_blend.S, the same step by step. The Go twin is render/table/keys.go. */
#include "decode.h"

#if PG_KEYS_CLIPS

#ifdef __AVR__
#include <avr/pgmspace.h>
#include <stddef.h>
#define LIGHT_OF(s) ((uint16_t)(pgm_read_byte(&pg_curve[0][s]) | (uint16_t)pgm_read_byte(&pg_curve[1][s]) << 8))

/* pg_blend.S knows where these stand. */
#define HOLD(field, at) typedef char at_##field[offsetof(struct pg_blend, field) == (at) ? 1 : -1]
HOLD(before, 0);
HOLD(after, 2);
HOLD(out, 4);
HOLD(rest, 6);
HOLD(map, 8);
HOLD(top, 10);
HOLD(w, 12);
HOLD(n, 13);
HOLD(dies, 14);
#else
#define LIGHT_OF(s) ((uint16_t)(pg_curve[0][s] | (uint16_t)pg_curve[1][s] << 8))
#endif
#include "curve.h"

uint16_t pg_light(uint8_t sample, uint16_t top) { return (uint16_t)((uint32_t)LIGHT_OF(sample) * top >> 16); }

#ifndef __AVR__

/* floor((a * (256 - w) + b * w) / 256) = a + floor((b - a) * w / 256), by two
 * products of bytes. */
static uint16_t between(uint16_t a, uint16_t b, uint8_t w)
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

/* put gives a code of light, rounded to nearest or with the error carried. */
static void put(struct pg_blend *x, uint16_t light)
{
	if (x->rest) {
		light += *x->rest;
		*x->rest++ = (uint8_t)light;
	} else {
		light += 128u;
	}
	*x->out++ = (uint8_t)(light >> 8);
}

void pg_blend_keys(struct pg_blend *x)
{
	for (; x->n; x->n--) {
		uint8_t s = *x->before++, t = *x->after++;
		uint16_t light = LIGHT_OF(s);
		if (s != t)
			light = between(light, LIGHT_OF(t), x->w);
		put(x, (uint16_t)((uint32_t)light * x->top >> 16));
	}
}

void pg_blend_field(struct pg_blend *x)
{
	for (; x->n; x->n--) {
		uint8_t i = *x->before++, j = *x->after++, die;
		const uint8_t *e = x->map + 2u * i * x->dies, *f = x->map + 2u * j * x->dies;
		for (die = 0; die < x->dies; die++, e += 2, f += 2) {
			uint16_t light = (uint16_t)(e[0] | (uint16_t)e[1] << 8);
			if (i != j)
				light = between(light, (uint16_t)(f[0] | (uint16_t)f[1] << 8), x->w);
			put(x, light);
		}
	}
}

#endif

#endif
