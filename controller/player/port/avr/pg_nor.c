#include "pg_nor.h"

#include "pg_avr.h"
#include "store.h"

#if PG_STORE_UNIT % 4096 != 0 || PG_STORE_UNIT != 4096
#error "this driver erases sectors: PG_STORE_UNIT is 4096"
#endif

enum { WRITE_ENABLE = 0x06, STATUS = 0x05, PROGRAM = 0x02, ERASE_SECTOR = 0x20, READ = 0x03, IDENTITY = 0x9f, WAKE = 0xab, ENABLE_RESET = 0x66, RESET = 0x99 };

uint32_t pg_nor_at = PG_NOR_CLOSED;
uint8_t pg_nor_given_up, pg_nor_early;

static uint8_t working;           /* begun, and not seen to be done */
static uint32_t since, limit;     /* when, and how long it may take */

static uint8_t swap(uint8_t b)
{
	SPDR = b;
	while (!(SPSR & 1 << SPIF))
		;
	return SPDR;
}

/* Ends an open read, whose next byte is still on its way. */
static void close(void)
{
	if (pg_nor_at == PG_NOR_CLOSED)
		return;
	while (!(SPSR & 1 << SPIF))
		;
	(void)SPDR;
	PG_NOR_PORT |= 1 << PG_NOR_CS;
	pg_nor_at = PG_NOR_CLOSED;
}

static void command(uint8_t c)
{
	close();
	PG_NOR_PORT &= (uint8_t)~(1 << PG_NOR_CS);
	swap(c);
}

static void release(void)
{
	PG_NOR_PORT |= 1 << PG_NOR_CS;
}

static void address(uint32_t at)
{
	swap((uint8_t)(at >> 16));
	swap((uint8_t)(at >> 8));
	swap((uint8_t)at);
}

static void pause(uint8_t us)
{
	uint32_t from = pg_avr_now();
	while (pg_avr_now() - from <= us)
		;
}

void pg_nor_id(uint8_t id[3])
{
	uint8_t i;
	command(IDENTITY);
	for (i = 0; i < 3; i++)
		id[i] = swap(0);
	release();
}

static uint8_t status(void)
{
	uint8_t s;
	command(STATUS);
	s = swap(0);
	release();
	return s;
}

static uint8_t answers(void)
{
	uint8_t id[3];
	pg_nor_id(id);
	return id[0] != 0 && id[0] != 0xff;
}

uint8_t pg_nor_start(void)
{
	release();
	PG_NOR_DDR |= 1 << PG_NOR_CS;
	/* SS is an output, or a low level there would end master mode. */
	DDRB |= 1 << 0 | 1 << 1 | 1 << 2;
	PORTB |= 1 << 3; /* a missing chip reads as ones */
	SPCR = 1 << SPE | 1 << MSTR;
	SPSR = 1 << SPI2X; /* half the clock, 8 MHz */
	pg_nor_at = PG_NOR_CLOSED;
	command(WAKE);
	release();
	pause(30);
	/* A sector that is being erased or a page that is being written from before the
	 * controller's reset is left to end. */
	working = 1;
	since = pg_avr_now();
	limit = PG_NOR_SECTOR_US;
	if (status() & 1)
		return 0;
	working = 0;
	if (!answers()) {
		command(ENABLE_RESET);
		release();
		command(RESET);
		release();
		pause(60);
		if (!answers())
			return 1;
	}
	return 0;
}

uint8_t pg_store_busy(void)
{
	if (!working)
		return 0;
	if (status() & 1) {
		if (pg_avr_now() - since < limit)
			return 1;
		if (pg_nor_given_up != 0xff)
			pg_nor_given_up++; /* what was written is read back, and found wrong */
	}
	working = 0;
	return 0;
}

static void begun(uint32_t most)
{
	release();
	working = 1;
	since = pg_avr_now();
	limit = most;
}

void pg_store_erase(uint32_t at)
{
	command(WRITE_ENABLE);
	release();
	command(ERASE_SECTOR);
	address(at);
	begun(PG_NOR_SECTOR_US);
}

/* Sends n bytes, at least one, 22 cycles each: the unit shifts for 16, and its flag
 * is looked at every fourth cycle so that the last look comes right then. */
static void send(const uint8_t *b, uint16_t n)
{
	uint8_t t;
	__asm__ volatile("1:\tld %[t], %a[b]+\n\t"
			 "out %[data], %[t]\n\t"
			 "sbiw %[n], 1\n\t"
			 "nop\n"
			 "2:\tin %[t], %[flags]\n\t"
			 "sbrs %[t], 7\n\t"
			 "rjmp 2b\n\t"
			 "cp %A[n], __zero_reg__\n\t"
			 "cpc %B[n], __zero_reg__\n\t"
			 "brne 1b"
			 : [b] "+x"(b), [n] "+w"(n), [t] "=&r"(t)
			 : [data] "I"(_SFR_IO_ADDR(SPDR)), [flags] "I"(_SFR_IO_ADDR(SPSR))
			 : "memory");
}

void pg_store_write(uint32_t at, const uint8_t *b, uint16_t n)
{
	command(WRITE_ENABLE);
	release();
	command(PROGRAM);
	address(at);
	send(b, n);
	(void)SPDR;
	begun(PG_NOR_PAGE_US);
}

void pg_nor_goto(uint32_t at)
{
	if (working && pg_nor_early != 0xff)
		pg_nor_early++;
	command(READ);
	address(at);
	SPDR = 0;
	pg_nor_at = at;
}

/* An open read goes on: each byte is compared while the next one comes. What differs
 * in any of n, at least one. */
static uint8_t differs(const uint8_t *b, uint16_t n)
{
	uint8_t any = 0, t;
	__asm__ volatile("1:\tin %[t], %[flags]\n\t"
			 "sbrs %[t], 7\n\t"
			 "rjmp 1b\n\t"
			 "in %[t], %[data]\n\t"
			 "out %[data], __zero_reg__\n\t"
			 "ld __tmp_reg__, %a[b]+\n\t"
			 "eor %[t], __tmp_reg__\n\t"
			 "or %[any], %[t]\n\t"
			 "sbiw %[n], 1\n\t"
			 "brne 1b"
			 : [b] "+x"(b), [n] "+w"(n), [any] "+r"(any), [t] "=&r"(t)
			 : [data] "I"(_SFR_IO_ADDR(SPDR)), [flags] "I"(_SFR_IO_ADDR(SPSR))
			 : "memory");
	return any;
}

uint8_t pg_store_same(uint32_t at, const uint8_t *b, uint16_t n)
{
	at += PG_NOR_AT;
	if (pg_nor_at != at)
		pg_nor_goto(at);
	pg_nor_at += n;
	return !differs(b, n);
}

void pg_store_read(uint32_t at, uint8_t *to, uint8_t n)
{
	at += PG_NOR_AT;
	if (pg_nor_at != at)
		pg_nor_goto(at);
	pg_nor_at += n;
	while (n-- > 0)
		*to++ = pg_nor_take();
}
