/* Runs a firmware on the simulated board by a script and prints what happened as
 * JSON. Usage: harness FIRMWARE.elf <SCRIPT. A line of the script is one of
 *
 *	cycles N                      stop after N cycles
 *	stop N                        stop when the firmware writes N to GPIOR0
 *	baud RATE                     the computer's rate on the serial line
 *	send US HEX                   it says these bytes, from then on
 *	flood US US HEX               it says them over and over, from .. to
 *	stream FILE SIGN N US         N bytes of a file for every SIGN byte from the chip, this much later
 *	talk US                       a program is the computer, see uart_talk
 *	wave PIN T0H T0H T1H T1H T0L T0L T1L T1L GAP LATCH     least and most in ns
 *	pulse PIN US WIDTH PERIOD N   N pulses on an input, microseconds
 *	record PIN                    write down an output's changes
 *	flip US ADDRESS MASK          bits of the flash turn
 *	peek SYMBOL                   print a variable's bytes at the end
 *	nor FILE US US                a serial NOR flash, its contents, times of a page and a sector
 *	selfprog US US                the flash is written by the firmware, times to erase and to write a page
 *	load ADDRESS FILE             bytes into the flash before the start
 *	keep ADDRESS FILE             the flash from there to the boot section, before and after
 *	cut N SEED                    power goes in the N-th change of a memory
 *	live                          further lines are what live.c says
 *
 * Nothing depends on the time of day: the same firmware and script give the same
 * text, to the cycle.
 */
#include "board.h"

#include <ctype.h>
#include <stdlib.h>
#include <string.h>

#define MOST 4096

static cycles until = 10 * HZ;
static int stop = -1;
static double baud;
static char *peeks[32];
static int peek_count;

static size_t unhex(const char *s, uint8_t *b, size_t most)
{
	size_t n = 0;
	unsigned v;
	for (; sscanf(s, "%2x", &v) == 1 && isxdigit((unsigned char)s[1]); s += 2) {
		if (n == most)
			die("more than %zu bytes in a line", most);
		b[n++] = (uint8_t)v;
	}
	if (*s)
		die("%s: bytes are pairs of hexadecimal digits", s);
	return n;
}

/* Data sheets give times in ns; a limit holds to the nearest cycle, 62.5 ns, as
 * a finer one cannot be told apart. */
static void nanoseconds(const double *ns, cycles *c, int n)
{
	for (int i = 0; i < n; i++)
		c[i] = US(ns[i] / 1000);
}

