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

#define PG_SERIAL_CYCLES 56

#ifndef PG_SERIAL_RING
#define PG_SERIAL_RING 256
#endif
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
extern volatile uint8_t pg_serial_lost; /* bytes for which there was no room, at most 255 */

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

/* Whether a byte can be sent now. */
static inline uint8_t pg_serial_room(void)
{
	return UCSR0A & 1 << UDRE0;
}

static inline void pg_serial_put(uint8_t b)
{
	UDR0 = b;
}

#endif
