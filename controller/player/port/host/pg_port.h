/* The player's port to a host computer, for tests: the table and the firmware's
 * constants stand in one memory.
 *
 * A port gives what is here: how constants are placed and read (PG_FLASH,
 * pg_flash_copy), and a cursor that reads the table byte by byte from an address
 * on. Addresses are the player's own business: it adds them to the base that
 * pg_start was given. Reading past the table must be harmless; the player does
 * not do it with a table whose header it has verified.
 */
#ifndef PG_PORT_H
#define PG_PORT_H

#include <stdint.h>
#include <string.h>

#define PG_FLASH /* where constants are placed */
#define PG_PAGE  /* and those that want a page of 256 bytes each */

/* Copies n bytes of constants. */
static inline void pg_flash_copy(void *to, const void *from, uint8_t n)
{
	memcpy(to, from, n);
}

/* The memory that holds tables, set by the program. */
extern const uint8_t *pg_store;
extern uint32_t pg_store_size;

struct pg_cursor {
	uint32_t at;
};

static inline void pg_seek(struct pg_cursor *c, uint32_t address)
{
	c->at = address;
}

/* The next byte. On a host a read past the end is caught by the sanitizer of
 * addresses: tests give the store in a block of its own. */
static inline uint8_t pg_next(struct pg_cursor *c)
{
	return pg_store[c->at++];
}

#endif
