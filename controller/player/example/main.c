/* A machine and its panel in one firmware. The panel's part is marked. */
#include <avr/interrupt.h>
#include "machine.h"
#include "pg_avr.h"    /* panel */
#include "talk.h"

#ifndef PG_TABLE_AT
#define PG_TABLE_AT 0x10000ul /* where the linker puts the table: Makefile */
#endif

struct pg_player panel; /* panel */
struct pg_avr wires;    /* panel */

int main(void)
{
	machine_start();
	talk_start();
	pg_avr_start(&wires);                      /* panel */
	pg_start(&panel, PG_TABLE_AT, 1, 0, 1);    /* panel: one refresh a frame, first state 0 */
	sei();
	for (;;) {
#ifdef MARKS
		GPIOR1 = 2;
#endif
		talk_run(&panel, &wires, pg_avr_now());
#ifdef MARKS
		GPIOR1 = wires.owes ? 3 : 1;
#endif
		pg_avr_run(&wires, &panel);        /* panel */
#ifdef MARKS
		GPIOR1 = 0;
#endif
	}
}
