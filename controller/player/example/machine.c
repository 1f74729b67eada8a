#include "machine.h"

#include <avr/interrupt.h>
#include <avr/io.h>

static volatile uint16_t edges, pulses;

/* As the compiler makes them these two take 48 cycles, entry and RETI included. */
ISR(INT0_vect) { edges++; }
ISR(INT1_vect) { pulses++; }

void machine_start(void)
{
	DDRC |= 1 << RING | 1 << FAN | 1 << LOCK;
	EICRA = 1 << ISC01 | 1 << ISC00 | 1 << ISC11 | 1 << ISC10; /* rising edges */
	EIMSK = 1 << INT0 | 1 << INT1;
}

void machine_switch(uint8_t relay, uint8_t on)
{
	if (on)
		PORTC |= (uint8_t)(1 << relay);
	else
		PORTC &= (uint8_t)~(1 << relay);
}

uint8_t machine_is_on(uint8_t relay) { return PORTC >> relay & 1; }

static uint16_t whole(volatile uint16_t *n)
{
	uint8_t s = SREG;
	uint16_t v;
	cli();
	v = *n;
	SREG = s;
	return v;
}

uint16_t machine_edges(void) { return whole(&edges); }
uint16_t machine_pulses(void) { return whole(&pulses); }
