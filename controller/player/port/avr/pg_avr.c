/* Clock, refreshes and what becomes of those that stopped. See pg_avr.h. */
#include "pg_avr.h"

#include <avr/interrupt.h>

/* A microsecond more than the parts ask for: the clock is read before the last
 * bit has ended. */
#define LATCH_US ((PG_LATCH_NS + 999ul) / 1000ul + 2ul)

#if PG_TOGETHER

uint8_t pg_avr_mask(uint8_t line)
{
	uint8_t pins = PG_TOGETHER;
	while (line-- > 0)
		pins &= pins - 1u;
	return pins & -pins;
}

#else

static const uint8_t masks[] PG_FLASH = PG_LINE_MASKS;
typedef char masks_for_all_lines[sizeof masks >= PG_LINES ? 1 : -1];

uint8_t pg_avr_mask(uint8_t line)
{
	uint8_t mask;
	pg_flash_copy(&mask, &masks[line], 1);
	return mask;
}

#endif

/* ---- clock: timer 5 counts cycles, and this its overflows of 4,096 us each */

volatile uint32_t pg_avr_overflows; /* the lower three bytes count */

ISR(TIMER5_OVF_vect, ISR_NAKED)
{
	__asm__ volatile("push r24\n\t"
			 "in r24, __SREG__\n\t"
			 "push r24\n\t"
			 "lds r24, pg_avr_overflows\n\t"
			 "subi r24, 0xff\n\t"
			 "sts pg_avr_overflows, r24\n\t"
			 "lds r24, pg_avr_overflows+1\n\t"
			 "sbci r24, 0xff\n\t"
			 "sts pg_avr_overflows+1, r24\n\t"
			 "lds r24, pg_avr_overflows+2\n\t"
			 "sbci r24, 0xff\n\t"
			 "sts pg_avr_overflows+2, r24\n\t"
			 "pop r24\n\t"
			 "out __SREG__, r24\n\t"
			 "pop r24\n\t"
			 "reti");
}

uint32_t pg_avr_now(void)
{
	uint8_t s = SREG;
	uint16_t t;
	uint32_t n;
	cli();
	t = TCNT5;
	n = pg_avr_overflows;
	if ((TIFR5 & (1 << TOV5)) && t < 0x8000u)
		n++; /* it has overflowed and waits for its interrupt */
	SREG = s;
	return n << 12 | t >> 4;
}

/* ---- */

void pg_avr_start(struct pg_avr *a)
{
	uint8_t i, all = 0;
	for (i = 0; i < PG_LINES; i++)
		all |= pg_avr_mask(i);
	PG_PORT &= (uint8_t)~all;
	PG_DDR |= all;
	a->ended = 0;
	a->sent = a->broken = a->held = 0;
	a->tries = a->owes = a->whole = 0;
	PG_TCCR = 0;
	TCCR0A = 0;
	TIMSK0 = 0;
	TCCR5A = 0;
	TCCR5B = 1 << CS50;
	TCNT5 = 0;
	TIMSK5 = 1 << TOIE5;
}

static void go(struct pg_avr *a, const struct pg_player *p)
{
	a->whole = !pg_avr_refresh(p);
	a->ended = pg_avr_now();
	a->owes = 1;
	if (a->whole) {
		a->sent++;
		a->tries = 0;
	} else {
		a->broken++;
		a->tries++;
	}
}

uint8_t pg_avr_run(struct pg_avr *a, struct pg_player *p)
{
	uint32_t now = pg_avr_now();
	uint8_t does;
	if (a->owes) {
		uint32_t since = now - a->ended;
		if (since < LATCH_US || (a->tries >= PG_AVR_TRIES && since < PG_AVR_REST))
			return PG_IDLE;
		if (!a->whole) {
			if (a->tries >= PG_AVR_TRIES) {
				a->held++;
				a->tries = 0;
			}
			go(a, p);
			return PG_SEND;
		}
		a->owes = 0;
		pg_sent(p);
		return PG_AGAIN;
	}
	does = pg_run(p, now);
	if (does == PG_SEND)
		go(a, p);
	return does;
}
