/* A controller for the tests: link, slots and upload on a memory of this
 * computer, whose power can be cut. Records on standard input:
 *   'x' n(2) bytes      bytes of the line               -> 'W' n(2) bytes, what it sends; 'C' when power went
 *   'c' lines(4) ops(4) seed(4)  cut power after so many more bytes of the line,
 *                       or in the midst of so many more writes or erasures; 0: never
 *   'r'                 power comes                     -> 'R' number(4) slot(1) length(4) crc(4)
 *   'd'                 the table in force              -> 'D' length(4) bytes
 *   'l' on(1)           loads run, so that nothing is safe to write
 *   'f' ok(1)           whether the player takes the table
 *   'q'                 the counts                      -> 'Q' erasures(4) of every unit, writes(4)
 *   'm' at(4) bit(1)    the memory loses a bit
 *   'z' ops(4)          so many writes do nothing, as in a memory that is worn out
 * A write or an erasure under way when power goes has changed any of its bits. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "../../player/link.h"
#include "../../player/upload.h"

#define SIZE (PG_STORE_CELL_UNITS * PG_STORE_UNIT + 2 * PG_SLOT_SIZE)
#define UNITS (SIZE / PG_STORE_UNIT)

static uint8_t memory[SIZE];
static uint32_t erasures[UNITS], writes, cut_line, cut_op, seed, worn;
static uint8_t on, loads, fits = 1, polls;

static struct pg_link line;
static struct pg_slots slots;
static struct pg_upload up;
static uint8_t out[65536];
static uint32_t outs, now;
static uint8_t last_wire[PG_LINK_WIRE];
static uint16_t last_len, last_crc;
static uint8_t last_kind, last_seq, have_last;

static uint32_t noise(void)
{
	seed ^= seed << 13;
	seed ^= seed >> 17;
	return seed ^= seed << 5;
}

/* Power goes in the midst of this operation: any of its bits may have changed. */
static int torn(void)
{
	return cut_op && --cut_op == 0;
}

void pg_store_read(uint32_t at, uint8_t *to, uint8_t n)
{
	if (at > SIZE || n > SIZE - at)
		abort();
	memcpy(to, memory + at, n);
}

uint8_t pg_store_same(uint32_t at, const uint8_t *b, uint16_t n)
{
	if (at > SIZE || n > SIZE - at)
		abort();
	return memcmp(memory + at, b, n) == 0;
}

void pg_store_erase(uint32_t at)
{
	uint32_t k;
	int t = torn();
	if (at % PG_STORE_UNIT || at >= SIZE || polls)
		abort();
	erasures[at / PG_STORE_UNIT]++;
	for (k = 0; k < PG_STORE_UNIT; k++)
		memory[at + k] |= t ? (uint8_t)noise() : 0xff;
	if (t)
		on = 0;
	polls = 3;
}

void pg_store_write(uint32_t at, const uint8_t *b, uint16_t n)
{
	uint16_t k;
	int t = torn();
	if (n == 0 || at % PG_STORE_PAGE + n > PG_STORE_PAGE || at >= SIZE || polls)
		abort();
	writes++;
	if (worn) {
		worn--;
		n = 0;
	}
	for (k = 0; k < n; k++)
		memory[at + k] &= t ? (uint8_t)(b[k] | noise()) : b[k];
	if (t)
		on = 0;
	polls = 2;
}

uint8_t pg_store_busy(void)
{
	if (polls)
		polls--;
	return polls != 0;
}

uint8_t pg_safe_to_write(void)
{
	return !loads;
}

uint8_t pg_table_fits(uint32_t at, uint32_t length)
{
	(void)at;
	(void)length;
	return fits;
}

static void put32(uint8_t *b, uint32_t v)
{
	b[0] = (uint8_t)v;
	b[1] = (uint8_t)(v >> 8);
	b[2] = (uint8_t)(v >> 16);
	b[3] = (uint8_t)(v >> 24);
}

static void answer(uint8_t status, const uint8_t *b, uint8_t n)
{
	last_wire[4] = status;
	if (n)
		memcpy(last_wire + 5, b, n);
	last_len = pg_link_pack(last_wire, line.kind, line.seq, (uint8_t)(n + 1));
	last_kind = line.kind;
	last_seq = line.seq;
	have_last = 1;
	memcpy(out + outs, last_wire, last_len);
	outs += last_len;
}

