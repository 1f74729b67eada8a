/* Sends made-up frames by pg_pixels_send, as a test asks by macros: T_PIXELS, T_DIES,
 * T_ORDER, T_WEIGHT (0..256 of 256), T_GAIN (0..65536), T_PALETTE, T_MISSING (a pixel that is
 * left out), T_STRIPS (stretches of one line with gains of their own),
 * T_REFRESHES. With T_ISR_CYCLES, timer 1 asks for an interrupt every T_ISR_EVERY cycles whose
 * routine takes T_ISR_CYCLES cycles in all.
 */
#include "busy.h"
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
	busy();
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
