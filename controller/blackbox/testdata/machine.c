/* A whole controller in virtual time, for tests: player, line, slots, upload and
 * black box, a store in memory that takes its time, and a supply that may fail at
 * any byte written. Commands come as lines on standard input:
 *
 *	power CAUSE    the controller starts; it keeps its memory
 *	off            power goes
 *	fail N         power goes when N more bytes of the store were changed
 *	take HEX       bytes for its serial line
 *	run MICROS     time passes; answers with lines, then "ok" or, without power, "dark"
 *	show 0|1       tell of every refresh: "r NUMBER SENT STATE LINE..." in hexadecimal
 *	spoil          the decoder finds the bytes bad, if they are coded
 *	flip OFFSET    bits of the built-in table turn
 *	peek           "peek STARTS REFRESHES SILENCES LOST PHASE-LATE"
 *
 * and "out HEX" tells what it sent. Argument: the built-in table's file.
 */
#include <setjmp.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "line.h"

#define CPU 40u /* microseconds that a pass of the program's loop takes */

const uint8_t *pg_store;
uint32_t pg_store_size;

static uint8_t *memory;
static struct pg_player panel;
static struct pg_line line;
static struct pg_identity me = { 7, "virtual", 27, 1, 0 };
static uint64_t now, busy, end;
static long fails = -1;
static int powered, showing;
static jmp_buf dark;
static uint8_t *in;
static size_t ins, at, room;
static uint32_t seen;

/* ---- the store: as a serial NOR flash, worst figures of its sheet from memory */

static void wear(long bytes)
{
	if (fails < 0)
		return;
	fails -= bytes;
	if (fails <= 0) {
		fails = -1;
		powered = 0;
		longjmp(dark, 1);
	}
}

void pg_store_read(uint32_t a, uint8_t *to, uint8_t n)
{
	memcpy(to, memory + a, n);
}

uint8_t pg_store_same(uint32_t a, const uint8_t *b, uint16_t n)
{
	return memcmp(memory + a, b, n) == 0;
}

void pg_store_erase(uint32_t a)
{
	uint32_t k;
	for (k = 0; k < PG_STORE_UNIT; k++) {
		if (k % 64 == 0)
			wear(1);
		memory[a + k] = 0xff;
	}
	busy = now + 45000;
}

void pg_store_write(uint32_t a, const uint8_t *b, uint16_t n)
{
	uint16_t k;
	for (k = 0; k < n; k++) {
		wear(1);
		memory[a + k] &= b[k];
	}
	busy = now + 700;
}

uint8_t pg_store_busy(void) { return now < busy; }

/* ---- what the firmware gives */

uint8_t pg_safe_to_write(void) { return pg_line_idle(&line); }

void pg_line_counts(uint32_t counts[PG_COUNTS]) { (void)counts; }

uint8_t pg_line_probe(const uint8_t *body)
{
	(void)body;
	return PG_REFUSED;
}

/* ---- */

static void latch(int sent)
{
	uint8_t l, wire[4], n, i;
	if (!showing)
		return;
	printf("r %lu %d %u", (unsigned long)panel.refreshes + (sent ? 1 : 0), sent, panel.state);
	for (l = 0; l < PG_LINES; l++) {
		struct pg_out o;
		pg_out_line(&panel, &o, l);
		putchar(' ');
		while ((n = pg_out_pixel(&panel, &o, wire)) > 0)
			for (i = 0; i < n; i++)
				printf("%02x", wire[i]);
	}
	putchar('\n');
}

