/* Drives controller/player/ahead.h from standard input, as who takes blocks while the
 * controller's program stands still, for the tests. Records:
 *   'r' n(2)           a ring of n bytes, the first time
 *   'o' room(2) next(4)  blocks may be taken
 *   'b' byte           one byte of the line   -> 'A' and an answer, or 'F' kind seq n body,
 *                                                or 'T' n bytes, or nothing
 *   'i' steps          a zero, for which there is time for so many steps only; then 'c', 'o'
 *                      and whatever comes of the zero
 *   'c'                no more               -> 'C' taken next(4) ring(n) */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "../../player/ahead.h"
#include "host.h"

static struct pg_ahead *a;
static struct pg_link *l;
static uint8_t *ring;
static unsigned size;
static uint32_t now;

static unsigned get16(void)
{
	unsigned v = get();
	return v | get() << 8;
}

static void open(void)
{
	a->open = 1;
	a->taken = 0;
	a->step = PG_AHEAD_LOOKS;
}

static void close(void)
{
	uint8_t n[4];
	a->open = 0;
	putchar('C');
	putchar(a->taken);
	pg_put32(n, a->next);
	fwrite(n, 1, 4, stdout);
	fwrite(ring, 1, size, stdout);
}

static void hear(uint8_t b)
{
	uint8_t got = 1;
	if (pg_link_inside(l, b))
		return;
	if (b == 0)
		while ((got = pg_ahead_step(a, l)) == 1)
			;
	if (b == 0 && got == 2) {
		putchar('A');
		fwrite(a->answer, 1, PG_AHEAD_ANSWER, stdout);
		if (!a->owed || pg_ahead_step(a, l) != 0)
			exit(4); /* nothing more is taken before the answer was sent */
		a->owed = 0;
	} else {
		tell(l, pg_link_take(l, b, now++));
	}
}

int main(void)
{
	int c;
	/* On the heap, so that the address sanitizer sees every step outside. */
	a = calloc(1, sizeof *a);
	l = malloc(sizeof *l);
	pg_link_start(l);
	while ((c = getchar()) != EOF)
		switch (c) {
		case 'r':
			size = get16();
			ring = a->begin = a->to = calloc(size, 1);
			a->end = ring + size;
			break;
		case 'o':
			a->room = (uint16_t)get16();
			a->next = get32();
			open();
			break;
		case 'i':
			for (c = (int)get(); c > 0; c--)
				if (pg_ahead_step(a, l) != 1)
					exit(3);
			close();
			if (pg_ahead_step(a, l) != 0)
				exit(5); /* a block under way is not gone on with when none may be taken */
			open();
			hear(0);
			break;
		case 'b':
			hear((uint8_t)get());
			break;
		case 'c':
			close();
			break;
		default:
			exit(2);
		}
	free(ring);
	free(l);
	free(a);
	return 0;
}
