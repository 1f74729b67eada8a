/* Frames on the line. See link.h. */
#include "link_byte.h"

void pg_link_start(struct pg_link *l)
{
	l->mode = PG_LINK_IN_TEXT;
	l->n = l->out = l->open = 0;
	l->lost = 0;
	l->ahead = 0;
	l->body = l->text = l->buf;
	l->bodies = l->texts = l->kind = l->seq = 0;
	l->last = 0;
	l->sum = 0;
}

uint16_t pg_crc16(uint16_t crc, uint8_t byte)
{
	return pg_link_crc(crc, byte);
}

static uint8_t drop(struct pg_link *l)
{
	if (l->lost != 0xffff)
		l->lost++;
	l->mode = PG_LINK_IN_REST;
	l->n = 0;
	return PG_LINK_NOTHING;
}

static uint8_t text(struct pg_link *l, uint8_t n)
{
	l->text = l->buf;
	l->texts = n;
	return PG_LINK_TEXT;
}

static uint8_t no_frame(struct pg_link *l)
{
	uint8_t n = l->n;
	if (!pg_link_textual(l->buf[0]))
		return drop(l);
	l->mode = PG_LINK_IN_TEXT;
	l->n = 0;
	return text(l, n);
}

static uint8_t frame(struct pg_link *l)
{
	const uint8_t *b = l->buf;
	if (!pg_link_whole(l))
		return PG_LINK_NOTHING;
	l->kind = b[0];
	l->seq = b[1];
	l->body = b + 2;
	l->bodies = (uint8_t)(l->out - 4);
	l->sum = l->crc;
	return PG_LINK_FRAME;
}

static uint8_t close(struct pg_link *l)
{
	uint8_t mode = l->mode, n = l->n, got = frame(l);
	l->mode = PG_LINK_IN_FRAME;
	l->n = 0;
	if (mode != PG_LINK_IN_FRAME || n == 0)
		return PG_LINK_NOTHING;
	if (n == 1 && pg_link_textual(l->buf[0]))
		return text(l, 1);
	if (got == PG_LINK_FRAME)
		return got;
	if (l->lost != 0xffff)
		l->lost++;
	return PG_LINK_NOTHING;
}

uint8_t pg_link_take(struct pg_link *l, uint8_t byte, uint32_t now)
{
	if (l->mode == PG_LINK_IN_TEXT && byte != 0) {
		l->buf[0] = byte;
		return text(l, 1);
	}
	l->last = now;
	if (byte == 0)
		return close(l);
	if (l->mode == PG_LINK_IN_REST || pg_link_inside(l, byte))
		return PG_LINK_NOTHING;
	if (l->n == sizeof l->buf)
		return drop(l);
	l->buf[1] = byte;
	l->n = 2;
	return no_frame(l);
}

/* The ring's oldest bytes are free as soon as so many were taken. */
#define PIECE 64

uint8_t pg_link_take_from(struct pg_link *l, const volatile uint8_t *ring, uint8_t in, volatile uint8_t *out, uint32_t now)
{
	uint8_t at = *out, got = PG_LINK_NOTHING;
	while (at != in && got == PG_LINK_NOTHING) {
		uint8_t n = (uint8_t)((in > at ? in : 0) - at); /* in a row */
		n = pg_link_some(l, (const uint8_t *)ring + at, n < PIECE ? n : PIECE, now);
		if (n > 0) {
			*out = at += n;
			continue;
		}
		n = ring[at];
		*out = ++at;
		got = pg_link_take(l, n, now);
	}
	return got;
}

/* Copies at most n bytes, at least one, up to a zero, to where two stand before already;
 * the CRC follows two bytes behind. Gives how many are left. */
