/* A firmware that keeps tables: player, line, and one of the AVR port's two
 * memories. It has no machine beside it. */
#include <avr/interrupt.h>
#include "line.h"
#include "pg_avr.h"
#include "pg_serial.h"
#ifdef PG_TABLES_IN_NOR
#include "pg_nor.h"
#else
#include "pg_bootstore.h"
#endif

extern volatile uint32_t pg_avr_overflows;

struct pg_player panel;
struct pg_avr wires;
struct pg_line line;
uint8_t store; /* what the memory's start gave */

uint8_t pg_safe_to_write(void) { return pg_line_idle(&line); }

void pg_line_counts(uint32_t counts[PG_COUNTS]) { counts[PG_COUNT_RESETS] = 1; }

uint8_t pg_line_probe(const uint8_t *body)
{
	(void)body;
	return PG_REFUSED;
}

int main(void)
{
	static const struct pg_identity me = { 1, "tables", 27, 1, 0 };
	uint8_t byte;

	pg_avr_start(&wires);
#ifdef CLOCK_AT
	pg_avr_overflows = CLOCK_AT; /* of 4,096 us each: shortly before the clock comes round */
#endif
	pg_serial_start(BAUD_DIVISOR);
	sei();
#ifdef PG_TABLES_IN_NOR
	store = pg_nor_start();
#else
	store = pg_bootstore_start(&line.in);
#endif
	pg_line_start(&line, &panel, &me, BUILT_IN, 2000000ul / (BAUD_DIVISOR + 1), pg_avr_now());
	for (;;) {
		uint32_t now = pg_avr_now();
		GPIOR1 = 1;
		if (pg_serial_waits() && pg_line_ready(&line))
			pg_line_take_from(&line, pg_serial_ring, pg_serial_in, &pg_serial_out, now);
		GPIOR1 = 2;
		pg_line_quiet(&line, now);
		GPIOR1 = 3;
		if (pg_line_run(&line, now))
			pg_avr_run(&wires, &panel);
		GPIOR1 = 4;
		while (pg_serial_room() && pg_line_next(&line, &byte))
			pg_serial_put(byte);
		GPIOR1 = 0;
	}
}
