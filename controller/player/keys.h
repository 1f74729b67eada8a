/* Clips kept as key frames (docs/table-format.md, section 4.4): unpacked by the
 * decoder like any coded clip, then light in straight lines between two keys.
 * Included by decode.h. */
#ifndef PG_KEYS_H
#define PG_KEYS_H

struct pg_keys {
	uint8_t on;        /* 1: the clip is kept so */
	uint8_t hop, closes, dithers, phase;
	uint8_t both;      /* 1: the key after stands in the decoder's frame */
	uint8_t turning;   /* 1: and becomes the one before as soon as it does */
	uint16_t top;
	uint16_t channel;  /* that is made next */
	uint32_t frames;   /* of the clip */
	uint32_t frame;    /* in the making */
	uint32_t wanted;   /* that was asked for */
	uint32_t count;    /* keys */
	uint32_t key;      /* that `before` holds */
	uint32_t address, length;
	uint8_t *before;   /* the key before, as it was coded; the one after stands in the decoder's frame */
	uint8_t *out;      /* codes */
	uint8_t *rest;     /* rounding errors, where they are carried */
};

#endif
