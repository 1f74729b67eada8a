/* What made-up output has beside it: bytes by lot, and with T_ISR_CYCLES an interrupt that
 * timer 1 asks for every T_ISR_EVERY cycles, whose routine takes T_ISR_CYCLES cycles in
 * all.
 */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <stdint.h>

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
static inline uint8_t lot(void)
{
	seed = seed * 1664525ul + 1013904223ul;
	return (uint8_t)(seed >> 24);
}

static inline void busy(void)
{
#ifdef T_ISR_CYCLES
	OCR1A = T_ISR_EVERY - 1;
	TCCR1B = 1 << WGM12 | 1 << CS10;
	TIMSK1 = 1 << OCIE1A;
#endif
}
