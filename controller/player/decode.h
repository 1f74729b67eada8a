/* Clips unpacked frame by frame, forwards, in bounded steps. Format:
 * docs/table-format.md, section 4.
 */
#ifndef PG_DECODE_H
#define PG_DECODE_H

#include <stdint.h>
#include "panel_config.h"
#include "pg_port.h"

enum { PG_MORE, PG_FRAME, PG_BAD };

struct pg_decoder {
	uint8_t kind;
	uint16_t done; /* of the frame's bytes */
	uint32_t address, frames, next;
	struct pg_cursor at;
	uint8_t frame[PG_CHANNELS];
	uint8_t work[PG_WORK > 0 ? PG_WORK : 1];
};

/* Begins a clip before a frame of it. PG_MORE or PG_BAD. */
uint8_t pg_decode_start(struct pg_decoder *d, uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint32_t frame);

/* One bounded step: PG_FRAME when d->frame holds the frame that was asked for,
 * then the one after it, and after the last one the first. */
uint8_t pg_decode_step(struct pg_decoder *d);

/* How many frames of a clip can be begun with for nothing, and which. */
uint16_t pg_decode_starts(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames);
uint32_t pg_decode_start_frame(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint16_t i);

/* The codes R G B [W] of a pixel whose first channel is byte `byte` of a frame of
 * codes. */
static inline void pg_pixel_at(const struct pg_decoder *d, uint16_t pixel, uint16_t byte, uint8_t dies, uint8_t *codes)
{
	const uint8_t *from = d->frame + byte;
	(void)pixel;
	codes[0] = from[0];
	codes[1] = from[1];
	codes[2] = from[2];
	if (dies == 4)
		codes[3] = from[3];
}

#endif
