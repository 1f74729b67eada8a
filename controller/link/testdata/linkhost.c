/* Drives controller/player/link.c from standard input, for the tests. Records:
 *   'b' byte now(4)  one byte of the line      -> what was found
 *   't' now(4) limit(4)  the line is quiet     -> what was found
 *   'p' kind seq n body(n)  pack a message     -> 'W' length(2) bytes
 *   's'  start anew                            -> 'L' lost(2) of what went before
 * What was found: 'T' n bytes, 'F' kind seq n body, or nothing. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include "../../player/link.h"
#include "host.h"

static void put16(unsigned v)
{
	putchar((int)(v & 0xff));
	putchar((int)(v >> 8 & 0xff));
}

int main(void)
{
	/* On the heap, so that the address sanitizer sees every step outside. */
	struct pg_link *l = malloc(sizeof *l);
	uint8_t *out = malloc(PG_LINK_WIRE);
	int c;

	pg_link_start(l);
	while ((c = getchar()) != EOF) {
		if (c == 'b') {
			uint8_t b = (uint8_t)get();
			uint32_t now = get32();
			/* every other byte by the fast way, where it is one */
			if (!(b & 1) || pg_link_some(l, &b, 1, now) == 0)
				tell(l, pg_link_take(l, b, now));
		} else if (c == 't') {
			uint32_t now = get32();
			tell(l, pg_link_tick(l, now, get32()));
		} else if (c == 'p') {
			uint8_t kind = (uint8_t)get(), seq = (uint8_t)get(), n = (uint8_t)get(), k;
			uint16_t len;
			for (k = 0; k < n; k++)
				out[4 + k] = (uint8_t)get();
			len = pg_link_pack(out, kind, seq, n);
			putchar('W');
			put16(len);
			fwrite(out, 1, len, stdout);
		} else if (c == 's') {
			putchar('L');
			put16(l->lost);
			pg_link_start(l);
		} else {
			return 3;
		}
	}
	free(l);
	free(out);
	return 0;
}
