/* Times of the data line in processor cycles, from the part's times in
 * panel_config.h and the clock; and which timer and port are the output's.
 * For C and for assembly.
 *
 * Of data sheets (WS2812B: 0 high 0.40, 1 high 0.80 us, each +-0.15; SK6812: 0.30
 * and 0.60 +-0.15; WS2815: 0.22-0.38 and 0.58-1.0) 312.5 and 687.5 ns keep all; the
 * lows that follow are 937.5 and 562.5 ns. WS2811 in its slow mode: 0.5 and 1.2 us
 * +-0.15; 500 and 1187.5 ns.
 */
#ifndef PG_TIMING_H
#define PG_TIMING_H

#ifdef __ASSEMBLER__
#define __SFR_OFFSET 0
#endif
#include <avr/io.h>
#include "panel_config.h"

#ifndef F_CPU
#define F_CPU 16000000
#endif
#if F_CPU != 16000000
#error "pg_timing.h counts cycles of 16 MHz: for another clock count anew, and check in the simulator"
#endif

/* The port of all data lines: its PINx register, which toggles pins. Only ports A
 * to G can be reached in one cycle. */
#ifndef PG_PIN
#define PG_PIN PINB
#define PG_PORT PORTB
#define PG_DDR DDRB
#endif

/* Timer 0 watches the pauses. */
#define PG_TCNT TCNT0
#define PG_TIFR TIFR0
#define PG_TCCR TCCR0B

#if PG_BIT_NS == 1250
#define PG_BIT 20
#define PG_HIGH0 5
#define PG_HIGH1 11
#elif PG_BIT_NS == 2500
#define PG_BIT 40
#define PG_HIGH0 8
#define PG_HIGH1 19
#else
#error "PG_BIT_NS: the port knows bits of 1250 and 2500 ns"
#endif

/* From the fall that begins a pause to the rise that ends it, the last bit of a
 * byte takes this many cycles that timer 0 does not see, at most: 4 from its fall
 * (a 0 falls at PG_HIGH0, the timer runs from 1), and what stands between the
 * look at the timer and the rise, the longest way (pg_pixels_end). The rest is
 * the timer's. */
#define PG_GAP_CYCLES (PG_GAP_NS / 1000 * 16 + PG_GAP_NS % 1000 * 16 / 1000)
#define PG_GUARD_SLACK 6

/* Cycles that an interrupt routine may take in a pause, entry and RETI included, with
 * one to spare: 58 at a gap of 5 us and bits of 1.25 us, 38 at bits of 2.5. The clock's
 * takes 38. */
#define PG_ROUTINE_MOST (PG_GAP_CYCLES - PG_BIT - 2)
#if PG_ROUTINE_MOST < 38
#error "PG_GAP_NS: the clock's interrupt does not fit into a pause this short: measure what the part forgives"
#endif
#if PG_GAP_CYCLES - PG_GUARD_SLACK > 255
#define PG_GUARD 1
#else
#define PG_GUARD (256 - (PG_GAP_CYCLES - PG_GUARD_SLACK))
#endif

#endif
