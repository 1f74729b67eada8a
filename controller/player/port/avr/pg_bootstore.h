/* Tables in the controller's own flash, written by a boot section (boot/boot.c) that
 * was put into the chip once. It gives what store.h asks for, with PG_TABLES_IN_FLASH:
 * pages of 256 bytes are the units; records and slots stand from PG_STORE_AT, 64 KiB,
 * up to the section.
 *
 *	pg_bootstore_start(&line.in);   after power, before pg_line_start
 *
 * The processor stands still for a page: 4.5 ms to erase it, 4.5 ms to write it, by
 * the data sheet. Interrupts are dead as long: no sensor edge is counted then,
 * which is harmless as pg_safe_to_write has said that all loads stand still. Bytes of
 * the serial line are not lost, blocks of a table are taken and answered meanwhile, and
 * pg_avr_now goes on as if nothing had been.
 */
#ifndef PG_BOOTSTORE_H
#define PG_BOOTSTORE_H

#include <stdint.h>
#include "link.h"

enum {
	PG_BOOTSTORE_FINE,
	PG_BOOTSTORE_MISSING, /* there is no boot section, or another one */
	PG_BOOTSTORE_RANGE,   /* it writes other pages than those of the records and slots */
	PG_BOOTSTORE_CODE     /* the firmware reaches into the records */
};

/* Looks for the section. Unless it gives PG_BOOTSTORE_FINE nothing is ever written. in
 * is what takes the line apart, struct pg_line's, so that it goes on while a page is
 * written; 0: there is none. */
uint8_t pg_bootstore_start(struct pg_link *in);

extern uint8_t pg_bootstore_refused; /* pages that were not written: a defect of the firmware */

#endif
