#include "decode.h"

/* A step's bytes: far less than a millisecond at 10 to 20 cycles a byte. */
#define STEP 256u

uint8_t pg_decode_start(struct pg_decoder *d, const struct pg_clip *clip, uint32_t frame)
{
	d->clip = *clip;
	d->done = 0;
	if (clip->kind > 1 || frame >= clip->frames)
		return PG_BAD;
	if (clip->kind == 0) {
		d->next = 0;
		if (clip->length != PG_CHANNELS)
			return PG_BAD;
		pg_seek(&d->at, clip->offset);
		return PG_MORE;
	}
	d->next = frame;
	if (clip->length / clip->frames != PG_CHANNELS || clip->length % clip->frames != 0)
		return PG_BAD;
	pg_seek(&d->at, clip->offset + frame * PG_CHANNELS);
	return PG_MORE;
}

uint8_t pg_decode_step(struct pg_decoder *d)
{
	uint16_t n = STEP;
	if (d->next >= d->clip.frames)
		return PG_BAD;
	if (d->clip.kind == 0 && d->next > 0) { /* all frames are equal */
		d->next++;
		return PG_FRAME;
	}
	while (n-- > 0 && d->done < PG_CHANNELS)
		d->frame[d->done++] = pg_next(&d->at);
	if (d->done < PG_CHANNELS)
		return PG_MORE;
	d->done = 0;
	d->next++;
	return PG_FRAME;
}

uint16_t pg_decode_starts(const struct pg_clip *clip)
{
	if (clip->kind != 1)
		return 1;
	return clip->frames > 65535u ? 65535u : (uint16_t)clip->frames;
}

uint32_t pg_decode_start_frame(const struct pg_clip *clip, uint16_t i)
{
	(void)clip;
	return i;
}

uint32_t pg_decode_start_before(const struct pg_clip *clip, uint32_t frame)
{
	return clip->kind == 1 ? frame : 0;
}
