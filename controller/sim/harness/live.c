/* A computer that answers what the chip says. After the script's line "live",
 * commands come on standard input, and each is answered by a line:
 *
 *	run CYCLES HEX   the computer says these bytes ("-": none), then so many cycles pass
 *	                 -> at CYCLE HEX, what the chip has sent meanwhile; gone CYCLE, when
 *	                 power has gone
 *	cut N SEED       power goes in the N-th change of a memory from now on
 *	                 -> ok
 *	end              the run ends
 *
 * How late the computer answers is thus the step of the runs.
 */
#include "board.h"

#include <stdlib.h>
#include <string.h>

int live;

void live_run(cycles until)
{
	static char s[65536];
	static uint8_t b[32768];
	while (fgets(s, sizeof s, stdin)) {
		unsigned long long n;
		unsigned long change, seed;
		int at = 0;
		const uint8_t *said;
		size_t length;
		s[strcspn(s, "\n")] = 0;
		if (strcmp(s, "end") == 0)
			return;
		if (sscanf(s, "cut %lu %lu", &change, &seed) == 2) {
			memory_cut(memory_changes() + change, (uint32_t)seed);
			printf("ok\n");
		} else if (sscanf(s, "run %llu %n", &n, &at) == 1 && at > 0) {
			cycles end = avr->cycle + n;
			size_t k = 0;
			unsigned v;
			const char *h = s + at;
			while (sscanf(h, "%2x", &v) == 1 && k < sizeof b) {
				b[k++] = (uint8_t)v;
				h += 2;
			}
			uart_say(b, k);
			while (avr->cycle < end && !memory_power_gone) {
				int state = avr_run(avr);
				if (state == cpu_Crashed || state == cpu_Done)
					die("the firmware crashed or halted at 0x%x", avr->pc);
			}
			if (memory_power_gone) {
				printf("gone %llu\n", (unsigned long long)avr->cycle);
			} else {
				length = uart_said(&said);
				printf("at %llu ", (unsigned long long)avr->cycle);
				hex(stdout, said, length);
				printf("\n");
			}
		} else {
			die("no such command: %s", s);
		}
		fflush(stdout);
		if (avr->cycle >= until)
			die("it is still running after %llu cycles", (unsigned long long)until);
	}
}
