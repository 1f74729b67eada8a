/* The player on an ATmega2560-class controller: clock, serial line and pixel
 * output. A firmware gives pg_avr_run some time as often as it can:
 *
 *	static struct pg_player panel;
 *	static struct pg_avr wires;
 *
 *	pg_avr_start(&wires);
 *	pg_start(&panel, PG_TABLE_AT, 1, 0, seed);
 *	sei();
 *	for (;;) {
 *		machine();
 *		pg_avr_run(&wires, &panel);
 *	}
 *
 * Taken are timer 5 (the clock: free running, its overflow interrupt), timer 0
 * while a refresh goes out, and the pins of the data lines, all on one port
 * (pg_timing.h). Lines go out one after the other, or together (pg_together.h).
 *
 * Interrupts are served after every byte of a refresh, one at a time, as long as
 * their routine takes no more than PG_ROUTINE_MOST cycles, entry and RETI included;
 * at 1.25 us a bit and a gap of 5 us these are 58 cycles, at 2.5 us 38. A longer one stops the
 * refresh, which is sent again from its first pixel once the strips have latched;
 * until then they may show the beginning of the new refresh and the end of the one
 * before. After PG_AVR_TRIES the output rests for PG_AVR_REST and says so; no load
 * is granted on a refresh that has not gone out whole.
 */
#ifndef PG_AVR_H
#define PG_AVR_H

#include "paneglow.h"
#include "pg_together.h"

#define PG_AVR_TRIES 3
#define PG_AVR_REST 100000ul /* microseconds */

/* The port's bits of the data lines, line by line. Side by side they stand on the
 * pins of PG_TOGETHER (pg_together.h). */
#if PG_TOGETHER
#ifdef PG_LINE_MASKS
#error "PG_LINE_MASKS: with PG_TOGETHER the lines stand on its pins in ascending order, leave it out"
#endif
#elif !defined PG_LINE_MASKS
#if PG_LINES == 1
#define PG_LINE_MASKS { 1 << 7 }
#else
#define PG_LINE_MASKS { 1 << 0, 1 << 1, 1 << 2, 1 << 3, 1 << 4, 1 << 5, 1 << 6, 1 << 7 }
#endif
#endif

struct pg_avr {
	uint32_t ended;   /* when the last refresh ended or stopped */
	uint16_t sent;    /* refreshes that went out whole */
	uint16_t broken;  /* refreshes that stopped: an interrupt took too long */
	uint16_t held;    /* times that PG_AVR_TRIES in a row stopped */
	uint8_t tries, owes, whole;
};

void pg_avr_start(struct pg_avr *a);

/* Sends a frame, the lines in turn (pg_in_turn.c) or together (pg_together.c); 0, or 1
 * where it stopped. */
uint8_t pg_avr_refresh(const struct pg_player *p);

/* The port's bit of a data line; 0 for none. */
uint8_t pg_avr_mask(uint8_t line);

/* Microseconds since pg_avr_start; wraps after 71.6 minutes. */
uint32_t pg_avr_now(void);

/* One piece of the player's work, or a refresh when one is due: the only call
 * that takes longer than a millisecond. Gives what pg_run gives. */
uint8_t pg_avr_run(struct pg_avr *a, struct pg_player *p);

#endif