/* The identity's fields that an upload reads; the rest is 0. */
static void hello(void)
{
	uint8_t b[41];
	memset(b, 0, sizeof b);
	b[0] = 1;
	memcpy(b + 3, "test pcb", 8);
	put32(b + 11, up.layout);
	b[15] = 12;
	b[17] = 2;
	put32(b + 18, PG_SLOT_SIZE);
	b[23] = 2; /* 512 bytes of window */
	put32(b + 30, slots.number ? slots.crc : 0);
	put32(b + 34, slots.number);
	memcpy(b + 38, slots.minute, 3);
	answer(PG_OK, b, sizeof b);
}

static void frame(void)
{
	uint8_t status, k;
	uint16_t crc = 0xffff;
	for (k = 0; k < line.bodies; k++)
		crc = pg_crc16(crc, line.body[k]);
	if (line.kind != PG_HELLO && have_last && line.kind == last_kind && line.seq == last_seq && crc == last_crc) {
		memcpy(out + outs, last_wire, last_len); /* asked again: the answer was lost */
		outs += last_len;
		return;
	}
	last_crc = crc;
	if (line.kind == PG_HELLO) {
		hello();
		return;
	}
	status = pg_upload_take(&up, line.kind, line.body, line.bodies);
	while (status == PG_LATER && on) {
		status = pg_upload_run(&up);
		now += 100;
	}
	if (on)
		answer(status, up.reply, status == PG_OK ? up.replies : 0);
}

static void power(uint32_t layout)
{
	on = 1;
	polls = 0;
	have_last = 0;
	pg_link_start(&line);
	pg_slots_begin(&slots);
	while (pg_slots_search(&slots) == PG_SLOTS_MORE)
		;
	pg_upload_start(&up, &slots, layout);
}

static unsigned get(void)
{
	int c = getchar();
	if (c == EOF)
		exit(2);
	return (unsigned)c;
}

static uint32_t get32(void)
{
	uint32_t v = get();
	v |= (uint32_t)get() << 8;
	v |= (uint32_t)get() << 16;
	return v | (uint32_t)get() << 24;
}

static void say32(uint32_t v)
{
	uint8_t b[4];
	put32(b, v);
	fwrite(b, 1, 4, stdout);
}

int main(int argc, char **argv)
{
	uint32_t layout = argc > 1 ? (uint32_t)strtoul(argv[1], 0, 0) : 0;
	int c;

	memset(memory, 0xff, sizeof memory);
	power(layout);
	while ((c = getchar()) != EOF) {
		uint32_t k, n;
		switch (c) {
		case 'x':
			n = get();
			n |= get() << 8;
			outs = 0;
			for (k = 0; k < n; k++) {
				uint8_t b = (uint8_t)get();
				if (on && cut_line && --cut_line == 0)
					on = 0;
				now += 20;
				if (on && pg_link_take(&line, b, now) == PG_LINK_FRAME)
					frame();
			}
			/* What waits to be written is, while the line is quiet. */
			for (k = 0; k < 100000 && on && !up.trouble && pg_upload_behind(&up) && !(loads && up.writing == 0); k++)
				pg_upload_run(&up);
			if (!on) {
				putchar('C');
				break;
			}
			putchar('W');
			putchar((int)(outs & 255));
			putchar((int)(outs >> 8 & 255));
			fwrite(out, 1, outs, stdout);
			break;
		case 'c':
			cut_line = get32();
			cut_op = get32();
			seed = get32() | 1;
			break;
		case 'r':
			power(layout);
			putchar('R');
			say32(slots.number);
			putchar(slots.slot);
			say32(slots.length);
			say32(slots.crc);
			break;
		case 'd':
			putchar('D');
			n = slots.number ? slots.length : 0;
			say32(n);
			fwrite(memory + PG_SLOT_AT(slots.slot), 1, n, stdout);
			break;
		case 'l':
			loads = (uint8_t)get();
			break;
		case 'f':
			fits = (uint8_t)get();
			break;
		case 'q':
			putchar('Q');
			for (k = 0; k < UNITS; k++)
				say32(erasures[k]);
			say32(writes);
			break;
		case 'm':
			k = get32();
			memory[k % SIZE] ^= (uint8_t)(1 << (get() & 7));
			break;
		case 'z':
			worn = get32();
			break;
		default:
			return 3;
		}
		fflush(stdout);
	}
	return 0;
}
