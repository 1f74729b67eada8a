/* One byte in the midst of a frame: the stuffing taken out and the CRC worked out as
 * it comes, so that nothing is left to be done over the frame when it ends. For
 * link.c, and for who runs while that cannot (the boot section of the AVR port).
 */
#ifndef PG_LINK_BYTE_H
#define PG_LINK_BYTE_H

#include "link.h"

enum { PG_LINK_IN_TEXT, PG_LINK_IN_FRAME, PG_LINK_IN_REST }; /* modes */

/* CRC-16/IBM-3740 without a table: 256 words would be dearer than the cycles. The
 * polynomial is 0x1021; four bits at a time it falls apart into shifts. */
static inline __attribute__((always_inline)) uint16_t pg_link_crc(uint16_t crc, uint8_t byte)
{
#ifdef __AVR__
	/* By hand, 18 cycles: x = high ^ byte, x ^= x >> 4, and the three shifts of x in
	 * place. */
	uint8_t x, low = (uint8_t)crc, high = (uint8_t)(crc >> 8);
	__asm__("eor %[high], %[byte]\n\t"
		"mov %[x], %[high]\n\t"
		"swap %[x]\n\t"
		"andi %[x], 0x0f\n\t"
		"eor %[high], %[x]\n\t" /* x */
		"mov %[x], %[high]\n\t"
		"swap %[x]\n\t"
		"andi %[x], 0xf0\n\t"   /* x << 12, its high byte */
		"eor %[low], %[x]\n\t"
		"mov %[x], %[high]\n\t"
		"swap %[x]\n\t"
		"lsl %[x]\n\t"
		"adc %[x], __zero_reg__\n\t" /* x turned by five: both bytes of x << 5 */
		"mov __tmp_reg__, %[x]\n\t"
		"andi %[x], 0x1f\n\t"
		"eor %[low], %[x]\n\t"
		"eor __tmp_reg__, %[x]\n\t"
		"eor %[high], __tmp_reg__"
		: [x] "=&d"(x), [low] "+r"(low), [high] "+r"(high)
		: [byte] "r"(byte));
	return (uint16_t)(low << 8 | high);
#else
	uint8_t x = (uint8_t)(crc >> 8) ^ byte;
	x ^= x >> 4;
	return (uint16_t)((uint16_t)(crc << 8) ^ (uint16_t)((uint16_t)x << 12) ^ (uint16_t)((uint16_t)x << 5) ^ x);
#endif
}

static inline uint8_t pg_link_textual(uint8_t c)
{
	return (c >= 0x20 && c != 0x7f) || c == '\t' || c == '\n' || c == '\r';
}

/* A byte, not 0, after the code that began the frame. */
static inline void pg_link_put(struct pg_link *l, uint8_t byte)
{
	uint8_t whole;
	l->n++;
	if (l->left == 0) {
		whole = l->code == 0xff;
		l->code = byte;
		l->left = (uint8_t)(byte - 1);
		if (whole)
			return;
		byte = 0;
	} else {
		l->left--;
	}
	l->buf[l->out] = byte;
	if (l->out >= 2)
		l->crc = pg_link_crc(l->crc, l->buf[l->out - 2]);
	l->out++;
}

/* Takes a byte that belongs to a frame and does not end it: 1; 0 when only
 * pg_link_take knows what it is. */
static inline uint8_t pg_link_inside(struct pg_link *l, uint8_t byte)
{
	if (l->mode != PG_LINK_IN_FRAME || l->n == sizeof l->buf)
		return 0;
	if (byte == 0)
		return l->n == 0; /* two frames need not share one */
	if (l->n == 0) {
		l->buf[0] = byte;
		l->n = 1;
		return 1;
	}
	if (l->n == 1) {
		if (pg_link_textual(byte))
			return 0;
		l->code = l->buf[0];
		l->left = (uint8_t)(l->code - 1);
		l->out = 0;
		l->crc = 0xffff;
	}
	pg_link_put(l, byte);
	return 1;
}

/* What has come is a frame when the stuffing ends with it and the CRC is right. */
static inline uint8_t pg_link_whole(const struct pg_link *l)
{
	const uint8_t *end = l->buf + l->out;
	return l->n > 1 && l->left == 0 && l->out >= 4 && end[-2] == (uint8_t)l->crc && end[-1] == (uint8_t)(l->crc >> 8);
}

#endif
