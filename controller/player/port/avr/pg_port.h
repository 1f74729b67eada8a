/* The player's port to 8-bit AVR controllers with more than 64 KiB of flash, by
 * avr-gcc: tables stand in the chip's own flash, at any address, and are read by
 * ELPM; the firmware's constants stand in the first 64 KiB, where the linker puts
 * PROGMEM. Built with PG_TABLES_IN_NOR, tables from PG_NOR_AT on stand in a serial
 * NOR flash (pg_nor.h), and one below it may still be in the chip.
 */
#ifndef PG_PORT_H
#define PG_PORT_H

#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdint.h>

#define PG_FLASH PROGMEM
/* Constants that assembly looks up by page. The linker puts this section first, right
 * behind the vectors, where the least is lost up to the next page. */
#define PG_PAGE __attribute__((aligned(256), section(".progmem.gcc.pages")))

/* Copies n bytes of constants. */
static inline void pg_flash_copy(void *to, const void *from, uint8_t n)
{
	uint8_t *b = (uint8_t *)to;
	const uint8_t *f = (const uint8_t *)from;
	if (__builtin_constant_p(n) && n == 4) { /* a word at once, without the loop */
		uint32_t word = pgm_read_dword(from);
		__builtin_memcpy(to, &word, 4);
		return;
	}
	while (n-- > 0)
		*b++ = pgm_read_byte(f++);
}

/* A place in the flash, of which every byte can be reached. */
struct pg_cursor {
	uint16_t low;
	uint8_t high;
};

static inline void pg_seek(struct pg_cursor *c, uint32_t address)
{
	c->low = (uint16_t)address;
	c->high = (uint8_t)(address >> 16);
}

#ifdef PG_TABLES_IN_NOR
#include "pg_nor.h"
/* The next byte out of the serial flash: as long as nobody reads elsewhere it is on
 * its way already, 16 cycles after the one before. */
static inline uint8_t pg_nor_next(struct pg_cursor *c)
{
	uint32_t at = (uint32_t)c->high << 16 | c->low;
	if (pg_nor_at != at)
		pg_nor_goto(at);
	pg_nor_at = ++at;
	c->low = (uint16_t)at;
	c->high = (uint8_t)(at >> 16);
	return pg_nor_take();
}
#endif

/* The next byte: 5 cycles where the compiler keeps the cursor in registers, 17
 * where it is in memory. Counting on goes into RAMPZ, so no edge of 64 KiB shows.
 * An interrupt routine that the compiler makes keeps RAMPZ. */
static inline uint8_t pg_next(struct pg_cursor *c)
{
	uint8_t b, high = c->high;
#ifdef PG_TABLES_IN_NOR
	if (high & 0x80)
		return pg_nor_next(c);
#endif
	uint16_t z = c->low;
	__asm__ volatile("out %[rampz], %[high]\n\t"
			 "elpm %[b], Z+\n\t"
			 "in %[high], %[rampz]"
			 : [b] "=&r"(b), [high] "+r"(high), "+z"(z)
			 : [rampz] "I"(_SFR_IO_ADDR(RAMPZ)));
	c->low = z;
	c->high = high;
	return b;
}

#endif
