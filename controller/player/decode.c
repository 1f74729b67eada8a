#include "decode.h"

/* A step's bytes: far less than a millisecond at 10 to 20 cycles a byte. */
#define STEP 256u

enum { STILL, RAW };

uint8_t pg_decode_start(struct pg_decoder *d, uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint32_t frame)
{
	d->kind = kind;
	d->done = 0;
	d->address = address;
	d->frames = frames;
	d->next = frames; /* nothing, until all is well */
	if (frame >= frames || (kind == STILL && length != PG_CHANNELS) ||
	    (kind == RAW && (length % PG_CHANNELS != 0 || length / PG_CHANNELS != frames)) || kind > RAW)
		return PG_BAD;
	d->next = frame;
	pg_seek(&d->at, kind == STILL ? address : address + frame * PG_CHANNELS);
	return PG_MORE;
}

uint8_t pg_decode_step(struct pg_decoder *d)
{
	uint16_t n = STEP;
	if (d->next >= d->frames)
		return PG_BAD;
	while (n-- > 0 && d->done < PG_CHANNELS)
		d->frame[d->done++] = pg_next(&d->at);
	if (d->done < PG_CHANNELS)
		return PG_MORE;
	d->done = 0;
	if (++d->next == d->frames)
		d->next = 0;
	if (d->next == 0 || d->kind == STILL)
		pg_seek(&d->at, d->address);
	return PG_FRAME;
}

uint16_t pg_decode_starts(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames)
{
	(void)address;
	(void)length;
	if (kind != RAW)
		return 1;
	return frames > 65535u ? 65535u : (uint16_t)frames;
}

uint32_t pg_decode_start_frame(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint16_t i)
{
	(void)kind;
	(void)address;
	(void)length;
	(void)frames;
	return i;
}
