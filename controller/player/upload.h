/* A new table into the slot that does not play. docs/link.md section 5.
 *
 * One question at a time: pg_upload_take begins it, pg_upload_run goes on with
 * it, never for longer than a page takes to be sent or read back (measured in the
 * header of paneglow.h), until it gives a status other than PG_LATER. It is called
 * in every pass, without a question too: a block is answered when its bytes have
 * been taken, and pages are written behind, while the next blocks come. What
 * goes wrong there is the answer to the next question. Nothing is erased or written
 * before pg_safe_to_write, which the firmware gives, has said yes.
 *
 * PG_UPLOAD_PAGES pages wait to be written. Two hide the writing itself; to hide an
 * erasure of 45 ms the line's window and the pages must hold what comes meanwhile:
 * 2 at 115,200 baud, 5 at 250,000, 10 at 500,000 (docs/storage.md). With two, struct
 * pg_upload takes 632 bytes.
 */
#ifndef PG_UPLOAD_H
#define PG_UPLOAD_H

#include "slots.h"
#if PG_STORE_STOPS
#include "ahead.h"
#endif

#ifndef PG_UPLOAD_PAGES
#define PG_UPLOAD_PAGES 2
#endif
#define PG_UPLOAD_ROOM (PG_UPLOAD_PAGES * PG_STORE_PAGE)
#if PG_UPLOAD_PAGES < 1 || PG_UPLOAD_PAGES > 64
#error "1 to 64 pages wait to be written"
#endif

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
	uint8_t writing;     /* where the oldest page has got to; 0: nothing is erased or written */
	uint8_t trouble;     /* a status that is owed for what was written behind */
	uint8_t bytes;       /* of the block */
	uint8_t reply[64];   /* its first .replies bytes follow the status */
	uint8_t replies;
	uint8_t minute[3];   /* of the switch */
	uint16_t oldest, at; /* of pages: where the oldest page stands, and where the next byte goes */
	uint8_t pages[PG_UPLOAD_ROOM]; /* a ring of whole pages */
#if PG_STORE_STOPS
	struct pg_ahead ahead; /* blocks that are taken while a page is written */
#endif
};

void pg_upload_start(struct pg_upload *u, struct pg_slots *s, uint32_t layout);
uint8_t pg_upload_take(struct pg_upload *u, uint8_t kind, const uint8_t *body, uint8_t n);
uint8_t pg_upload_run(struct pg_upload *u);

/* Whether a page waits to be written or is being written. */
uint8_t pg_upload_behind(const struct pg_upload *u);

/* Whether pg_upload_run is about to erase or write. */
uint8_t pg_upload_writes(const struct pg_upload *u);

#if PG_STORE_STOPS
/* Around pg_upload_run when it is about to write and nothing is left to be sent: blocks
 * may be taken meanwhile. How many were: their answers went out, the last one stands in
 * ahead. */
void pg_upload_open(struct pg_upload *u);
uint8_t pg_upload_close(struct pg_upload *u);
#endif

/* The firmware's: all loads stand still, and none starts before this was asked
 * again and said so. */
uint8_t pg_safe_to_write(void);

/* The player's: a table of a length that stands at an address of the store is
 * one that this firmware can play. Asked before the switch, when its checksum
 * was found right. */
uint8_t pg_table_fits(uint32_t at, uint32_t length);

#endif
