/* Clips unpacked frame by frame, forwards, in steps that each stay well under a
 * millisecond on a controller of 16 MHz. Format: docs/table-format.md, section 4.
 *
 * Bytes that make no clip give PG_BAD, in bounded time; nothing is read outside
 * the clip's own bytes or written outside the struct. After PG_BAD only
 * pg_decode_start helps. While a frame is being unpacked its buffer holds a part
 * of it.
 */
#ifndef PG_DECODE_H
#define PG_DECODE_H

#include <stdint.h>
#include "panel_config.h"
#include "pg_port.h"

enum { PG_MORE, PG_FRAME, PG_BAD };

/* Kinds of clip. */
enum { PG_STILL, PG_RAW, PG_CODED, PG_KEYS, PG_FIELD };

#ifndef PG_WITH_LOTS
#define PG_WITH_LOTS 1 /* clips that begin by lot */
#endif
#ifndef PG_WITH_VALUES
#define PG_WITH_VALUES 1 /* clips that follow a value */
#endif
#ifndef PG_WITH_PLAIN
#define PG_WITH_PLAIN 1 /* clips of kinds still and raw */
#endif
/* Start points are for these alone: a coded clip that has some is bad without them. */
#define PG_WITH_POINTS (PG_WITH_LOTS || PG_WITH_VALUES)
#ifndef PG_KEYS_CLIPS
#define PG_KEYS_CLIPS 0 /* clips of kinds keys and field that the panel plays; 0 leaves their code out */
#endif
/* A field's map has an entry a pixel: every pixel has as many dies. */
#define PG_EVEN_DIES (PG_CHANNELS == PG_PIXELS * PG_DIES)
#include "keys.h"

/* Kept out of line where that is smaller. */
#if defined(__GNUC__)
#define PG_APART __attribute__((noinline))
#else
#define PG_APART
#endif

/* An address of the store, and what lies in a clip: a cursor reaches no more. */
#ifdef __AVR__
typedef __uint24 pg_offset;
#else
typedef uint32_t pg_offset;
#endif

/* A clip's record, as the table holds it. */
struct pg_clip {
	uint8_t kind, flags; /* flags 1 follows a value, 2 loops, 4 begins by lot */
	uint16_t work;
	uint32_t frames, offset, length; /* offset: an address of the store */
};

/* What a coded clip says of itself before its frames, and where in them the player
 * is. Offsets are of the clip. */
struct pg_opening {
	struct pg_clip clip;
	struct pg_cursor look; /* at what the clip says */
	uint8_t colours;     /* one fewer than there are */
	uint8_t stretches;
	uint8_t points;      /* how many start points there are, frame 0 not counted */
	uint8_t points_at;   /* their offset */
	uint8_t point;       /* the one that comes next */
	uint8_t runs;        /* that a period turns, 0: it does not */
	uint16_t turns_at;   /* their offset */
	uint16_t entries, entry; /* of the stretches, and of the one that comes next */
	pg_offset bits_at;   /* of the first frame's bits */
	uint32_t point_frame; /* of the start point that comes next */
	pg_offset point_offset;
	uint32_t stored;     /* frames that have bits */
	uint32_t ahead;      /* the frame that comes next, of these */
	uint32_t wanted;     /* frames to unpack before the one that was asked for */
	uint32_t next;       /* the frame that is being unpacked */
};

/* What AVR reaches in one instruction are the first 64 bytes behind a pointer: there
 * stands what most of the code asks for, and there are two pointers. */
struct pg_decoder {
	/* The binary decoder and the plane in the making; port/avr/pg_stretch.S knows
	 * where these stand. */
	uint16_t range, value;
	uint8_t bits;       /* fetched and not used, the next one topmost, then a one, then zeros */
	uint8_t fault;      /* bytes were wanted after the clip's end */
	int16_t weights[2][2];
	uint8_t *x;         /* the next sample */
	const uint8_t *q;   /* its base */
	uint8_t *history;   /* its history, or none */
	const uint8_t *older; /* what it was two frames ago, where that is asked for */
	uint8_t *first, *second, *cells; /* contexts */
	uint8_t step;       /* from base to base: stride or 0 */
	uint8_t stride, by, free, hi, pair, shift;
	uint8_t base, before, last; /* base of this sample and of the one before; that one's value */
	uint8_t size1, side1, size2; /* residuals of the two samples before: size up to 255; sign + 1 */
	uint8_t n;          /* samples to do at once */
	uint8_t units;      /* of time that are left of this step */
	struct pg_cursor at; /* the next byte */
	pg_offset left;      /* bytes from it to the clip's end */

