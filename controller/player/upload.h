/* A new table into the slot that does not play. docs/link.md section 5.
 *
 * One question at a time: pg_upload_take begins it, pg_upload_run goes on with
 * it, never for longer than a read or a check of 64 bytes (measured in the
 * header of paneglow.h), until it gives a status other than PG_LATER. Nothing is
 * erased before pg_safe_to_write, which the firmware gives, has said yes.
 * The page buffer and a reply make struct pg_upload 370 bytes.
 */
#ifndef PG_UPLOAD_H
#define PG_UPLOAD_H

#include "slots.h"

/* Status of an answer, docs/link.md section 3. */
enum { PG_OK, PG_UNKNOWN, PG_MALFORMED, PG_OUT_OF_RANGE, PG_BUSY, PG_REFUSED, PG_DAMAGED, PG_STORAGE, PG_LATER = 0xff };

struct pg_upload {
	struct pg_slots *slots;
	uint32_t layout;     /* that this firmware was built for */
	uint32_t length, crc; /* of the table to come; length 0: none begun */
	uint32_t next;       /* offset of the first byte not taken yet */
	uint32_t flushed;    /* up to here the slot holds it; a multiple of the page, or the end */
	/* the question in hand */
	const uint8_t *from; /* bytes of a block still to be taken; the link's buffer keeps them */
	uint32_t source;     /* address that a copy or a sum reads next */
	uint32_t left;       /* bytes still to be copied or summed */
	uint32_t sum;
	uint8_t doing;       /* 0: nothing */
	uint8_t writing;     /* where the page has got to */
	uint8_t bytes;       /* of the block */
	uint8_t compared;    /* of the page, in steps of 32 */
	uint8_t reply[64];   /* its first .replies bytes follow the status */
	uint8_t replies;
	uint8_t minute[3];   /* of the switch */
	uint8_t page[PG_STORE_PAGE];
};

void pg_upload_start(struct pg_upload *u, struct pg_slots *s, uint32_t layout);
uint8_t pg_upload_take(struct pg_upload *u, uint8_t kind, const uint8_t *body, uint8_t n);
uint8_t pg_upload_run(struct pg_upload *u);

/* The firmware's: all loads stand still, and none starts before this was asked
 * again and said so. */
uint8_t pg_safe_to_write(void);

/* The player's: a table of a length that stands at an address of the store is
 * one that this firmware can play. Asked before the switch, when its checksum
 * was found right. */
uint8_t pg_table_fits(uint32_t at, uint32_t length);

#endif
