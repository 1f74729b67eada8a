/* What the two halves of an upload have of each other: upload.c has the questions,
 * upload_pages.c the ring of pages and the memory. */
#ifndef PG_UPLOAD_PARTS_H
#define PG_UPLOAD_PARTS_H

#include "upload.h"
#include "bytes.h"

enum { NOTHING, READ, TAKE, COPY, SUM, SUM_BEFORE_SWITCH, SWITCH }; /* doing */
enum { FILLING, WRITE, COMPARE };                                   /* writing */

/* The slot that does not play. */
static inline uint8_t pg_upload_slot(const struct pg_upload *u)
{
	return u->slots->number != 0 && u->slots->slot == 0;
}

/* The bytes that fit behind next in one piece. */
uint16_t pg_upload_room(const struct pg_upload *u);

/* So many were put there. */
void pg_upload_put(struct pg_upload *u, uint16_t n);

/* Takes what fits of a block; 1 when all of it did. */
uint8_t pg_upload_bytes(struct pg_upload *u);

/* One step of getting the oldest page into the slot. */
void pg_upload_page(struct pg_upload *u);

#endif
