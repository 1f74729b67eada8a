/* Clips unpacked frame by frame, forwards, in bounded steps. Format:
 * docs/table-format.md, section 4.
 */
#ifndef PG_DECODE_H
#define PG_DECODE_H

#include <stdint.h>
#include "panel_config.h"
#include "pg_port.h"

enum { PG_MORE, PG_FRAME, PG_BAD };

/* A clip's record; offset is an address of the store. */
struct pg_clip {
	uint8_t kind, flags; /* flags: 1 follows a value, 2 loops, 4 begins by lot */
	uint16_t work;
	uint32_t frames, offset, length;
};

struct pg_decoder {
	uint8_t *frame; /* PG_CHANNELS bytes of the caller's */
	uint8_t *work;  /* PG_WORK bytes of the caller's */
	struct pg_clip clip;
	struct pg_cursor at;
	uint32_t next; /* the frame that is being unpacked */
	uint16_t done; /* of its bytes */
};

/* Begins a clip at the last of its start points that is not behind frame;
 * d->next is that frame then. frame and work are set by the caller. PG_MORE or
 * PG_BAD. */
uint8_t pg_decode_start(struct pg_decoder *d, const struct pg_clip *clip, uint32_t frame);

/* One bounded step: PG_FRAME when frame holds the next frame whole, counted on
 * by d->next. */
uint8_t pg_decode_step(struct pg_decoder *d);

/* How many start points a clip has, and which frame one begins with. */
uint16_t pg_decode_starts(const struct pg_clip *clip);
uint32_t pg_decode_start_frame(const struct pg_clip *clip, uint16_t i);

/* The last start point that is not behind a frame, as a frame. */
uint32_t pg_decode_start_before(const struct pg_clip *clip, uint32_t frame);

/* The codes R G B [W] of a pixel whose first channel stands at offset of a frame
 * of codes. */
static inline void pg_pixel(const struct pg_decoder *d, uint16_t pixel, uint16_t offset, uint8_t dies, uint8_t *codes)
{
	const uint8_t *from = d->frame + offset;
	(void)pixel;
	codes[0] = from[0];
	codes[1] = from[1];
	codes[2] = from[2];
	if (dies == 4)
		codes[3] = from[3];
}

#endif
