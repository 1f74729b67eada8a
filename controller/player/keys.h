/* Clips kept as key frames or as a field (docs/table-format.md, sections 4.4 and
 * 4.5): unpacked by the decoder like any coded clip, then light in straight lines
 * between two keys.
 * Included by decode.h. */
#ifndef PG_KEYS_H
#define PG_KEYS_H

struct pg_keys {
	uint8_t on;        /* PG_KEYS or PG_FIELD: the clip is kept so */
	uint8_t hop, closes, dithers, phase;
	uint8_t both;      /* 1: the key after stands in the decoder's frame */
	uint8_t w;         /* weight of the key after, in 256ths */
	uint8_t turning;   /* 1: and becomes the one before as soon as it does */
	uint16_t top;
	uint16_t channel;  /* that is made next */
	uint32_t frames;   /* of the clip */
	uint32_t frame;    /* in the making */
	uint32_t wanted;   /* that was asked for */
	uint32_t count;    /* keys */
	uint32_t key;      /* that `before` holds */
	uint32_t address, length;
	uint8_t *before;   /* the key before, as it was coded; the one after stands in the decoder's frame.
	                    * A field's map stands where its palette stood: two bytes a die, low one first */
	uint8_t *out;      /* codes */
	uint8_t *rest;     /* rounding errors, where they are carried */
};


/* Codes to be made from two keys: n of kind keys, or of n pixels of kind field. */
struct pg_blend {
	const uint8_t *before, *after; /* samples, or numbers of the map */
	uint8_t *out, *rest;           /* rounding errors, or none: to nearest */
	const uint8_t *map;            /* of a field: light of `dies` dies an entry, the low byte first */
	uint16_t top;                  /* of key frames */
	uint8_t w;                     /* of the key after, in 256ths */
	uint8_t n;                     /* at least 1 */
	uint8_t dies;
};
void pg_blend_keys(struct pg_blend *x);
void pg_blend_field(struct pg_blend *x);

/* The light of a sample under a top, in 256ths of a code. */
uint16_t pg_light(uint8_t sample, uint16_t top);

#endif
