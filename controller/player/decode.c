/* Clips of kinds still, raw and coded, step by step; see decode.h. Its parts are
 * headers: as one unit a compiler puts the work of a step where it is called. */
#include "decode_bits.h"
#include "decode_samples.h"
#include "decode_head.h"
#include "decode_frames.h"

uint16_t pg_decode_starts(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames)
{
	struct front f;
	if (kind == PG_RAW)
		return frames > 65535u ? 65535u : (uint16_t)frames;
	return kind == PG_CODED && front(address, length, frames, &f) ? f.points + 1u : 1;
}

uint32_t pg_decode_start_frame(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint16_t i)
{
	struct front f;
	uint32_t frame, offset;
	if (kind == PG_RAW)
		return i;
	if (kind != PG_CODED || !i || !front(address, length, frames, &f) || i > f.points)
		return 0;
	frame = point(address + f.points_at + 6ul * (i - 1), &offset);
	return frame < frames ? frame : 0;
}

uint8_t pg_plain_start(struct pg_decoder *d, uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint32_t frame)
{
	uint8_t same = d->known && d->kind == kind && d->address == address && d->length == length && d->frames == frames;
	d->kind = kind;
	d->address = address;
	d->length = length;
	d->frames = frames;
	d->next = frame;
	d->wanted = 0;
	d->place = 0;
	d->phase = FAULT;
	d->known = 0;
	if (kind > PG_CODED || frame >= frames)
		return PG_BAD;
	if (kind == PG_CODED) {
		d->phase = HEAD;
		if (same) {
			d->known = 1;
			d->phase = SEEK;
			return PG_MORE;
		}
	} else if (kind == PG_STILL) {
		if (length != PG_CHANNELS)
			return PG_BAD;
		frame = 0;
	} else if (length % PG_CHANNELS || length / PG_CHANNELS != frames)
		return PG_BAD;
	d->fault = 0;
	d->palette = 0;
	if (kind != PG_CODED) {
		pg_seek(&d->at, address + frame * PG_CHANNELS);
		d->phase = PLAIN;
	}
	return PG_MORE;
}

uint8_t pg_plain_step(struct pg_decoder *d)
{
	uint8_t was = d->phase, to;
	switch (was) {
	case HEAD: to = head(d); break;
	case CHECK: to = check(d); break;
	case POINTS: to = points(d); break;
	case TURNS: to = turns(d); break;
	case PALETTE: to = palette(d); break;
	case MAP: to = map(d); break;
	case SEEK: to = seek(d); break;
	case CLEAR: to = clear(d); break;
	case NEXT: to = next(d); break;
	case PUSH: to = push(d); break;
	case FRAME: to = frame(d); break;
	case AS_IT_IS: to = as_it_is(d); break;
	case AGE: to = age(d); break;
	case STRETCH: to = stretch(d); break;
	case COPY: to = copy(d); break;
	case PLANE: to = plane(d); break;
	case SAMPLES: to = samples(d); break;
	case TURN: to = turn(d); break;
	case DONE: to = done(d); break;
	case PLAIN: to = plain(d); break;
	default: return PG_BAD;
	}
	d->phase = to;
	if (to == FAULT) {
		d->known = 0;
		return PG_BAD;
	}
	if (was != DONE)
		return PG_MORE;
	if (d->wanted) {
		d->wanted--;
		return PG_MORE;
	}
	if (++d->next == d->frames)
		d->next = 0;
	return PG_FRAME;
}

uint8_t pg_decode_start(struct pg_decoder *d, uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint32_t frame)
{
#if PG_KEYS_CLIPS
	uint8_t on = kind == PG_KEYS || kind == PG_FIELD ? kind : 0;
	if (d->keys.on != on)
		d->known = 0; /* another layout of the memory */
	d->keys.on = on;
	if (on)
		return pg_keys_start(d, address, length, frames, frame);
#endif
	return pg_plain_start(d, kind, address, length, frames, frame);
}

uint8_t pg_decode_step(struct pg_decoder *d)
{
#if PG_KEYS_CLIPS
	if (d->keys.on)
		return pg_keys_step(d);
#endif
	return pg_plain_step(d);
}
