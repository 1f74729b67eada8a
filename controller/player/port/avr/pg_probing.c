/* The message that asks for a probe. */
#include "pg_avr.h"
#include "pg_probe.h"
#include "upload.h"

#define MOST_CODE 64u
#define MOST_PIXELS 8u

uint8_t pg_probe_message(const uint8_t *b)
{
	struct pg_strip strip;
	uint8_t i, dies;

	if (b[0] >= PG_STRIPS || b[1] > MOST_PIXELS || b[8] > MOST_PIXELS)
		return PG_OUT_OF_RANGE;
	for (i = 0; i < 4; i++)
		if (b[2 + i] > MOST_CODE || b[9 + i] > MOST_CODE)
			return PG_OUT_OF_RANGE;
	pg_flash_copy(&strip, &pg_strips[b[0]], sizeof strip);
	pg_flash_copy(&dies, &pg_parts[strip.part].dies, 1);
	return pg_probe(pg_avr_mask(strip.line), dies, b[1], b + 2, (uint16_t)(b[6] | (uint16_t)b[7] << 8), b[8], b + 9) ? PG_OUT_OF_RANGE : PG_OK;
}
