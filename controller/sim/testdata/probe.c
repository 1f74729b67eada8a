/* Probes a strip with each of T_PAUSES microseconds, five milliseconds apart. */
#include <avr/io.h>
#include "pg_probe.h"
#include "pg_timing.h"

static const uint16_t pauses[] = { T_PAUSES };
uint8_t refused;

int main(void)
{
	static const uint8_t a[3] = { 1, 2, 3 }, b[3] = { 250, 251, 252 };
	uint8_t i;
	PG_DDR |= 1 << 7;
	TCCR5B = 1 << CS50;
	for (i = 0; i < sizeof pauses / sizeof *pauses; i++) {
		uint16_t n;
		if (pg_probe(1 << 7, 3, 2, a, pauses[i], 1, b))
			refused++;
		for (n = 0; n < 20000; n++)
			__asm__ volatile("nop");
	}
	GPIOR0 = 255;
	for (;;)
		;
}
