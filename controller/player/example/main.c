/* A machine and its panel in one firmware. The panel's part is marked. */
#include <avr/interrupt.h>
#include "machine.h"
#include "pg_avr.h"    /* panel */
#include "pg_serial.h"
#include "talk.h"

#ifndef PG_TABLE_AT
#define PG_TABLE_AT 0x10000ul /* where the linker puts the table: Makefile */
#endif
#ifndef BAUD_DIVISOR
#define BAUD_DIVISOR 16 /* 115,200 */
#endif

struct pg_player panel; /* panel */
struct pg_avr wires;    /* panel */

int main(void)
{
	machine_start();
	pg_serial_start(BAUD_DIVISOR);
	pg_avr_start(&wires);                      /* panel */
	pg_start(&panel, PG_TABLE_AT, 1, 0, 1);    /* panel: one refresh a frame, first state 0 */
	sei();
	for (;;) {
		uint8_t byte;
#ifdef MARKS
		GPIOR1 = 2;
#endif
		while (talk_listens() && pg_serial_waits())
			talk_take((char)pg_serial_get(), &panel, &wires, pg_avr_now());
		if (talk_run(&panel, pg_serial_room(), &byte))
			pg_serial_put(byte);
#ifdef MARKS
		GPIOR1 = wires.owes ? 3 : 1;
#endif
		pg_avr_run(&wires, &panel);        /* panel */
#ifdef MARKS
		GPIOR1 = 0;
#endif
	}
}
