/* What all memories that survive power have in common: their changes are counted,
 * and power can be cut in the midst of one. */
#include "board.h"

#include <stdlib.h>
#include <string.h>

static unsigned long changes, cut_at;
static uint32_t seed;
int memory_power_gone;
const char *memory_torn = ""; /* what power was cut in the midst of */

static uint32_t noise(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 17;
	return seed ^= seed << 5;
}

void memory_cut(unsigned long change, uint32_t s)
{
	cut_at = change;
	seed = s | 1;
}

unsigned long memory_changes(void) { return changes; }

static avr_cycle_count_t gone(avr_t *a, avr_cycle_count_t when, void *p)
{
	(void)a, (void)when, (void)p;
	memory_power_gone = 1;
	return 0;
}

/* Erases n bytes, or writes them: ones become zeros. The memory holds the result
 * at once, as nobody can read it before its time has passed; unless power goes
 * meanwhile: then any of the bits that change may have changed, or not. */
void memory_change(uint8_t *m, const uint8_t *b, size_t n, int erase, cycles takes)
{
	int torn = cut_at != 0 && ++changes == cut_at;
	if (cut_at == 0)
		changes++;
	for (size_t i = 0; i < n; i++) {
		uint8_t now = erase ? 0xff : m[i] & b[i];
		m[i] = torn ? (uint8_t)(m[i] ^ ((m[i] ^ now) & (uint8_t)noise())) : now;
	}
	if (torn) {
		memory_torn = erase ? "erasure" : "page";
		/* at any time of it */
		avr_cycle_timer_register(avr, 1 + noise() % takes, gone, NULL);
	}
}
