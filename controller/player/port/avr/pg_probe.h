/* Commissioning: two runs of equal pixels on a data line with a pause between them,
 * to find out which pause a strip takes for the end of a refresh. The pause is low.
 *
 * Interrupts stay off from the first bit to the last, so that the pause is what
 * was asked for within half a microsecond; at 115,200 baud up to seven bytes may be
 * lost meanwhile. Clocked by timer 5, see pg_avr_start.
 */
#ifndef PG_PROBE_H
#define PG_PROBE_H

#include <stdint.h>

#define PG_PROBE_LEAST 15u  /* microseconds: shorter is not possible, see pg_probe.c */
#define PG_PROBE_MOST 2000u

/* Pixels of so many dies whose bytes on the wire are a and b; mask is the line's
 * bit of the port. 0; 1 when the pause is outside of its limits. Latch the strip
 * before and after it. */
uint8_t pg_probe(uint8_t mask, uint8_t dies, uint8_t first, const uint8_t *a, uint16_t pause, uint8_t second, const uint8_t *b);

/* A probe message's 13 bytes (docs/link.md): the same for a strip, from the start of
 * its data line, with codes of at most 64 and at most eight pixels each. Gives an
 * answer's status. */
uint8_t pg_probe_message(const uint8_t *body);

#endif
