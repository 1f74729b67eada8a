/* Where tables are kept: what a port has to give for a memory that is erased in
 * units and written in pages, as serial NOR flash and the chip's own flash are.
 *
 * Addresses count from the memory's first byte. Writing turns ones to zeros;
 * erasing turns a unit to ones. Both only begin: pg_store_busy tells when they
 * are done. None of these may take longer than a millisecond, but where the
 * chip's own flash stops the processor.
 */
#ifndef PG_STORE_H
#define PG_STORE_H

#include <stdint.h>

/* Two memories that the AVR port brings, docs/storage.md: serial NOR flash, whose
 * units are those below, and the chip's own flash by a boot section, where a page is
 * the unit and is written once between erasures. */
#ifdef PG_TABLES_IN_NOR
#define PG_STORE_ALONE 1
#ifndef PG_STORE_AT
#define PG_STORE_AT 0x800000ul
#endif
#elif defined PG_TABLES_IN_FLASH
#ifndef PG_STORE_AT
#define PG_STORE_AT 0x10000ul
#endif
#define PG_STORE_UNIT 256u
#define PG_STORE_CELL 256u
#ifndef PG_STORE_CELL_UNITS
#define PG_STORE_CELL_UNITS 16u
#endif
#ifndef PG_LOG_UNITS
#define PG_LOG_UNITS 8u
#endif
#ifndef PG_LOG_EVERY
#define PG_LOG_EVERY 180000000ul /* 10,000 erasures of a page last for seven years */
#endif
#ifndef PG_SLOT_SIZE
#define PG_SLOT_SIZE 91136ul /* with records and black box: up to the boot section of an ATmega2560 */
#endif
#define PG_STORE_STOPS 1
#endif

#ifndef PG_STORE_ALONE
#define PG_STORE_ALONE 0 /* 1: nothing can be read while it is busy, so that the player is held */
#endif
#ifndef PG_STORE_STOPS
#define PG_STORE_STOPS 0 /* 1: the processor stands still meanwhile, so that nothing is written while a load runs */
#endif

#ifndef PG_STORE_UNIT
#define PG_STORE_UNIT 4096u /* bytes erased at once */
#endif
#ifndef PG_STORE_PAGE
#define PG_STORE_PAGE 256u /* bytes written at once, at most; never across a multiple of it */
#endif
#ifndef PG_STORE_CELL
#define PG_STORE_CELL 32u /* bytes of a record; PG_STORE_PAGE where a page is written only once between erasures */
#endif
#ifndef PG_STORE_CELL_UNITS
#define PG_STORE_CELL_UNITS 2u /* units that hold records, at least 2; the slots come after them */
#endif
#ifndef PG_SLOT_SIZE
#define PG_SLOT_SIZE 98304ul /* bytes of a slot, a multiple of PG_STORE_UNIT */
#endif

#if PG_SLOT_SIZE % PG_STORE_UNIT != 0 || PG_STORE_UNIT % PG_STORE_PAGE != 0 || PG_STORE_PAGE % PG_STORE_CELL != 0
#error "slots hold whole units, units whole pages, pages whole cells"
#endif
#if PG_STORE_CELL_UNITS < 2 || PG_STORE_CELL < 20 || PG_STORE_PAGE > 256
#error "at least two units of records, cells of 20 bytes or more, pages of 256 or less"
#endif

#ifndef PG_LOG_UNITS
#define PG_LOG_UNITS 2u /* units of the black box (log.h), at least 2; they come after the slots */
#endif
#if PG_LOG_UNITS < 2
#error "the black box needs two units: one is written while the other keeps what was before"
#endif

#ifndef PG_STORE_AT
#define PG_STORE_AT 0ul /* where the player's cursor has the memory's first byte */
#endif

#define PG_SLOT_AT(slot) ((uint32_t)PG_STORE_CELL_UNITS * PG_STORE_UNIT + (uint32_t)(slot) * PG_SLOT_SIZE)
#define PG_LOG_AT PG_SLOT_AT(2)
#define PG_STORE_END (PG_LOG_AT + (uint32_t)PG_LOG_UNITS * PG_STORE_UNIT)

void pg_store_read(uint32_t at, uint8_t *to, uint8_t n);
void pg_store_erase(uint32_t at);                           /* the unit that begins there */
void pg_store_write(uint32_t at, const uint8_t *b, uint16_t n); /* within one page */
uint8_t pg_store_same(uint32_t at, const uint8_t *b, uint16_t n); /* 1: these bytes stand there; at most a page */
uint8_t pg_store_busy(void);

#endif