static void line(char *s)
{
	static uint8_t b[MOST];
	char word[256], text[2 * MOST + 1], port;
	int bit, sign;
	double v[10];
	unsigned long n;
	text[0] = 0;
	if (sscanf(s, "cycles %llu", (unsigned long long *)&until) == 1 || sscanf(s, "stop %d", &stop) == 1 || sscanf(s, "baud %lf", &baud) == 1)
		return;
	if (sscanf(s, "send %lf %8192s", &v[0], text) == 2) {
		uart_send_at(US(v[0]), b, unhex(text, b, MOST));
		return;
	}
	if (sscanf(s, "flood %lf %lf %8192s", &v[0], &v[1], text) == 3) {
		uart_flood(US(v[0]), US(v[1]), b, unhex(text, b, MOST));
		return;
	}
	if (sscanf(s, "stream %255s %d %lu %lf", word, &sign, &n, &v[0]) == 4) {
		uart_stream(word, (uint8_t)sign, n, US(v[0]));
		return;
	}
	if (sscanf(s, "talk %lf", &v[0]) == 1) {
		uart_talk(US(v[0]));
		return;
	}
	if (sscanf(s, "wave %c%d %lf %lf %lf %lf %lf %lf %lf %lf %lf %lf", &port, &bit, v, v + 1, v + 2, v + 3, v + 4, v + 5, v + 6, v + 7, v + 8,
		    v + 9) == 12) {
		struct limits l;
		nanoseconds(v, l.t0h, 2);
		nanoseconds(v + 2, l.t1h, 2);
		nanoseconds(v + 4, l.t0l, 2);
		nanoseconds(v + 6, l.t1l, 2);
		nanoseconds(v + 8, &l.gap, 1);
		nanoseconds(v + 9, &l.latch, 1);
		wave_watch(port, bit, &l);
		return;
	}
	if (sscanf(s, "pulse %c%d %lf %lf %lf %lu", &port, &bit, v, v + 1, v + 2, &n) == 6) {
		pins_pulse(port, bit, US(v[0]), US(v[1]), US(v[2]), n);
		return;
	}
	if (sscanf(s, "record %c%d", &port, &bit) == 2) {
		pins_record(port, bit);
		return;
	}
	if (sscanf(s, "flip %lf %lu %d", &v[0], &n, &bit) == 3) {
		board_flip(US(v[0]), (uint32_t)n, (uint8_t)bit);
		return;
	}
	if (sscanf(s, "nor %255s %lf %lf", word, v, v + 1) == 3) {
		nor_start(word, US(v[0]), US(v[1]));
		return;
	}
	if (sscanf(s, "selfprog %lf %lf", v, v + 1) == 2) {
		selfprog_start(US(v[0]), US(v[1]));
		return;
	}
	if (sscanf(s, "load %lu %255s", &n, word) == 2) {
		selfprog_load((uint32_t)n, word);
		return;
	}
	if (sscanf(s, "keep %lu %255s", &n, word) == 2) {
		selfprog_keep((uint32_t)n, word);
		return;
	}
	if (sscanf(s, "cut %lu %lf", &n, v) == 2) {
		memory_cut(n, (uint32_t)v[0]);
		return;
	}
	if (strcmp(s, "live") == 0) {
		live = 1;
		return;
	}
	if (sscanf(s, "peek %255s", word) == 1) {
		if (peek_count == 32)
			die("more than 32 variables to print");
		peeks[peek_count++] = strdup(word);
		return;
	}
	die("no such line: %s", s);
}

int main(int argc, char **argv)
{
	static char s[2 * MOST + 256];
	const char *why = "cycles";
	if (argc != 2)
		die("usage: harness FIRMWARE.elf <SCRIPT");
	board_start(argv[1]);
	while (!live && fgets(s, sizeof s, stdin)) {
		s[strcspn(s, "\n")] = 0;
		if (s[0])
			line(s);
	}
	marks_start(stop);
	if (baud > 0)
		uart_start(baud);
	if (live)
		live_run(until);
	if (live && memory_power_gone)
		why = "power";
	while (!live && avr->cycle < until) {
		int state = avr_run(avr);
		if (marks_stopped) {
			why = "mark";
			break;
		}
		if (memory_power_gone) {
			why = "power";
			break;
		}
		if (state == cpu_Crashed) {
			why = "crash";
			break;
		}
		if (state == cpu_Done) { /* asleep with interrupts off */
			why = "halt";
			break;
		}
	}
	nor_end();
	selfprog_end();
	printf("{\"torn\":\"%s\",", memory_torn);
	printf("\"why\":\"%s\",\"cycles\":%llu,\"pc\":%u,\"stack\":%u,\"interrupts\":%llu,\"interrupt_longest\":%llu,\"vectors\":", why,
		(unsigned long long)avr->cycle, avr->pc, board_stack(), (unsigned long long)interrupts, (unsigned long long)interrupt_longest);
	board_vectors(stdout);
	printf(",\"uart\":");
	uart_report(stdout);
	printf(",\"waves\":");
	wave_report(stdout);
	printf(",\"pins\":");
	pins_report(stdout);
	printf(",");
	marks_report(stdout);
	printf(",\"nor\":");
	nor_report(stdout);
	printf(",\"selfprog\":");
	selfprog_report(stdout);
	printf(",\"peeks\":{");
	for (int i = 0; i < peek_count; i++) {
		uint32_t size, at = board_symbol(peeks[i], &size);
		printf("%s\"%s\":\"", i ? "," : "", peeks[i]);
		hex(stdout, avr->data + at, size);
		printf("\"");
	}
	printf("}}\n");
	return 0;
}
