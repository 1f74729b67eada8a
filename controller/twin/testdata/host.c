/* The player on a host, driven by lines on standard input; see twin_test.go.
 *
 *	table FILE START SEED FIRST REFRESHES DEAD...   begin
 *	state N US | value N | ask N | running N | stopped N | loads MASK | level N
 *	host US | clock DAY SECOND | service N | dead PIXEL FLAG
 *	flip ADDRESS MASK                               bits of the store turn
 *	open 0 0 | close 0 0 | block US HEX | want US   of a stream; a block begins with its number
 *	spoil 0 0                                       the decoder finds the bytes bad, if they are coded
 *	busy US                                         the next refresh is begun so much too late
 *	next CALLS                                      one refresh, after so many calls to work ahead
 */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "paneglow.h"
#include "table.h"

const uint8_t *pg_store;
uint32_t pg_store_size;

static struct pg_player *p;
static uint32_t busy; /* microseconds for which the machine kept the processor */

/* Reads a table into a block of exactly its size, so that one byte too far is
 * seen. */
static void load(const char *path)
{
	FILE *f = fopen(path, "rb");
	long n;
	uint8_t *b;
	if (f == NULL || fseek(f, 0, SEEK_END) != 0 || (n = ftell(f)) < 0)
		exit(3);
	rewind(f);
	free((void *)pg_store);
	b = malloc(n > 0 ? (size_t)n : 1);
	if (fread(b, 1, (size_t)n, f) != (size_t)n)
		exit(3);
	fclose(f);
	pg_store = b;
	pg_store_size = (uint32_t)n;
}

static uint64_t set(const uint8_t *bits)
{
	uint64_t v = 0;
	int i;
	for (i = 7; i >= 0; i--)
		v = v << 8 | bits[i];
	return v;
}

/* What was found of clips since the last refresh, in its order. */
static char found[4096];

static void note(const char *what, uint64_t clips)
{
	int i;
	for (i = 0; i < 64; i++)
		if (clips >> i & 1)
			snprintf(found + strlen(found), sizeof found - strlen(found), " %s %d", what, i);
}

static int shown[8], showns; /* frames of the stream that the refresh has taken */
static int ended_old; /* the stream ended while what a hand-over comes from was made */

/* A refresh takes two frames of a stream at most: what is frozen, and what comes
 * after it. */
static void watch_stream(void)
{
	static int last;
	if (!p->stream.took || p->stream.open < PG_STREAM_ON) {
		last = 0;
	} else if (p->stream.passed != last) {
		last = p->stream.passed;
		shown[showns++ & 7] = last - 1;
	}
}

static uint8_t run(uint32_t now)
{
	uint64_t verified = set(p->verified), damaged = set(p->damaged);
	uint8_t streams = p->stream.open >= PG_STREAM_ON, r = pg_run(p, now);
	note("verified", set(p->verified) & ~verified);
	note("lost", verified & ~set(p->verified));
	note("damaged", set(p->damaged) & ~damaged);
	watch_stream();
	if (streams && p->stream.open < PG_STREAM_ON)
		ended_old = p->phase == PG_OLD;
	return r;
}

/* What the wires carry, line after line, as hexadecimal digits. */
static void wires(void)
{
	int line;
	for (line = 0; line < PG_LINES; line++) {
		struct pg_out o;
		uint8_t wire[4], n, i;
		putchar(' ');
		putchar(':');
		pg_out_line(p, &o, (uint8_t)line);
		while ((n = pg_out_pixel(p, &o, wire)) > 0)
			for (i = 0; i < n; i++)
				printf("%02x", wire[i]);
	}
}

/* Runs until one refresh has begun and ended. Time stands at the refresh's own
 * while it is made, and a while before it, so that background work is done. */