static void pass(void)
{
	uint8_t byte, got, any = 0, does = PG_IDLE;
	while (at < ins && pg_line_ready(&line)) {
		got = pg_line_take(&line, in[at++], (uint32_t)now);
		(void)got;
		any = 1;
	}
	if (at == ins)
		at = ins = 0;
	pg_line_quiet(&line, (uint32_t)now);
	if (pg_line_run(&line, (uint32_t)now))
		does = pg_run(&panel, (uint32_t)now);
	else
		any = 1;
	if (does == PG_SEND) {
		latch(1);
		pg_sent(&panel);
		seen = panel.refreshes;
	} else if (panel.refreshes != seen) {
		seen = panel.refreshes;
		if (seen)
			latch(0);
	}
	if (pg_line_next(&line, &byte)) {
		printf("out ");
		do
			printf("%02x", byte);
		while (pg_line_next(&line, &byte));
		putchar('\n');
		any = 1;
	}
	now += CPU;
	if (!any && does == PG_IDLE && !line.upload.doing && at == ins) {
		/* nothing to do before the next refresh, or what is busy ends */
		uint64_t next = now + 20000;
		int32_t until = panel.rate ? (int32_t)(panel.at + panel.step - (uint32_t)now) : 20000;
		if (until > 0 && until < 20000)
			next = now + (uint64_t)until;
		if (busy > now && busy < next)
			next = busy;
		now = next < end ? next : now < end ? end : now;
	}
}

static void power(unsigned cause)
{
	me.reset = (uint8_t)cause;
	powered = 1;
	at = ins = 0;
	seen = 0;
	memset(&panel, 0, sizeof panel); /* as static memory of C comes up */
	memset(&line, 0xaa, sizeof line);
	busy = now;
	pg_line_start(&line, &panel, &me, PG_STORE_END, 115200, (uint32_t)now);
}

static unsigned nibble(int c) { return (unsigned)(c <= '9' ? c - '0' : c - 'a' + 10); }

int main(int argc, char **argv)
{
	static char said[70000];
	size_t size = 0;
	FILE *f;
	if (argc < 2)
		return 2;
	memory = malloc(PG_STORE_END + (1u << 20));
	memset(memory, 0xff, PG_STORE_END + (1u << 20));
	if ((f = fopen(argv[1], "rb")) == NULL)
		return 2;
	size = fread(memory + PG_STORE_END, 1, 1u << 20, f);
	fclose(f);
	pg_store = memory;
	pg_store_size = (uint32_t)(PG_STORE_END + size);
	now = argc > 2 ? strtoull(argv[2], NULL, 10) : 0;
	while (fgets(said, sizeof said, stdin) != NULL) {
		if (strncmp(said, "power ", 6) == 0) {
			power((unsigned)atoi(said + 6));
		} else if (strncmp(said, "off", 3) == 0) {
			powered = 0;
		} else if (strncmp(said, "fail ", 5) == 0) {
			fails = atol(said + 5);
		} else if (strncmp(said, "show ", 5) == 0) {
			showing = atoi(said + 5);
		} else if (strncmp(said, "take ", 5) == 0) {
			const char *c;
			for (c = said + 5; *c > ' '; c += 2) {
				if (ins == room) {
					room = room ? 2 * room : 4096;
					in = realloc(in, room);
				}
				in[ins++] = (uint8_t)(nibble(c[0]) << 4 | nibble(c[1]));
			}
		} else if (strncmp(said, "spoil", 5) == 0) {
			panel.decoder.fault = 1;
		} else if (strncmp(said, "flip ", 5) == 0) {
			memory[PG_STORE_END + (size_t)atol(said + 5)] ^= 64;
		} else if (strncmp(said, "peek", 4) == 0) {
			printf("peek %lu %lu %u %u %u %u %u %u\n", (unsigned long)line.log.starts, (unsigned long)panel.refreshes, line.silences, line.in.lost, panel.late,
				line.log.left, line.log.tokens, panel.trouble);
			fflush(stdout);
		} else if (strncmp(said, "run ", 4) == 0) {
			end = now + strtoull(said + 4, NULL, 10);
			if (powered && setjmp(dark) == 0)
				while (now < end)
					pass();
			if (!powered && now < end)
				now = end;
			printf(powered ? "ok\n" : "dark\n");
			fflush(stdout);
		}
	}
	return 0;
}
