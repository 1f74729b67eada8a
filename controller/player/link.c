/* Frames on the line. See link.h. */
#include "link.h"

#ifdef __AVR__
#include <util/crc16.h>
#endif

enum { IN_TEXT, IN_FRAME, IN_REST };

void pg_link_start(struct pg_link *l)
{
	l->mode = IN_TEXT;
	l->n = 0;
	l->lost = 0;
	l->body = l->text = l->buf;
	l->bodies = l->texts = l->kind = l->seq = 0;
	l->last = 0;
	l->sum = 0;
}

/* Without a table: 256 words would be dearer than the cycles. The polynomial is
 * 0x1021; four bits at a time it falls apart into shifts. */
static inline uint16_t crc16(uint16_t crc, uint8_t byte)
{
#ifdef __AVR__
	return _crc_xmodem_update(crc, byte); /* the same polynomial, by hand: 25 cycles */
#else
	uint8_t x = (uint8_t)(crc >> 8) ^ byte;
	x ^= x >> 4;
	return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)x << 12) ^ (uint16_t)((uint16_t)x << 5) ^ x);
#endif
}

uint16_t pg_crc16(uint16_t crc, uint8_t byte)
{
	return crc16(crc, byte);
}

static uint8_t textual(uint8_t c)
{
	return (c >= 0x20 && c != 0x7f) || c == '\t' || c == '\n' || c == '\r';
}

static uint8_t drop(struct pg_link *l)
{
	if (l->lost != 0xffff)
		l->lost++;
	l->mode = IN_REST;
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
	if (!textual(l->buf[0]))
		return drop(l);
	l->mode = IN_TEXT;
	l->n = 0;
	return text(l, n);
}

/* Takes the stuffing out in place: what is written never overtakes what is read. */
static uint8_t frame(struct pg_link *l, uint8_t n)
{
	uint8_t *b = l->buf;
	uint8_t in = 0, out = 0;
	uint16_t crc = 0xffff;
	uint8_t k;

	while (in < n) {
		uint8_t code = b[in++];
		/* code is not 0: zeros never get into the buffer */
		if ((uint16_t)in + code - 1 > n)
			return PG_LINK_NOTHING;
		for (k = 1; k < code; k++)
			b[out++] = b[in++];
		if (code != 0xff && in < n)
			b[out++] = 0;
	}
	if (out < 4)
		return PG_LINK_NOTHING;
	out -= 2;
	for (k = 0; k < out; k++)
		crc = crc16(crc, b[k]);
	if (b[out] != (uint8_t)crc || b[out + 1] != (uint8_t)(crc >> 8))
		return PG_LINK_NOTHING;
	l->kind = b[0];
	l->seq = b[1];
	l->body = b + 2;
	l->bodies = out - 2;
	l->sum = crc;
	return PG_LINK_FRAME;
}

static uint8_t close(struct pg_link *l)
{
	uint8_t mode = l->mode, n = l->n;
	l->mode = IN_FRAME;
	l->n = 0;
	if (mode != IN_FRAME || n == 0)
		return PG_LINK_NOTHING;
	if (n == 1 && textual(l->buf[0]))
		return text(l, 1);
	if (frame(l, n) == PG_LINK_FRAME)
		return PG_LINK_FRAME;
	if (l->lost != 0xffff)
		l->lost++;
	return PG_LINK_NOTHING;
}

uint8_t pg_link_take(struct pg_link *l, uint8_t byte, uint32_t now)
{
	if (l->mode == IN_TEXT && byte != 0) {
		l->buf[0] = byte;
		return text(l, 1);
	}
	l->last = now;
	if (byte == 0)
		return close(l);
	if (l->mode == IN_REST)
		return PG_LINK_NOTHING;
	if (l->n == sizeof l->buf)
		return drop(l);
	l->buf[l->n++] = byte;
	if (l->n == 2 && textual(byte))
		return no_frame(l);
	return PG_LINK_NOTHING;
}

uint8_t pg_link_take_from(struct pg_link *l, const volatile uint8_t *ring, uint8_t in, volatile uint8_t *out, uint32_t now)
{
	uint8_t at = *out, got = PG_LINK_NOTHING;
	while (at != in && got == PG_LINK_NOTHING) {
		uint8_t n = l->n, byte;
		if (l->mode == IN_FRAME && n >= 2) { /* in the midst of one bytes are only put down */
			while (at != in && n < sizeof l->buf && (byte = ring[at]) != 0) {
				l->buf[n++] = byte;
				*out = ++at;
			}
			l->n = n;
			l->last = now;
			if (at == in)
				break;
		}
		byte = ring[at];
		*out = ++at;
		got = pg_link_take(l, byte, now);
	}
	return got;
}

/* As in pg_link_take_from, but of bytes that stand in a row. One loop for both made
 * an upload at 500,000 baud slower by 5 % (BenchmarkUpload of controller/sim). */
uint8_t pg_link_some(struct pg_link *l, const uint8_t *b, uint8_t n, uint32_t now)
{
	uint8_t *to = l->buf + l->n, k;
	if (l->mode != IN_FRAME || l->n < 2)
		return 0;
	if (n > sizeof l->buf - l->n)
		n = (uint8_t)(sizeof l->buf - l->n);
	for (k = n; k > 0 && *b != 0; k--)
		*to++ = *b++;
	n -= k;
	l->n += n;
	if (n > 0)
		l->last = now;
	return n;
}

uint8_t pg_link_tick(struct pg_link *l, uint32_t now, uint32_t limit)
{
	if (l->mode == IN_TEXT || (uint32_t)(now - l->last) < limit)
		return PG_LINK_NOTHING;
	if (l->mode == IN_REST) {
		l->mode = IN_FRAME;
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
		crc = crc16(crc, out[i]);
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
