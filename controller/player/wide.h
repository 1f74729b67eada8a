/* The few products and quotients that do not fit 32 bits. The compiler's own take
 * some 700 bytes on an 8-bit controller; AVR has these in assembly (pg_wide.S).
 */
#ifndef PG_WIDE_H
#define PG_WIDE_H

#include <stdint.h>

#ifdef __AVR__
/* sum + a * b, with a below 2^24 and all of it below 2^56. */
void pg_add_product(uint64_t *sum, uint32_t a, uint32_t b);
/* n / (high * 2^32 + low), rounded down; the largest number where it is above, and
 * for a divisor of 0. n is below 2^56. */
uint32_t pg_divide(const uint64_t *n, uint32_t low, uint8_t high);
/* n / 2^32, n being below 2^40: a byte of it, where a shift would be a call. */
static inline uint8_t pg_above_32(const uint64_t *n)
{
	return ((const uint8_t *)n)[4];
}
#else
static inline uint8_t pg_above_32(const uint64_t *n)
{
	return (uint8_t)(*n >> 32);
}

static inline void pg_add_product(uint64_t *sum, uint32_t a, uint32_t b)
{
	*sum += (uint64_t)a * b;
}

static inline uint32_t pg_divide(const uint64_t *n, uint32_t low, uint8_t high)
{
	uint64_t d = (uint64_t)high << 32 | low;
	uint64_t q = d > 0 ? *n / d : UINT64_MAX;
	return q > UINT32_MAX ? UINT32_MAX : (uint32_t)q;
}
#endif

#endif
