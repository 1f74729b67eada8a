/* What the programs have in common that drive the C side of the link from standard
 * input: numbers that come, low byte first, and what was found that goes out. */
#ifndef HOST_H
#define HOST_H

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

static void tell(const struct pg_link *l, uint8_t what)
{
	if (what == PG_LINK_TEXT) {
		putchar('T');
		putchar(l->texts);
		fwrite(l->text, 1, l->texts, stdout);
	}
	if (what == PG_LINK_FRAME) {
		putchar('F');
		putchar(l->kind);
		putchar(l->seq);
		putchar(l->bodies);
		fwrite(l->body, 1, l->bodies, stdout);
	}
}

#endif