static void refresh(long idle)
{
	uint32_t before = p->refreshes, now = p->at;
	long calls = 0;
	int s, sent = 0;
	showns = ended_old = 0;
	while (idle-- > 0 && p->trouble == PG_TABLE_FINE && p->started)
		if (run(now) == PG_IDLE)
			break;
	if (p->started)
		now += p->step + busy;
	busy = 0;
	while (p->refreshes == before && p->trouble == PG_TABLE_FINE && ++calls < 10000000) {
		if (run(now) == PG_SEND) {
			sent = 1;
			printf("sent");
			wires();
			pg_sent(p);
			if (p->refreshes != before)
				break;
		}
		if (!p->started)
			now = p->at;
	}
	if (p->trouble != PG_TABLE_FINE) {
		printf("trouble %d %d\n", p->trouble, p->detail);
		fflush(stdout);
		return;
	}
	if (p->refreshes == before)
		exit(4);
	if (!sent)
		printf("held");
	printf(" late %u second %lu at %lu state %d clip %d source %d gain %lu current %lld climbing %d over %d granted %u holds %d%s", p->late, (unsigned long)p->second, (unsigned long)p->at, p->state,
	       p->clip, p->source, (unsigned long)p->gain, (long long)p->current, p->climbing, p->over, p->granted, p->holds, found);
	found[0] = 0;
	for (s = 0; s < p->supplies; s++)
		printf(" rail %lld %lld", (long long)p->rails[s].drawn, (long long)p->rails[s].in_force);
	for (s = 0; s < showns; s++)
		printf(" took %d", shown[s]);
	printf(" ended_old %d stream %u why %u starved %u fill %u", ended_old, p->stream.open >= PG_STREAM_ON, p->stream.why, p->stream.late, p->stream.fill);
	printf("\n");
	fflush(stdout);
	p->granted = 0;
}

int main(void)
{
	char word[32], path[1024];
	p = malloc(sizeof *p);
	while (scanf("%31s", word) == 1) {
		unsigned long a = 0, b = 0;
		unsigned start = 0, seed = 0, first = 0, refreshes = 0;
		if (strcmp(word, "table") == 0) {
			if (scanf("%1023s %u %u %u %u", path, &start, &seed, &first, &refreshes) != 5)
				return 2;
			load(path);
			found[0] = 0;
			pg_start(p, 0, (uint8_t)refreshes, (uint8_t)first, seed);
			while (p->trouble == PG_TABLE_FINE && p->supplies == 0) /* the header */
				pg_run(p, start);
		} else if (strcmp(word, "next") == 0) {
			if (scanf("%lu", &a) != 1)
				return 2;
			refresh((long)a);
		} else if (strcmp(word, "busy") == 0) {
			if (scanf("%lu", &a) != 1)
				return 2;
			busy = (uint32_t)a;
		} else if (strcmp(word, "block") == 0) {
			char hex[1024];
			uint8_t *b;
			size_t n, i;
			if (scanf("%lu %1023s", &a, hex) != 2)
				return 2;
			n = strlen(hex) / 2;
			b = malloc(n > 0 ? n : 1); /* so that one byte too far is seen */
			for (i = 0; i < n; i++) {
				unsigned v;
				sscanf(hex + 2 * i, "%2x", &v);
				b[i] = (uint8_t)v;
			}
			pg_stream_block(p, b, (uint8_t)n, (uint32_t)a);
			free(b);
		} else if (strcmp(word, "want") == 0) {
			uint8_t b[PG_STREAM_WANT], got, i;
			if (scanf("%lu", &a) != 1)
				return 2;
			got = pg_stream_want(p, (uint32_t)a, b);
			printf("want ");
			for (i = 0; got && i < sizeof b; i++)
				printf("%02x", b[i]);
			printf("\n");
			fflush(stdout);
		} else {
			uint8_t r = 0;
			if (scanf("%lu %lu", &a, &b) != 2)
				return 2;
			if (strcmp(word, "state") == 0)
				r = pg_state(p, (uint8_t)a, (uint32_t)b);
			else if (strcmp(word, "value") == 0)
				r = pg_value(p, (uint8_t)a);
			else if (strcmp(word, "ask") == 0)
				r = pg_ask(p, (uint8_t)a);
			else if (strcmp(word, "running") == 0)
				r = pg_running(p, (uint8_t)a);
			else if (strcmp(word, "stopped") == 0)
				r = pg_stopped(p, (uint8_t)a);
			else if (strcmp(word, "loads") == 0)
				r = pg_loads(p, (uint16_t)a);
			else if (strcmp(word, "level") == 0)
				r = pg_level(p, (uint16_t)a);
			else if (strcmp(word, "host") == 0)
				pg_host(p, (uint32_t)b);
			else if (strcmp(word, "clock") == 0)
				r = pg_clock(p, (uint8_t)a, (uint32_t)b);
			else if (strcmp(word, "service") == 0)
				r = pg_service(p, (uint8_t)a);
			else if (strcmp(word, "spoil") == 0)
				p->decoder.fault = 1;
			else if (strcmp(word, "flip") == 0)
				((uint8_t *)pg_store)[a] ^= (uint8_t)b;
			else if (strcmp(word, "open") == 0)
				r = pg_stream_open(p);
			else if (strcmp(word, "close") == 0)
				pg_stream_close(p);
			else if (strcmp(word, "dead") == 0)
				r = pg_dead(p, (uint16_t)a, (uint8_t)b);
			else
				return 2;
			if (r != 0)
				return 5;
		}
	}
	return 0;
}