static uint8_t run(uint8_t *to, const uint8_t *b, uint8_t n, uint16_t *sum)
{
	uint16_t crc = *sum;
	to -= 2;
#ifdef __AVR__
	/* 31 cycles a byte, which is all of what a frame's byte costs after the receiver.
	 * The CRC as in link_byte.h; its bytes change places in the end. */
	uint8_t byte, x;
	__asm__ volatile("1:\tld %[byte], %a[b]+\n\t"
			 "tst %[byte]\n\t"
			 "breq 2f\n\t"
			 "ld __tmp_reg__, %a[to]+\n\t"
			 "std %a[to]+1, %[byte]\n\t"
			 "eor %B[crc], __tmp_reg__\n\t"
			 "mov %[x], %B[crc]\n\t"
			 "swap %[x]\n\t"
			 "andi %[x], 0x0f\n\t"
			 "eor %B[crc], %[x]\n\t"
			 "mov %[x], %B[crc]\n\t"
			 "swap %[x]\n\t"
			 "andi %[x], 0xf0\n\t"
			 "eor %A[crc], %[x]\n\t"
			 "mov %[x], %B[crc]\n\t"
			 "swap %[x]\n\t"
			 "lsl %[x]\n\t"
			 "adc %[x], __zero_reg__\n\t"
			 "mov __tmp_reg__, %[x]\n\t"
			 "andi %[x], 0x1f\n\t"
			 "eor %A[crc], %[x]\n\t"
			 "eor __tmp_reg__, %[x]\n\t"
			 "eor __tmp_reg__, %B[crc]\n\t"
			 "mov %B[crc], %A[crc]\n\t"
			 "mov %A[crc], __tmp_reg__\n\t"
			 "dec %[n]\n\t"
			 "brne 1b\n"
			 "2:"
			 : [b] "+x"(b), [to] "+z"(to), [n] "+r"(n), [crc] "+r"(crc), [byte] "=&r"(byte), [x] "=&d"(x)
			 :: "memory");
#else
	for (; n > 0 && *b != 0; n--) {
		to[2] = *b++;
		crc = pg_link_crc(crc, *to++);
	}
#endif
	*sum = crc;
	return n;
}

uint8_t pg_link_some(struct pg_link *l, const uint8_t *b, uint8_t n, uint32_t now)
{
	uint8_t k = n, some;
	if (l->mode != PG_LINK_IN_FRAME || l->n < 2 || l->out < 2)
		return 0;
	if (k > sizeof l->buf - l->n)
		k = (uint8_t)(sizeof l->buf - l->n);
	for (n = k; k > 0 && *b != 0;) {
		if (l->left == 0) { /* a code */
			pg_link_put(l, *b++);
			k--;
			continue;
		}
		some = k < l->left ? k : l->left;
		some -= run(l->buf + l->out, b, some, &l->crc);
		b += some;
		l->n += some;
		l->out += some;
		l->left -= some;
		k -= some;
	}
	n -= k;
	if (n > 0)
		l->last = now;
	return n;
}

uint8_t pg_link_tick(struct pg_link *l, uint32_t now, uint32_t limit)
{
	if (l->open == 2) { /* bytes came meanwhile, nobody knows when */
		l->open = 1;
		l->last = now;
	}
	if (l->mode == PG_LINK_IN_TEXT || (uint32_t)(now - l->last) < limit)
		return PG_LINK_NOTHING;
	if (l->mode == PG_LINK_IN_REST) {
		l->mode = PG_LINK_IN_FRAME;
		l->n = 0;
		return PG_LINK_NOTHING;
	}
	if (l->n == 1)
		return no_frame(l);
	if (l->n > 1) {
		l->last = now;
		return drop(l);
	}
	return PG_LINK_NOTHING;
}

/* A message with its CRC is one block of at most 254 bytes, so that stuffing
 * replaces zeros and moves nothing. */
uint16_t pg_link_pack(uint8_t *out, uint8_t kind, uint8_t seq, uint8_t n)
{
	uint16_t crc = 0xffff;
	uint16_t end = (uint16_t)n + 4, i, code = 1;

	out[2] = kind;
	out[3] = seq;
	for (i = 2; i < end; i++)
		crc = pg_link_crc(crc, out[i]);
	out[end++] = (uint8_t)crc;
	out[end++] = (uint8_t)(crc >> 8);
	for (i = 2; i < end; i++)
		if (out[i] == 0) {
			out[code] = (uint8_t)(i - code);
			code = i;
		}
	out[code] = (uint8_t)(end - code);
	out[0] = 0;
	out[end++] = 0;
	return end;
}
