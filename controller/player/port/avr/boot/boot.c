/* The boot section: writes pages of the chip's own flash for the application, and
 * nothing else. It is put into the chip once, with a programmer; after a reset the
 * application starts (the fuse BOOTRST stays unprogrammed), and this is called when
 * a page is to be written (pg_bootstore.h).
 *
 * It keeps no variables, calls nothing outside of itself and reads no flash below:
 * while that is written, it cannot be read. It writes pages between BOOT_FROM and
 * BOOT_END only, neither the application below nor itself above. Interrupts are off
 * for the time of a page; the serial line goes on meanwhile: what comes is put into
 * the ring that the caller names and taken apart, and blocks of a table are taken (ahead.h).
 */
#include <avr/interrupt.h>
#include <avr/io.h>

#include "../../../ahead.h"
#include "../pg_boot.h"

static void spm(uint8_t what, uint32_t at, uint16_t word)
{
	__asm__ volatile("movw r0, %[word]\n\t"
			 "out %[rampz], %C[at]\n\t"
			 "movw r30, %A[at]\n\t"
			 "out %[control], %[what]\n\t"
			 "spm\n\t"
			 "clr __zero_reg__"
			 :: [word] "r"(word), [at] "r"(at), [what] "r"(what), [rampz] "I"(_SFR_IO_ADDR(RAMPZ)), [control] "I"(_SFR_IO_ADDR(SPMCSR))
			 : "r0", "r30", "r31", "memory");
}

/* Fills the chip's page buffer, four words at a time. */
static const uint8_t *fill(uint16_t z, const uint8_t *b, uint8_t fours)
{
	__asm__ volatile("1:\n\t"
			 ".rept 4\n\t"
			 "ld r0, %a[b]+\n\t"
			 "ld r1, %a[b]+\n\t"
			 "out %[control], %[what]\n\t"
			 "spm\n\t"
			 "adiw r30, 2\n\t"
			 ".endr\n\t"
			 "dec %[n]\n\t"
			 "brne 1b\n\t"
			 "clr __zero_reg__"
			 : [b] "+x"(b), "+z"(z), [n] "+r"(fours)
			 : [what] "r"((uint8_t)(1 << SPMEN)), [control] "I"(_SFR_IO_ADDR(SPMCSR))
			 : "r0", "memory");
	return b;
}

/* A byte that came while nothing else can run. */
static void take(const struct pg_boot_line *l)
{
	uint8_t b, in;
	if (!(UCSR0A & 1 << RXC0))
		return;
	b = UDR0;
	in = *l->in;
	l->ring[in] = b;
	if ((uint8_t)(in + 1) != *l->out)
		*l->in = (uint8_t)(in + 1);
	else if (*l->lost != 0xff)
		++*l->lost;
}

/* An answer is credit: the computer sends another block. What may wait in the ring
 * then leaves room for what comes until the bytes are taken apart again. */
#define WAITING 160

/* All of the line, for as long as a page or a byte of the EEPROM is written. Nothing
 * else runs, so that where the ring and the queue have got to may stay in registers: 25 cycles
 * to take a byte, 150 to take it apart. No step takes more than 480. */
static void tend(const struct pg_boot_line *l)
{
	struct pg_link *link = l->link && l->link->open ? l->link : 0;
	struct pg_ahead *ahead = link ? link->ahead : 0;
	volatile uint8_t *ring = l->ring;
	uint8_t *queue = l->queue;
	uint8_t in = *l->in, out = *l->out, put = *l->put_at, sent = *l->sent_at, last = *l->out, i;

	while ((SPMCSR & 1 << SPMEN) || (EECR & 1 << EEPE)) {
		if (UCSR0A & 1 << RXC0) {
			uint8_t b = UDR0;
			ring[in] = b;
			if ((uint8_t)(in + 1) != out)
				in++;
			else if (*l->lost != 0xff)
				++*l->lost;
			continue;
		}
		if (sent != put && (UCSR0A & 1 << UDRE0)) {
			UDR0 = queue[sent++ % PG_BOOT_QUEUE];
			continue;
		}
		if (ahead && ahead->owed && sent == put && (uint8_t)(in - out) <= WAITING) {
			for (i = 0; i < PG_AHEAD_ANSWER; i++)
				queue[put++ % PG_BOOT_QUEUE] = ahead->answer[i];
			ahead->owed = 0;
			continue;
		}
		if (out == in || !link)
			continue;
		i = ring[out];
		if (pg_link_inside(link, i) || (i == 0 && ahead && pg_ahead_step(ahead, link) == 2))
			out++;
	}
	*l->in = in;
	*l->out = out;
	*l->put_at = put;
	*l->sent_at = sent;
	if (out != last)
		link->open = 2;
}

/* Begins to erase or write a page, and waits for it. */
static void work(uint8_t what, uint32_t at, const struct pg_boot_line *l)
{
	spm(what, at, 0);
	tend(l);
	spm(1 << RWWSRE | 1 << SPMEN, at, 0);
}

static uint8_t refused(uint32_t at)
{
	return at < BOOT_FROM || at >= BOOT_END || (at & (PG_BOOT_PAGE - 1)) != 0;
}

uint8_t boot_erase(uint32_t at, const struct pg_boot_line *l)
{
	uint8_t s = SREG;
	if (refused(at))
		return 1;
	cli();
	tend(l); /* the EEPROM shares the means of writing */
	work(1 << PGERS | 1 << SPMEN, at, l);
	SREG = s;
	return 0;
}

uint8_t boot_write(uint32_t at, const uint8_t *b, uint16_t n, const struct pg_boot_line *l)
{
	uint8_t s = SREG;
	uint16_t k;
	if (refused(at) || n > PG_BOOT_PAGE)
		return 1;
	cli();
	tend(l);
	for (k = 0; k + 32 <= n; k += 32) { /* 220 cycles with take: a byte at 500,000 baud takes 320 */
		take(l);
		b = fill(at + k, b, 4);
	}
	take(l);
	b -= k;
	for (; k < PG_BOOT_PAGE; k += 2) { /* a shorter page ends in ones */
		uint8_t low = k < n ? b[k] : 0xff, high = k + 1u < n ? b[k + 1] : 0xff;
		spm(1 << SPMEN, at + k, (uint16_t)(low | (uint16_t)high << 8));
		take(l);
	}
	work(1 << PGWRT | 1 << SPMEN, at, l);
	SREG = s;
	return 0;
}
