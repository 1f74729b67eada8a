/* The line to the computer: frames taken apart and put together, text beside
 * them left alone. Format and rules: docs/link.md; the Go side is package
 * controller/link, which the tests hold against this one byte for byte.
 *
 * The caller owns everything: one struct pg_link (282 bytes) to receive with,
 * and a buffer of PG_LINK_WIRE bytes for every frame that it sends. Nothing here
 * waits; every call handles one byte or one frame of at most 257.
 */
#ifndef PG_LINK_H
#define PG_LINK_H

#include <stdint.h>

#define PG_LINK_BODY 250 /* most bytes of a message */
#define PG_LINK_WIRE 257 /* most bytes of a frame on the line, both zeros included */

/* Kinds of message, docs/link.md section 3. All are control characters. */
enum {
	PG_HELLO = 0x01, PG_STATE = 0x02, PG_VALUE = 0x03, PG_LEVEL = 0x04, PG_CLOCK = 0x05,
	PG_LOAD = 0x06, PG_LOADS = 0x07, PG_ALIVE = 0x08, PG_COUNTERS = 0x0b, PG_PASS = 0x0c,
	PG_GRANTED = 0x0e, PG_SERVICE = 0x0f, PG_BEGIN = 0x10, PG_BLOCK = 0x11, PG_COPY = 0x12, PG_VERIFY = 0x13,
	PG_SWITCH = 0x14, PG_READ = 0x15, PG_PROBE = 0x16, PG_LOG = 0x17, PG_STREAM = 0x18, PG_WANT = 0x19,
	PG_OPEN = 0x1a, PG_CLOSE = 0x1b, PG_DEAD_PIXEL = 0x1c
};

/* What pg_link_take has found. */
enum {
	PG_LINK_NOTHING, /* go on */
	PG_LINK_TEXT,    /* l->text[0 .. l->texts) belong to the machine's own protocol */
	PG_LINK_FRAME    /* l->kind, l->seq, l->body[0 .. l->bodies): valid until the next call */
};

struct pg_ahead;

struct pg_link {
	/* What link_byte.h works on, and with it the boot section of the AVR port, which is
	 * written once: this order stays. */
	uint8_t mode;
	uint8_t n;      /* bytes since the zero, at most those of buf */
	uint8_t out;    /* bytes of the frame without stuffing, at the beginning of buf; from n = 2 on */
	uint8_t code;   /* the stuffing's last code */
	uint8_t left;   /* bytes up to the next code */
	uint8_t open;   /* 1: who runs while the processor is kept from this may put bytes here; 2: and did */
	uint16_t crc;   /* over all of out but the last two */
	struct pg_ahead *ahead; /* who does that may take blocks of a table too (ahead.h); 0: it may not */
	uint8_t buf[PG_LINK_WIRE - 2];

	uint8_t kind, seq, bodies, texts;
	uint16_t sum;   /* CRC of the frame: kind, seq and body */
	const uint8_t *body;
	const uint8_t *text;
	uint32_t last;  /* microseconds, of the byte before; outside text only */
	uint16_t lost;  /* what was neither a frame nor text */
};

void pg_link_start(struct pg_link *l);

/* Takes one byte that came at a time in microseconds. */
uint8_t pg_link_take(struct pg_link *l, uint8_t byte, uint32_t now);

/* The same for all bytes that wait in a receiver's ring of 256, from *out up to in,
 * until something was found; counts *out on. It takes a third as long. */
uint8_t pg_link_take_from(struct pg_link *l, const volatile uint8_t *ring, uint8_t in, volatile uint8_t *out, uint32_t now);

/* Takes those of n bytes that lie in the midst of a frame, up to its end or to what
 * only pg_link_take knows what to do with, and gives how many: the fast way for a
 * receiver that many have come to, 31 cycles each in long pieces, stuffing and CRC included. */
uint8_t pg_link_some(struct pg_link *l, const uint8_t *b, uint8_t n, uint32_t now);

/* To be called when the line is quiet: what has waited for limit microseconds
 * or longer is given back as text or dropped. A good limit is
 * pg_link_limit(baud): it is the longest that a byte of text ever waits. */
uint8_t pg_link_tick(struct pg_link *l, uint32_t now, uint32_t limit);

/* 257 bytes of 10 bits, and 20 ms for a computer that sends in two parts. */
#define pg_link_limit(baud) ((uint32_t)((uint32_t)PG_LINK_WIRE * 10u * 1000u / ((baud) / 1000u)) + 20000u)

/* Packs a message whose body of n <= PG_LINK_BODY bytes stands at out + 4, in
 * place, and gives the bytes of out (of PG_LINK_WIRE) that are to be sent. */
uint16_t pg_link_pack(uint8_t *out, uint8_t kind, uint8_t seq, uint8_t n);

/* CRC-16/IBM-3740 over one more byte, beginning with 0xffff. Also the check of
 * records in storage. */
uint16_t pg_crc16(uint16_t crc, uint8_t byte);

#endif