	uint16_t todo;       /* samples left */
	uint8_t phase, flags, slots, channel;
	uint8_t stretch;
	uint16_t byte;       /* of the stretch in the frame */
	uint16_t place;      /* in a long job */
	uint16_t plane;      /* bytes of a frame as it is coded */

	uint16_t pixels;     /* of the stretch */
	uint16_t hold;       /* samples for which the base stays where it is */
	uint16_t run;        /* and then goes on */
	const uint8_t *turn; /* where the base goes on when it has come to its end */
	uint8_t wrap;
	uint8_t known;       /* the clip's head has been verified, its palette stands */
	uint8_t head;        /* of the ring: the newest of the older frames */
	uint8_t number;      /* of the plane */
	uint8_t copied;      /* how a copied stretch goes */
	uint8_t after;       /* the phase after a plane's samples */
	uint8_t turned;      /* the frame was turned; as it was coded it is the newest of the older ones */
	uint8_t *how, *palette, *past, *ring;
	struct pg_opening opening;
#if PG_KEYS_CLIPS
	uint16_t work_end;   /* of what the coded clip asks for */
	struct pg_keys keys;
#endif

	uint8_t frame[PG_CHANNELS]; /* codes R G B [W] a pixel, or a palette's index a pixel */
	uint8_t work[PG_WORK > 0 ? PG_WORK : 1]; /* contexts, palette, history, older frames, as the clip asks */
};

/* Whether this build plays clips of a kind. */
static inline uint8_t pg_decode_knows(uint8_t kind)
{
	return kind == PG_CODED || (PG_WITH_PLAIN && kind < PG_CODED) || (PG_KEYS_CLIPS && (kind == PG_KEYS || (kind == PG_FIELD && PG_EVEN_DIES)));
}

/* Begins a clip before a frame of it. PG_MORE or PG_BAD. The clip's bytes must
 * not change while it is the same: what was verified of them is remembered. */
uint8_t pg_decode_start(struct pg_decoder *d, const struct pg_clip *c, uint32_t frame);

/* One bounded step: PG_FRAME when d->frame holds the frame that was asked for,
 * then the one after it, and after the last one the first. */
uint8_t pg_decode_step(struct pg_decoder *d);

/* The same two for clips of the other kinds, and for key frames, which are made
 * with those; the latter in keys.c. pg_keys_map turns a few samples of a field's
 * map into light; 1 when all are done. */
uint8_t pg_plain_start(struct pg_decoder *d, const struct pg_clip *c, uint32_t frame);
uint8_t pg_plain_step(struct pg_decoder *d);
uint8_t pg_keys_start(struct pg_decoder *d, const struct pg_clip *c, uint32_t frame);
uint8_t pg_keys_step(struct pg_decoder *d);
uint8_t pg_keys_map(struct pg_decoder *d);

/* How many frames of a clip can be begun with for nothing, and which. */
uint16_t pg_decode_starts(const struct pg_clip *c);
uint32_t pg_decode_start_frame(const struct pg_clip *c, uint16_t i);

/* Numbers that a cursor comes by, the low byte first. */
uint8_t pg_take8(struct pg_cursor *c);
uint16_t pg_take16(struct pg_cursor *c);
pg_offset pg_take24(struct pg_cursor *c);
uint32_t pg_take32(struct pg_cursor *c);

/* Where the frame's codes stand, and the palette that its indices are of, if any. */
static inline const uint8_t *pg_codes(const struct pg_decoder *d)
{
#if PG_KEYS_CLIPS
	if (d->keys.on)
		return d->keys.out;
#endif
	return d->frame;
}

static inline const uint8_t *pg_palette(const struct pg_decoder *d)
{
#if PG_KEYS_CLIPS
	if (d->keys.on)
		return 0;
#endif
	return d->palette;
}

/* The codes R G B [W] of a pixel whose first channel is byte `byte` of a frame of
 * codes. */
static inline void pg_pixel_at(const struct pg_decoder *d, uint16_t pixel, uint16_t byte, uint8_t dies, uint8_t *codes)
{
	const uint8_t *from = pg_codes(d) + byte, *palette = pg_palette(d);
	if (palette)
		from = palette + (uint16_t)d->frame[pixel] * PG_DIES;
	codes[0] = from[0];
	codes[1] = from[1];
	codes[2] = from[2];
	if (dies == 4)
		codes[3] = from[3];
}

#endif
