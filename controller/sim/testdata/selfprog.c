/* Erases and writes a page of its own flash, and breaks one rule of it: WRONG 0 none,
 * 1 returns before the page is erased, 2 reads data below the boot section before it
 * may, 3 leaves an interrupt on, 4 takes too long between SPMCSR and SPM, 5 does it
 * from outside the boot section. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/pgmspace.h>

#define PAGE 0x20000ul

ISR(TIMER0_OVF_vect) { GPIOR2 = 1; }

uint8_t got[2];

static inline __attribute__((always_inline)) void spm(uint8_t what, uint16_t low, uint16_t word)
{
	__asm__ volatile("movw r0, %[word]\n\tmovw r30, %[low]\n\t"
			 "out %[rampz], %[high]\n\tout %[control], %[what]\n\t"
#if WRONG == 4
			 "nop\n\tnop\n\tnop\n\tnop\n\tnop\n\t"
#endif
			 "spm\n\tclr r1" ::[word] "r"(word), [low] "r"(low), [high] "r"((uint8_t)(PAGE >> 16)), [what] "r"(what),
			 [rampz] "I"(_SFR_IO_ADDR(RAMPZ)), [control] "I"(_SFR_IO_ADDR(SPMCSR))
			 : "r0", "r30", "r31", "memory");
}

#if WRONG == 5
static __attribute__((noinline)) void
#else
__attribute__((section(".boot"), noinline, used)) void
#endif
program(void)
{
	uint8_t k = 0;
	spm(1 << PGERS | 1 << SPMEN, 0, 0);
#if WRONG == 2
	got[0] = pgm_read_byte(0x100);
#endif
#if WRONG == 1
	return;
#endif
	while (SPMCSR & 1 << SPMEN)
		;
	do
		spm(1 << SPMEN, k, (uint16_t)(k | 0x5a00));
	while (k += 2);
	spm(1 << PGWRT | 1 << SPMEN, 0, 0);
	while (SPMCSR & 1 << SPMEN)
		;
	spm(1 << RWWSRE | 1 << SPMEN, 0, 0);
}

int main(void)
{
	TCCR0B = 1 << CS00;
	TIMSK0 = 1 << TOIE0;
#if WRONG == 3
	sei();
#endif
	program();
	got[0] = pgm_read_byte_far(PAGE + 4);
	got[1] = pgm_read_byte_far(PAGE + 5);
	GPIOR0 = 255;
	for (;;)
		;
}
