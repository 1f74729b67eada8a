#include "pg_bootstore.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stddef.h>
#include "ahead.h"
#include "pg_avr.h"
#include "pg_boot.h"
#include "pg_serial.h"
#include "store.h"

#if PG_STORE_UNIT != 256 || PG_STORE_PAGE != 256 || PG_STORE_CELL != 256
#error "the chip's own flash has pages of 256 bytes: build with PG_TABLES_IN_FLASH"
#endif
#if PG_SERIAL_RING != 256
#error "the boot section puts what comes into a ring of 256 bytes: PG_SERIAL_RING stays as it is"
#endif
#if PG_STORE_AT % 256 != 0
#error "PG_STORE_AT is the beginning of a page"
#endif
typedef char slots_end_before_the_boot_section[PG_STORE_AT + PG_STORE_END <= PG_BOOT_AT ? 1 : -1];

uint8_t pg_bootstore_refused;
static uint8_t works;

/* The section's entries. */
uint8_t pg_boot_erase(uint32_t at, const struct pg_boot_line *l);
uint8_t pg_boot_write(uint32_t at, const uint8_t *b, uint16_t n, const struct pg_boot_line *l);
__asm__(".global pg_boot_erase\n\t.set pg_boot_erase, 0x3e000\n\t"
	".global pg_boot_write\n\t.set pg_boot_write, 0x3e004");

static struct pg_boot_line serial = { pg_serial_ring, &pg_serial_in, &pg_serial_out, &pg_serial_lost,
	pg_serial_queue, &pg_serial_put_at, &pg_serial_sent_at, 0 };

/* The section was built once, with link_byte.h and ahead.h as they were. */
typedef char the_sections_link[offsetof(struct pg_link, n) == 1 && offsetof(struct pg_link, left) == 4 && offsetof(struct pg_link, open) == 5 &&
		offsetof(struct pg_link, crc) == 6 && offsetof(struct pg_link, ahead) == 8 && offsetof(struct pg_link, buf) == 10 && sizeof ((struct pg_link *)0)->buf == 255 &&
		PG_SERIAL_QUEUE == PG_BOOT_QUEUE ? 1 : -1];
typedef char the_sections_ahead[offsetof(struct pg_ahead, open) == 0 && offsetof(struct pg_ahead, step) == 3 && offsetof(struct pg_ahead, next) == 9 &&
		offsetof(struct pg_ahead, to) == 13 && offsetof(struct pg_ahead, left) == 23 && offsetof(struct pg_ahead, answer) == 27 &&
		PG_AHEAD_ANSWER <= PG_BOOT_QUEUE ? 1 : -1];

extern volatile uint32_t pg_avr_overflows;
extern const uint8_t __data_load_end[]; /* the linker's: where the firmware ends */

uint8_t pg_bootstore_start(struct pg_link *in)
{
	works = 0;
	serial.link = in;
	if (pgm_read_dword_far(PG_BOOT_AT + 8) != PG_BOOT_MARK)
		return PG_BOOTSTORE_MISSING;
	if (pgm_read_dword_far(PG_BOOT_AT + 12) > PG_STORE_AT || pgm_read_dword_far(PG_BOOT_AT + 16) < PG_STORE_AT + PG_STORE_END)
		return PG_BOOTSTORE_RANGE;
	if (pgm_get_far_address(__data_load_end) > PG_STORE_AT)
		return PG_BOOTSTORE_CODE;
	works = 1;
	return PG_BOOTSTORE_FINE;
}

/* The clock counts overflows of 4.096 ms by an interrupt, and a page takes up to 4.7:
 * a second overflow finds the first one still waiting. How many there were follows
 * from the counter, as the time is known to within less than one. */
static uint16_t began;
static uint8_t waits; /* an overflow that came before */

static void begin(void)
{
	began = TCNT5;
	waits = began < 0x8000u && (TIFR5 & 1 << TOV5);
}

static void make_good(void)
{
	uint32_t n = (uint16_t)(TCNT5 - began);
	uint8_t overflows;
	if (n < 3 * (F_CPU / 1000)) /* less than a page takes: once more around */
		n += 0x10000ul;
	overflows = (uint8_t)((began + n) >> 16) + waits;
	if (overflows > 1)
		pg_avr_overflows += overflows - 1; /* one has its interrupt */
}

void pg_store_read(uint32_t at, uint8_t *to, uint8_t n)
{
	struct pg_cursor c;
	pg_seek(&c, PG_STORE_AT + at);
	while (n-- > 0)
		*to++ = pg_next(&c);
}

uint8_t pg_store_same(uint32_t at, const uint8_t *b, uint16_t n)
{
	uint8_t any = 0, t, fours = (uint8_t)(n / 4);
	uint16_t z;
	at += PG_STORE_AT;
	for (; n % 4 != 0; n--)
		any |= pgm_read_byte_far(at + n - 1) ^ b[n - 1];
	if (fours == 0)
		return any == 0;
	/* 8 cycles a byte; a page lies within 64 KiB. */
	z = (uint16_t)at;
	RAMPZ = (uint8_t)(at >> 16);
	__asm__ volatile("1:\n\t"
			 ".rept 4\n\t"
			 "elpm %[t], Z+\n\t"
			 "ld __tmp_reg__, %a[b]+\n\t"
			 "eor %[t], __tmp_reg__\n\t"
			 "or %[any], %[t]\n\t"
			 ".endr\n\t"
			 "dec %[n]\n\t"
			 "brne 1b"
			 : [b] "+x"(b), "+z"(z), [any] "+r"(any), [t] "=&r"(t), [n] "+r"(fours)
			 :: "memory");
	return any == 0;
}

static uint8_t allowed(uint32_t at)
{
	if (works && at < PG_STORE_END)
		return 1;
	if (pg_bootstore_refused != 0xff)
		pg_bootstore_refused++;
	return 0;
}

static void done(uint8_t wrong, uint8_t interrupts)
{
	if (!wrong)
		make_good();
	else if (pg_bootstore_refused != 0xff)
		pg_bootstore_refused++;
	SREG = interrupts;
}

void pg_store_erase(uint32_t at)
{
	uint8_t s = SREG;
	if (!allowed(at))
		return;
	cli();
	begin();
	done(pg_boot_erase(PG_STORE_AT + at, &serial), s);
}

void pg_store_write(uint32_t at, const uint8_t *b, uint16_t n)
{
	uint8_t s = SREG;
	if (!allowed(at))
		return;
	cli();
	begin();
	done(pg_boot_write(PG_STORE_AT + at, b, n, &serial), s);
}

uint8_t pg_store_busy(void)
{
	return 0; /* the processor stood still */
}
