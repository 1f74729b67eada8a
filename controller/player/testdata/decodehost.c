/* A program for tests: decodes clips with decode.c.
 *
 * It reads from standard input, for every clip: kind (1 byte;
 * 128 more: jump now and then to the frame that comes next anyway), frames, first
 * frame, frames wanted, length (4 bytes each, the lowest first), the payload.
 * It answers with a byte for every frame, PG_FRAME and the codes of all pixels
 * after it, or PG_BAD, which ends the clip.
 */
#include <stdio.h>
#include <stdlib.h>

#include "decode.h"

const uint8_t *pg_store;
uint32_t pg_store_size;

static const struct {
	uint16_t pixels;
	uint8_t dies;
} strips[] = {PG_TEST_STRIPS};

static uint32_t number(void)
{
	uint32_t v = 0;
	int i;
	for (i = 0; i < 4; i++)
		v |= (uint32_t)getchar() << (8 * i);
	return v;
}

static void show(const struct pg_decoder *d)
{
	uint16_t i, pixel = 0, byte = 0;
	size_t s;
	for (s = 0; s < sizeof strips / sizeof *strips; s++)
		for (i = 0; i < strips[s].pixels; i++, pixel++, byte += strips[s].dies) {
			uint8_t codes[4];
			pg_pixel_at(d, pixel, byte, strips[s].dies, codes);
			fwrite(codes, 1, strips[s].dies, stdout);
		}
}

int main(void)
{
	static struct pg_decoder d;
	int kind;
	while ((kind = getchar()) != EOF) {
		uint32_t frames = number(), first = number(), want = number(), length = number(), next = first;
		uint8_t *payload = malloc(length ? length : 1), what;
		if (!payload || fread(payload, 1, length, stdin) != length)
			return 1;
		struct pg_clip clip = { kind & 127, 0, 0, frames, 0, length };
		/* Exactly as long as it says, so that the sanitiser sees every step over it. */
		pg_store = payload;
		pg_store_size = length;
		d.known = 0; /* other bytes at the same address */
		what = pg_decode_start(&d, &clip, first);
		for (; want; want--) {
			uint32_t slices = 0;
			while (what == PG_MORE && slices++ < PG_TEST_SLICES)
				what = pg_decode_step(&d);
			putchar(what);
			if (what != PG_FRAME)
				break;
			show(&d);
			next = next + 1 == frames ? 0 : next + 1;
			what = PG_MORE;
			if ((kind & 128) && want % 5 == 3)
				what = pg_decode_start(&d, &clip, next);
		}
		free(payload);
		fflush(stdout);
	}
	return 0;
}
