/* Numbers in messages and in memory: low byte first. */
#ifndef PG_BYTES_H
#define PG_BYTES_H

#include <stdint.h>

static inline void pg_put16(uint8_t *b, uint16_t v)
{
	b[0] = (uint8_t)v;
	b[1] = (uint8_t)(v >> 8);
}

static inline void pg_put32(uint8_t *b, uint32_t v)
{
	pg_put16(b, (uint16_t)v);
	pg_put16(b + 2, (uint16_t)(v >> 16));
}

static inline uint16_t pg_get16(const uint8_t *b)
{
	return (uint16_t)(b[0] | (uint16_t)b[1] << 8);
}

static inline uint32_t pg_get32(const uint8_t *b)
{
	return (uint32_t)b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24;
}

#endif
