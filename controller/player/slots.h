/* Two places for a table, and which of them plays.
 *
 * Records stand in cells that are written one after the other; the valid one
 * with the highest number wins. A new record goes into a fresh cell, in another
 * unit when its own is full, so the cell in force is never erased: power may go
 * at any moment, and either the old record wins or the new one.
 *
 * A record: number 4, slot 1, minute of installation 3 (since the
 * beginning of 2024, UTC; 0: nobody told), length of the table 4, its CRC-32/ISCSI 4,
 * CRC-32/ISCSI of these sixteen bytes 4; all low byte first.
 */
#ifndef PG_SLOTS_H
#define PG_SLOTS_H

#include "store.h"

struct pg_slots {
	uint32_t number; /* of the record in force, 0: there is none */
	uint32_t length; /* of the table that it names */
	uint32_t crc;
	uint8_t slot;
	uint8_t minute[3]; /* of its installation */
	/* for the search and for the next record */
	uint16_t cell; /* in force, counted through all units */
	uint16_t next; /* looked at, or to be written */
	uint8_t step;
	uint16_t tries;
	uint8_t record[20];
};

enum { PG_SLOTS_MORE, PG_SLOTS_DONE, PG_SLOTS_FAILED };

/* Search: begin, then step until it is done; a step reads one cell. */
void pg_slots_begin(struct pg_slots *s);
uint8_t pg_slots_search(struct pg_slots *s);

/* A new record: switch, then step until it is done or no cell takes it. */
void pg_slots_switch(struct pg_slots *s, uint8_t slot, const uint8_t minute[3], uint32_t length, uint32_t crc);
uint8_t pg_slots_step(struct pg_slots *s);

/* CRC-32/ISCSI over one more byte, beginning with 0xffffffff; the result is its
 * complement. Not the CRC that ends a table's blocks: over a block and its own
 * CRC that one comes to the same for every block, and two tables that differ in
 * a whole block would look equal. */
uint32_t pg_crc32c(uint32_t crc, uint8_t byte);
uint32_t pg_crc32c_over(uint32_t crc, const uint8_t *b, uint8_t n);

#endif
