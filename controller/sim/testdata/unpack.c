/* Unpacks the first frames of every clip of a table, one after the other. Section 1
 * is a step of the decoder; a number in GPIOR0 is a frame that is whole: 1, or 2 for
 * the last of its clip; then its codes go into sum, and 4 says so. CLIPS holds kind, address, bytes and frames of each, MOST is
 * how many frames are unpacked.
 */
#include "decode.h"
#ifdef PG_TABLES_IN_NOR
#include "pg_avr.h"
#endif

struct pg_decoder decoder;
uint32_t sum; /* 31 times itself and the next code, for every code of three dies */

static void add(void)
{
	uint16_t i;
	for (i = 0; i < PG_PIXELS; i++) {
		uint8_t codes[4], c;
		pg_pixel_at(&decoder, i, 3 * i, 3, codes);
		for (c = 0; c < 3; c++)
			sum = (sum << 5) - sum + codes[c];
	}
	GPIOR0 = 4;
}

static const struct {
	uint8_t kind;
	uint32_t at, length, frames;
} clips[] PROGMEM = { CLIPS };

int main(void)
{
	uint8_t i;
#ifdef PG_TABLES_IN_NOR
	TCCR5B = 1 << CS50; /* the driver's clock */
	pg_nor_start();
#endif
	for (i = 0; i < sizeof clips / sizeof clips[0]; i++) {
		uint32_t frames = pgm_read_dword(&clips[i].frames), n = 0;
		struct pg_clip clip = { pgm_read_byte(&clips[i].kind), 0, 0, frames, pgm_read_dword(&clips[i].at), pgm_read_dword(&clips[i].length) };
		uint8_t r;
		GPIOR1 = 2;
		r = pg_decode_start(&decoder, &clip, 0);
		GPIOR1 = 0;
		while (r != PG_BAD) {
			GPIOR1 = 1;
			r = pg_decode_step(&decoder);
			GPIOR1 = 0;
			if (r == PG_FRAME) {
				if (++n == frames || n == MOST) {
					GPIOR0 = 2;
					add();
					break;
				}
				GPIOR0 = 1;
				add();
			}
		}
		if (r == PG_BAD)
			GPIOR0 = 3;
	}
	GPIOR0 = 255;
	for (;;)
		;
}
