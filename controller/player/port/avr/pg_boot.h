/* What application and boot section have agreed upon: two entries, and a way to
 * know that the section is there. For both sides; boot/boot.c is the section's.
 */
#ifndef PG_BOOT_H
#define PG_BOOT_H

#include <stdint.h>

struct pg_link;

#define PG_BOOT_PAGE 256u
#define PG_BOOT_AT 0x3e000ul        /* the section, of 8 KiB */
#define PG_BOOT_MARK 0x33424750ul   /* "PGB3", 8 bytes behind; then the range that it writes, 4 and 4 */

/* The line, which goes on while a page is erased or written: bytes of USART0 are put
 * into a ring of 256; what waits to be sent goes out; and as there is time, what came is
 * taken apart (link_byte.h), and a whole block of a table is taken and answered (ahead.h). */
struct pg_boot_line {
	volatile uint8_t *ring;
	volatile uint8_t *in;
	uint8_t *out;
	volatile uint8_t *lost;
	uint8_t *queue; /* of PG_BOOT_QUEUE bytes */
	uint8_t *put_at;
	uint8_t *sent_at;
	struct pg_link *link; /* 0: the bytes stay in the ring */
};

#define PG_BOOT_QUEUE 16u /* bytes that wait to be sent, a power of two */

#endif
