/* The example's firmware, and a record of all that its player was told and did, in
 * GPIOR0: records of six bytes, what, which, and a number of 32 bits.
 */
#include <avr/interrupt.h>
#include <util/delay.h>
#include "machine.h"
#include "pg_avr.h"
#include "pg_serial.h"
#include "talk.h"

#ifndef PG_TABLE_AT
#define PG_TABLE_AT 0x10000ul
#endif

#ifndef BAUD_DIVISOR
#define BAUD_DIVISOR 16 /* 115,200 */
#endif

enum { STATE = 1, ASK, RUNNING, STOPPED, VALUE, HOST, SERVICE, VERIFIED, LOST, DAMAGED, BEGUN };

#define WAITS 2 /* the player's phase between two refreshes */

/* SLOW: an interrupt routine that takes longer than a pause between pixels may,
 * every SLOW cycles of timer 1. */
#ifdef SLOW
ISR(TIMER1_COMPA_vect) { _delay_us(5); }
#endif

struct pg_player panel;
struct pg_avr wires;

static void note(uint8_t what, uint8_t which, uint32_t n)
{
	GPIOR0 = what;
	GPIOR0 = which;
	GPIOR0 = (uint8_t)n;
	GPIOR0 = (uint8_t)(n >> 8);
	GPIOR0 = (uint8_t)(n >> 16);
	GPIOR0 = (uint8_t)(n >> 24);
}

static void told(const struct pg_player *p)
{
	static uint8_t value, service, wish;
	static uint32_t wished, host;
	static struct pg_facts facts;
	uint8_t i;
	if (p->wished != wished || p->wish != wish)
		if (p->wish != PG_NONE)
			note(STATE, p->wish, p->wished);
	wish = p->wish;
	wished = p->wished;
	for (i = 0; i < LOADS; i++) {
		uint16_t bit = (uint16_t)1 << i;
		if (p->facts.pending & ~facts.pending & bit)
			note(ASK, i, 0);
		else if (p->facts.running & ~facts.running & bit)
			note(RUNNING, i, 0);
		else if ((facts.running & ~p->facts.running & bit) || (facts.starting & ~p->facts.starting & bit))
			note(STOPPED, i, 0);
		else if ((p->facts.known & ~facts.known & bit))
			note(STOPPED, i, 0);
	}
	facts = p->facts;
	if (p->value_told != value)
		note(VALUE, p->value_told, 0);
	value = p->value_told;
	if (p->service_told != service)
		note(SERVICE, p->service_told, 0);
	service = p->service_told;
	if (p->host != host && p->started)
		note(HOST, 0, p->host);
	host = p->host;
}

/* between: the call began between two refreshes */
static void done(const struct pg_player *p, uint8_t between, uint8_t began)
{
	static uint8_t verified[8], damaged[8];
	uint8_t i;
	for (i = 0; i < p->clips; i++) {
		uint8_t bit = 1 << (i & 7), is = p->verified[i >> 3] & bit, was = verified[i >> 3] & bit;
		if (is && !was)
			note(VERIFIED, i, 0);
		if (was && !is)
			note(LOST, i, between);
		if ((p->damaged[i >> 3] & bit) && !(damaged[i >> 3] & bit))
			note(DAMAGED, i, 0);
	}
	for (i = 0; i < 8; i++) {
		verified[i] = p->verified[i];
		damaged[i] = p->damaged[i];
	}
	if (began)
		note(BEGUN, p->late, p->at);
}

int main(void)
{
	machine_start();
	pg_serial_start(BAUD_DIVISOR);
	pg_avr_start(&wires);
	#ifdef PG_TABLES_IN_NOR
	pg_nor_start();
#endif
	pg_start(&panel, PG_TABLE_AT, 1, 0, 1);
#ifdef SLOW
	OCR1A = SLOW / 64 - 1;
	TCCR1B = 1 << WGM12 | 1 << CS11 | 1 << CS10;
	TIMSK1 = 1 << OCIE1A;
#endif
	sei();
	for (;;) {
		uint8_t waited, byte;
		while (talk_listens() && pg_serial_waits())
			talk_take((char)pg_serial_get(), &panel, &wires, pg_avr_now());
		if (talk_run(&panel, pg_serial_room(), &byte))
			pg_serial_put(byte);
		told(&panel);
		waited = panel.phase == WAITS && !wires.owes;
		pg_avr_run(&wires, &panel);
		done(&panel, waited, waited && panel.phase != WAITS);
	}
}
