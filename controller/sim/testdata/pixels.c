/* Sends made-up frames by pg_pixels_send, as a test asks by macros: T_PIXELS, T_DIES,
 * T_ORDER, T_WEIGHT (0..256 of 256), T_GAIN (0..65536), T_PALETTE, T_MISSING (a pixel that is
 * left out), T_STRIPS (stretches of one line with gains of their own),
 * T_REFRESHES. With T_ISR_CYCLES, timer 1 asks for an interrupt every T_ISR_EVERY cycles whose
 * routine takes T_ISR_CYCLES cycles in all.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include "pg_pixels.h"

#ifndef T_PALETTE
#define T_PALETTE 0
#endif
#ifndef T_MISSING
#define T_MISSING 0xffffu
#endif
#ifndef T_STRIPS
#define T_STRIPS 1
#endif

uint8_t frame[T_PIXELS * T_DIES], frozen[T_PIXELS * T_DIES], palette[256 * (T_PALETTE ? T_DIES : 1)];
struct pg_stretch stretches[2 * T_STRIPS];
uint16_t broken, ticks;

#ifdef T_ISR_CYCLES
/* Entry 5, the jump from the table 3, and what stands here; RETI 5. The loop takes
 * three cycles a turn, less one, and SREG must survive. */
#define LOOP ((T_ISR_CYCLES - 5 - 3 - 5 - 12) / 3)
#define PAD ((T_ISR_CYCLES - 5 - 3 - 5 - 12) % 3)
ISR(TIMER1_COMPA_vect, ISR_NAKED)
{
	__asm__ volatile("push r24\n\tin r24, __SREG__\n\tpush r24\n\t"
			 "ldi r24, %0\n"
			 "1:\tdec r24\n\tbrne 1b\n\t"
			 ".rept %1\n\tnop\n\t.endr\n\t"
			 "pop r24\n\tout __SREG__, r24\n\tpop r24\n\tnop\n\tnop\n\treti" ::"M"(LOOP), "M"(PAD));
}
#endif

static uint32_t seed = 1;
static uint8_t lot(void)
{
	seed = seed * 1664525ul + 1013904223ul;
	return (uint8_t)(seed >> 24);
}

int main(void)
{
	uint16_t i;
	uint8_t n = 0, s;
	for (i = 0; i < sizeof frame; i++)
		frame[i] = lot();
	for (i = 0; i < sizeof frozen; i++)
		frozen[i] = lot();
	if (T_PALETTE)
		for (i = 0; i < sizeof palette; i++)
			palette[i] = lot();
	for (s = 0, i = 0; s < T_STRIPS; s++) {
		uint16_t end = (s + 1) * (T_PIXELS / T_STRIPS);
		while (i < end) {
			struct pg_stretch *t = &stretches[n];
			uint16_t to = T_MISSING >= i && T_MISSING < end ? T_MISSING : end;
			if (to > i) {
				uint32_t gain = (T_GAIN) / (s + 1);
				n++;
				t->index = frame + i;
				t->from = T_PALETTE ? palette : frame + i * T_DIES;
				t->frozen = frozen + i * T_DIES;
				t->key = T_PALETTE ? T_DIES : 0;
				t->step = T_PALETTE ? 0 : T_DIES;
				t->count = to - i;
				t->gain = gain ? gain - 1 : 0;
				if ((T_WEIGHT) == 0) {
					t->from = t->frozen;
					t->key = 0;
					t->step = T_DIES;
				}
				t->guard = PG_GUARD;
				t->after = pg_pixels_change;
				pg_pixels_order(t, T_DIES, T_ORDER);
			}
			i = to == T_MISSING ? to + 1 : to;
		}
	}
	stretches[n - 1].after = pg_pixels_end;
	PG_DDR |= 1 << 7;
	PG_TCCR = 1;
#ifdef T_ISR_CYCLES
	OCR1A = T_ISR_EVERY - 1;
	TCCR1B = 1 << WGM12 | 1 << CS10;
	TIMSK1 = 1 << OCIE1A;
#endif
	for (i = 0; i < T_REFRESHES; i++) {
		uint16_t k;
		GPIOR1 = 1;
		cli();
		s = pg_pixels_send(stretches, 1 << 7, (T_WEIGHT) ? (T_WEIGHT) - 1 : 255);
#ifndef PG_INTERRUPTS_OFF
		sei();
#endif
		GPIOR1 = 0;
		broken += s;
		for (k = 0; k < 2000; k++) /* the latch, 0.5 ms and more */
			__asm__ volatile("nop\n\tnop");
	}
	GPIOR0 = 255;
	for (;;)
		;
}
