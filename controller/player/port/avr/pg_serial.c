#include "pg_serial.h"

#include <avr/interrupt.h>

volatile uint8_t pg_serial_lost;
uint8_t pg_serial_queue[PG_SERIAL_QUEUE];
uint8_t pg_serial_put_at, pg_serial_sent_at;

#if PG_SERIAL_RING == 512

volatile uint8_t pg_serial_ring[PG_SERIAL_RING];
volatile uint8_t *volatile pg_serial_in = pg_serial_ring;
volatile uint8_t *pg_serial_out = pg_serial_ring;

/* As below, with places of two bytes: 6 cycles more at most, where the ring's end
 * and its oldest byte come together. What is lost is not counted: no time. */
ISR(USART0_RX_vect, ISR_NAKED)
{
	__asm__ volatile("push r24\n\t"
			 "in r24, __SREG__\n\t"
			 "push r24\n\t"
			 "push r30\n\t"
			 "push r31\n\t"
			 "lds r30, pg_serial_in\n\t"
			 "lds r31, pg_serial_in+1\n\t"
			 "lds r24, %[data]\n\t"
			 "st Z+, r24\n\t"
			 "ldi r24, hi8(pg_serial_ring+512)\n\t"
			 "cpi r30, lo8(pg_serial_ring+512)\n\t"
			 "cpc r31, r24\n\t"
			 "brne 1f\n\t"
			 "ldi r30, lo8(pg_serial_ring)\n\t"
			 "ldi r31, hi8(pg_serial_ring)\n"
			 "1:\tlds r24, pg_serial_out\n\t"
			 "cp r24, r30\n\t"
			 "brne 2f\n\t"
			 "lds r24, pg_serial_out+1\n\t"
			 "cp r24, r31\n\t"
			 "breq 4f\n"
			 "2:\tsts pg_serial_in, r30\n\t"
			 "sts pg_serial_in+1, r31\n"
			 "3:\tpop r31\n\t"
			 "pop r30\n\t"
			 "pop r24\n\t"
			 "out __SREG__, r24\n\t"
			 "pop r24\n\t"
			 "reti\n"
			 "4:\tsts pg_serial_lost, r31\n\t"
			 "rjmp 3b" ::[data] "i"(_SFR_MEM_ADDR(UDR0)));
}

#else

volatile uint8_t pg_serial_ring[PG_SERIAL_RING];
volatile uint8_t pg_serial_in;
uint8_t pg_serial_out;

/* By hand: what the compiler makes takes half as long again, and then no longer
 * fits into the pause. Entry 5, jump 3, this 43, RETI 5. */
ISR(USART0_RX_vect, ISR_NAKED)
{
	__asm__ volatile("push r24\n\t"
			 "in r24, __SREG__\n\t"
			 "push r24\n\t"
			 "push r30\n\t"
			 "push r31\n\t"
			 "lds r30, pg_serial_in\n\t"
			 "clr r31\n\t"
			 "subi r30, lo8(-(pg_serial_ring))\n\t"
			 "sbci r31, hi8(-(pg_serial_ring))\n\t"
			 "lds r24, %[data]\n\t"
			 "st Z, r24\n\t"
			 "lds r24, pg_serial_in\n\t"
			 "inc r24\n\t"
			 "lds r30, pg_serial_out\n\t"
			 "cp r24, r30\n\t"
			 "breq 1f\n\t"
			 "sts pg_serial_in, r24\n\t"
			 "rjmp 2f\n"
			 "1:\tlds r24, pg_serial_lost\n\t"
			 "inc r24\n\t"
			 "sts pg_serial_lost, r24\n"
			 "2:\tpop r31\n\t"
			 "pop r30\n\t"
			 "pop r24\n\t"
			 "out __SREG__, r24\n\t"
			 "pop r24\n\t"
			 "reti" ::[data] "i"(_SFR_MEM_ADDR(UDR0)));
}

#endif
