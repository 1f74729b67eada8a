/* A serial line for 8-bit AVR controllers, USART0: a receiver by interrupt whose
 * routine fits into a pause between pixels, and a sender without one.
 *
 * The routine takes PG_SERIAL_CYCLES cycles, entry and RETI included, so it may
 * come after every byte of a refresh. The ring must hold what can come while a
 * refresh goes out: at 500 kbaud and 180 pixels some 270 bytes, at 115,200 some 65;
 * a computer that waits for an answer after each line needs room for one line.
 * PG_SERIAL_RING 512 makes it so large, for streams at 500 kbaud; 256 bytes are usual.
 */
#ifndef PG_SERIAL_H
#define PG_SERIAL_H

#include <avr/io.h>
#include <stdint.h>

#ifndef PG_SERIAL_RING
#define PG_SERIAL_RING 256
#endif
#define PG_SERIAL_CYCLES (PG_SERIAL_RING > 256 ? 57 : 56)
#if PG_SERIAL_RING != 256 && PG_SERIAL_RING != 512
#error "the receiver's ring holds 256 or 512 bytes"
#endif

extern volatile uint8_t pg_serial_ring[PG_SERIAL_RING];
#if PG_SERIAL_RING == 512
extern volatile uint8_t *volatile pg_serial_in; /* where the next byte goes */
extern volatile uint8_t *pg_serial_out;         /* and where the oldest is */
#else
extern volatile uint8_t pg_serial_in; /* where the next byte goes */
extern uint8_t pg_serial_out;         /* and where the oldest is */
#endif
extern volatile uint8_t pg_serial_lost; /* bytes for which there was no room, at most 255; of 512: not 0 when there were any */

/* Begins, with the divisor of the chip's data sheet for double speed:
 * rate = clock / (8 * (divisor + 1)). 16: 117,647 (called 115,200), 7: 250,000,
 * 3: 500,000. */
static inline void pg_serial_start(uint16_t divisor)
{
	UBRR0 = divisor;
	UCSR0A = 1 << U2X0;
	UCSR0C = 1 << UCSZ01 | 1 << UCSZ00;
	UCSR0B = 1 << RXEN0 | 1 << TXEN0 | 1 << RXCIE0;
}

#if PG_SERIAL_RING == 512
/* Both places have two bytes, which the interrupt must not part. */
static inline uint8_t pg_serial_waits(void)
{
	uint8_t s = SREG, waits;
	__asm__ volatile("cli" ::: "memory");
	waits = pg_serial_in != pg_serial_out;
	SREG = s;
	return waits;
}

static inline uint8_t pg_serial_get(void)
{
	volatile uint8_t *at = pg_serial_out;
	uint8_t b = *at++, s = SREG;
	if (at == pg_serial_ring + PG_SERIAL_RING)
		at = pg_serial_ring;
	__asm__ volatile("cli" ::: "memory");
	pg_serial_out = at;
	SREG = s;
	return b;
}
#else
static inline uint8_t pg_serial_waits(void)
{
	return pg_serial_in != pg_serial_out;
}

static inline uint8_t pg_serial_get(void)
{
	return pg_serial_ring[pg_serial_out++];
}
#endif

/* The bytes that have come and lie together, the oldest first: how many, 0 to 255;
 * pg_serial_skip takes some of them out. */
static inline uint8_t pg_serial_some(const uint8_t **b)
{
	uint16_t n;
	*b = (const uint8_t *)pg_serial_ring;
#if PG_SERIAL_RING == 512
	{
		volatile uint8_t *in;
		uint8_t s = SREG;
		__asm__ volatile("cli" ::: "memory");
		in = pg_serial_in;
		SREG = s;
		*b = (const uint8_t *)pg_serial_out;
		n = (uint16_t)((in < pg_serial_out ? pg_serial_ring + PG_SERIAL_RING : in) - pg_serial_out);
	}
#else
	{
		uint8_t in = pg_serial_in;
		*b += pg_serial_out;
		n = in < pg_serial_out ? PG_SERIAL_RING - pg_serial_out : in - pg_serial_out;
	}
#endif
	__asm__ volatile("" ::: "memory"); /* what they are is read after how many there are */
	return n > 255 ? 255 : (uint8_t)n;
}

static inline void pg_serial_skip(uint8_t n)
{
#if PG_SERIAL_RING == 512
	volatile uint8_t *at = pg_serial_out + n;
	uint8_t s = SREG;
	if (at == pg_serial_ring + PG_SERIAL_RING)
		at = pg_serial_ring;
	__asm__ volatile("cli" ::: "memory");
	pg_serial_out = at;
	SREG = s;
#else
	pg_serial_out += n;
#endif
}

/* What is to be sent waits here: a whole short answer leaves the main loop at once, and
 * whoever keeps the processor for long can see to it that it goes on (the boot section
 * of port/avr). There is no interrupt for it: pg_serial_room moves it on. */
#define PG_SERIAL_QUEUE 16u /* a power of two */
extern uint8_t pg_serial_queue[PG_SERIAL_QUEUE];
extern uint8_t pg_serial_put_at, pg_serial_sent_at;

static inline void pg_serial_go_on(void)
{
	if (pg_serial_sent_at != pg_serial_put_at && (UCSR0A & 1 << UDRE0))
		UDR0 = pg_serial_queue[pg_serial_sent_at++ % PG_SERIAL_QUEUE];
}

/* Whether a byte can be put down to be sent; to be called in every pass. */
static inline uint8_t pg_serial_room(void)
{
	pg_serial_go_on();
	return (uint8_t)(pg_serial_put_at - pg_serial_sent_at) < PG_SERIAL_QUEUE;
}

static inline void pg_serial_put(uint8_t b)
{
	pg_serial_queue[pg_serial_put_at++ % PG_SERIAL_QUEUE] = b;
	pg_serial_go_on();
}

#endif
