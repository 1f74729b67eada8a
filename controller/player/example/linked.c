/* The same machine, whose computer may load, stream and commission shows over the
 * line that the machine talks on: frames between its lines of text. The panel's
 * part is marked; the memory for tables is one of port/avr (docs/storage.md). */
#include <avr/interrupt.h>
#include "line.h"      /* panel */
#include "machine.h"
#include "pg_avr.h"    /* panel */
#include "pg_chip.h"   /* panel */
#include "pg_probe.h"  /* panel */
#include "pg_serial.h"
#include "talk.h"
#ifdef PG_TABLES_IN_NOR
#include "pg_nor.h"       /* panel */
#else
#include "pg_bootstore.h" /* panel */
#endif

#ifndef PG_TABLE_AT
#define PG_TABLE_AT PG_NO_TABLE /* where the linker puts a table that is built in: Makefile */
#endif
#ifndef BAUD_DIVISOR
#define BAUD_DIVISOR 16 /* 115,200 */
#endif
#define BAUD (F_CPU / 8 / (BAUD_DIVISOR + 1))

struct pg_player panel;                                         /* panel */
struct pg_avr wires;                                            /* panel */
struct pg_line line;                                            /* panel */
static struct pg_identity me = { 1, { 'c', 'a', 'b', 'i', 'n', 'e', 't', '1' }, 0, 0, 0 }; /* panel */

/* panel: nothing is written while something runs, known to the panel or not */
uint8_t pg_safe_to_write(void)
{
	uint8_t i;
	for (i = 0; i < LOADS; i++)
		if (machine_is_on(i))
			return 0;
	return pg_line_idle(&line);
}

/* panel */
void pg_line_counts(uint32_t counts[PG_COUNTS])
{
	counts[PG_COUNT_AGAIN] = wires.broken;
	counts[PG_COUNT_HELD] = wires.held;
}

uint8_t pg_line_probe(const uint8_t *body) { return pg_probe_message(body); } /* panel */

static void hear(uint8_t got, uint32_t now)
{
	uint8_t i;
	if (got == PG_LINK_TEXT)
		for (i = 0; i < line.in.texts; i++)
			talk_take((char)line.in.text[i], &panel, &wires, now);
	else if (got == PG_LINE_PASS)
		for (i = 0; i < line.in.bodies; i++)
			talk_take((char)line.in.body[i], &panel, &wires, now);
}

int main(void)
{
	me.reset = pg_chip_reset();                /* panel */
	me.brown_out = pg_chip_brown_out();        /* panel */
	machine_start();
	pg_serial_start(BAUD_DIVISOR);
	pg_avr_start(&wires);                      /* panel */
	sei();
#ifdef PG_TABLES_IN_NOR
	me.store = pg_nor_start();                 /* panel: not 0 and what is built in plays */
#else
	me.store = pg_bootstore_start(&line.in);   /* panel: not 0 and what is built in plays */
#endif
	pg_line_start(&line, &panel, &me, PG_TABLE_AT, BAUD, pg_avr_now()); /* panel */
	for (;;) {
		uint8_t byte, some = 32; /* not until nothing comes: on a fast line something always does */
		uint32_t now = pg_avr_now();
		while (some-- > 0 && talk_listens() && pg_line_ready(&line) && pg_serial_waits())
			hear(pg_line_take_from(&line, pg_serial_ring, pg_serial_in, &pg_serial_out, now), now);
		hear(pg_line_quiet(&line, now), now);
		while (pg_serial_room() && (pg_line_next(&line, &byte) || talk_run(&panel, !pg_line_sending(&line), &byte)))
			pg_serial_put(byte);
		if (pg_line_run(&line, now))       /* panel */
			pg_avr_run(&wires, &panel); /* panel */
	}
}
