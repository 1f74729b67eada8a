/* Serial NOR flash on the SPI pins of an AVR controller: tables of megabytes. It
 * gives what store.h asks for, and the player's cursor when pg_port.h is built with
 * PG_TABLES_IN_NOR.
 *
 * Parts of the family with 256-byte pages, 4 KiB sectors and three bytes of
 * address, up to 8 MiB (W25Q64 and its like, by their data sheets): commands 06
 * write enable, 05 status (bit 0 busy), 02 page program, 20 sector erase, 03 read,
 * 9F identity, AB wake, 66 and 99 reset. Supply 2.7 to 3.6 V: a controller of 5 V
 * wants level shifters in SCK, MOSI and chip select.
 *
 *	pg_nor_start();      after power, before pg_line_start
 *
 * Nothing waits for the chip: writing and erasing begin, and pg_store_busy asks the
 * status. The longest call is a page of 256 bytes, 0.35 ms. Nothing may read while
 * the chip is busy; pg_line_run keeps the player from it, and pg_nor_early counts
 * what came nevertheless. Out of an interrupt routine nothing here may be called.
 */
#ifndef PG_NOR_H
#define PG_NOR_H

#include <avr/io.h>
#include <stdint.h>

/* The chip select; the SPI unit's SS pin unless another is chosen. */
#ifndef PG_NOR_CS
#define PG_NOR_CS 0 /* bit of the port */
#define PG_NOR_PORT PORTB
#define PG_NOR_DDR DDRB
#endif

/* One and a half times the most that the data sheets give (page 3 ms, sector
 * 400 ms), microseconds: after that the chip is given up. */
#define PG_NOR_PAGE_US 4500ul
#define PG_NOR_SECTOR_US 600000ul

/* Addresses of the player's cursor from here on are the chip's; those below are
 * the controller's own flash. */
#define PG_NOR_AT 0x800000ul

/* The address whose byte is on its way, of an open read; PG_NOR_CLOSED: none. */
#define PG_NOR_CLOSED 0xfffffffful
extern uint32_t pg_nor_at;

extern uint8_t pg_nor_given_up; /* times that the chip stayed busy beyond its limit */
extern uint8_t pg_nor_early;    /* reads while it was busy: a defect of the firmware */

/* Wakes the chip and sees what it is: 0, or 1 when none answers. What it did when
 * power or the controller went is not known; pg_store_busy tells when it is done. */
uint8_t pg_nor_start(void);

/* Manufacturer, type, size as a power of two. */
void pg_nor_id(uint8_t id[3]);

/* Begins to read at an address from PG_NOR_AT on. */
void pg_nor_goto(uint32_t address);

/* The byte that is on its way; the next one is begun. */
static inline uint8_t pg_nor_take(void)
{
	uint8_t b;
	while (!(SPSR & 1 << SPIF))
		;
	b = SPDR;
	SPDR = 0;
	return b;
}

#endif
