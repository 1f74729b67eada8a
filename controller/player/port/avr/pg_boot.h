/* What application and boot section have agreed upon: three entries, and a way to
 * know that the section is there. For both sides; boot/boot.c is the section's.
 */
#ifndef PG_BOOT_H
#define PG_BOOT_H

#include <stdint.h>

#define PG_BOOT_PAGE 256u
#define PG_BOOT_AT 0x3e000ul        /* the section, of 8 KiB */
#define PG_BOOT_MARK 0x31424750ul   /* "PGB1", 8 bytes behind; then the range that it writes, 4 and 4 */

/* Where bytes of USART0 go that come while a page is written: a ring of 256. */
struct pg_boot_line {
	volatile uint8_t *ring;
	volatile uint8_t *in;
	const uint8_t *out;
	volatile uint8_t *lost;
};

#endif
