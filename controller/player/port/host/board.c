/* A whole controller as a program for this computer: player, line, slots and
 * upload, on standard input and output. What the strips latch goes to a file. It
 * is what the commands are tried against when no machine is at hand, by tests and
 * by people:
 *
 *	board STORE BUILT-IN SHOWN
 *
 * STORE is the memory's file, made when it is missing, written through, so that it
 * survives the program being killed as a memory survives power. BUILT-IN is the
 * table that plays before any was loaded, or "-". SHOWN gets a line for every
 * refresh: microseconds, the state, and the bytes of every data line in
 * hexadecimal; "-" for none.
 *
 * The machine's own text is a line each: "who" is answered by "umbrellas", every
 * other line by "?". The loads are those that it was told of over the line.
 */
#define _POSIX_C_SOURCE 200809L
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <time.h>
#include <unistd.h>

#include "line.h"

#define STORE PG_STORE_END

const uint8_t *pg_store;
uint32_t pg_store_size;

static uint8_t *memory; /* the store, and the table built in after it */
static int file = -1;
static struct pg_player panel;
static struct pg_line line;
static FILE *shown;

static void fail(const char *what)
{
	fprintf(stderr, "board: %s: %s\n", what, strerror(errno));
	exit(1);
}

static uint32_t micros(void)
{
	struct timespec t;
	clock_gettime(CLOCK_MONOTONIC, &t);
	return (uint32_t)((uint64_t)t.tv_sec * 1000000u + (uint64_t)t.tv_nsec / 1000u);
}

/* ---- the memory */

void pg_store_read(uint32_t at, uint8_t *to, uint8_t n)
{
	memcpy(to, memory + at, n);
}

uint8_t pg_store_same(uint32_t at, const uint8_t *b, uint16_t n)
{
	return memcmp(memory + at, b, n) == 0;
}

static void through(uint32_t at, size_t n)
{
	if (pwrite(file, memory + at, n, (off_t)at) != (ssize_t)n)
		fail("writing the memory");
}

void pg_store_erase(uint32_t at)
{
	memset(memory + at, 0xff, PG_STORE_UNIT);
	through(at, PG_STORE_UNIT);
}

void pg_store_write(uint32_t at, const uint8_t *b, uint16_t n)
{
	uint16_t k;
	for (k = 0; k < n; k++)
		memory[at + k] &= b[k];
	through(at, n);
}

uint8_t pg_store_busy(void)
{
	return 0;
}

static void open_store(const char *path)
{
	off_t size;
	file = open(path, O_RDWR | O_CREAT, 0644);
	if (file < 0 || (size = lseek(file, 0, SEEK_END)) < 0)
		fail(path);
	memset(memory, 0xff, STORE);
	if (size == 0)
		through(0, STORE);
	else if (pread(file, memory, STORE, 0) != STORE)
		fail(path);
}

/* ---- what the firmware gives */

uint8_t pg_safe_to_write(void)
{
	return pg_line_idle(&line);
}

void pg_line_counts(uint32_t counts[PG_COUNTS])
{
	(void)counts; /* nothing is sent again here */
}

uint8_t pg_line_probe(const uint8_t *body)
{
	(void)body;
	return PG_REFUSED; /* there are no wires here */
}

/* ---- strips */

static void latch(void)
{
	uint8_t l, wire[4], n, i;
	if (shown == NULL)
		return;
	fprintf(shown, "%lu %u", (unsigned long)micros(), panel.state);
	for (l = 0; l < PG_LINES; l++) {
		struct pg_out o;
		pg_out_line(&panel, &o, l);
		fputc(' ', shown);
		while ((n = pg_out_pixel(&panel, &o, wire)) > 0)
			for (i = 0; i < n; i++)
				fprintf(shown, "%02x", wire[i]);
	}
	fputc('\n', shown);
	fflush(shown);
}

/* ---- the machine's program */

static char said[64];
static size_t length;
static const char *answer = "";

static void text(const uint8_t *b, uint8_t n)
{
	uint8_t i;
	for (i = 0; i < n; i++) {
		if (b[i] != '\n') {
			if (length < sizeof said - 1)
				said[length++] = (char)b[i];
			continue;
		}
		said[length] = 0;
		length = 0;
		answer = strcmp(said, "who") == 0 ? "umbrellas\n" : "?\n";
	}
}

/* ---- the line */

static void send_all(const uint8_t *b, size_t n)
{
	while (n > 0) {
		ssize_t k = write(1, b, n);
		if (k < 0 && errno != EINTR && errno != EAGAIN)
			exit(0); /* the computer has gone */
		if (k > 0) {
			b += k;
			n -= (size_t)k;
		}
	}
}

int main(int argc, char **argv)
{
	static const struct pg_identity me = { 1, "on host", 255, 1, 0 };
	static uint8_t in[4096], out[1024];
	size_t ins = 0, at = 0, size = 0;
	FILE *f;
	uint32_t built_in = PG_NO_TABLE;
	int ended = 0;

	if (argc != 4) {
		fprintf(stderr, "usage: board STORE BUILT-IN SHOWN\n");
		return 2;
	}
	memory = malloc(STORE + (1u << 20));
	if (memory == NULL)
		fail("memory");
	open_store(argv[1]);
	memset(memory + STORE, 0xff, 1u << 20);
	if (strcmp(argv[2], "-") != 0) {
		if ((f = fopen(argv[2], "rb")) == NULL)
			fail(argv[2]);
		size = fread(memory + STORE, 1, 1u << 20, f);
		fclose(f);
		built_in = STORE;
	} else {
		built_in = STORE; /* nothing stands there: no table */
	}
	if (strcmp(argv[3], "-") != 0 && (shown = fopen(argv[3], "a")) == NULL)
		fail(argv[3]);
	pg_store = memory;
	pg_store_size = (uint32_t)(STORE + size);
	pg_line_start(&line, &panel, &me, built_in, 115200, micros());

	for (;;) {
		size_t outs = 0;
		uint8_t byte, plays;
		struct pollfd p = { 0, POLLIN, 0 };
		int idle = 1;

		if (at == ins && !ended && poll(&p, 1, 0) > 0) {
			ssize_t n = read(0, in, sizeof in);
			if (n <= 0 && errno != EINTR)
				ended = 1;
			at = 0;
			ins = n > 0 ? (size_t)n : 0;
		}
		while (at < ins && pg_line_ready(&line)) {
			uint8_t got = pg_line_take(&line, in[at++], micros());
			if (got == PG_LINK_TEXT)
				text(line.in.text, line.in.texts);
			else if (got == PG_LINE_PASS)
				pg_line_pass(&line, line.in.body, line.in.bodies); /* echoed */
			idle = 0;
		}
		if (pg_line_quiet(&line, micros()) == PG_LINK_TEXT)
			text(line.in.text, line.in.texts);
		plays = pg_line_run(&line, micros());
		if (!plays || line.upload.doing)
			idle = 0;
		while (outs < sizeof out && pg_line_next(&line, &byte))
			out[outs++] = byte;
		if (outs == 0 && !pg_line_sending(&line) && *answer) {
			outs = strlen(answer);
			memcpy(out, answer, outs);
			answer = "";
		}
		send_all(out, outs);
		if (ended && at == ins && outs == 0)
			return 0;
		if (plays)
			switch (pg_run(&panel, micros())) {
			case PG_SEND:
				latch();
				pg_sent(&panel);
				idle = 0;
				break;
			case PG_AGAIN:
				idle = 0;
			}
		if (idle) {
			struct timespec t = { 0, 200000 };
			nanosleep(&t, NULL);
		}
	}
}
