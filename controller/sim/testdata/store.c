/* Reads FAR bytes from FROM on, across edges of 64 KiB, by the port's cursor,
 * and sums them up. */
#include "pg_port.h"

volatile uint32_t sum, step; /* looked at from outside */
struct pg_cursor at; /* in memory, where the compiler cannot keep it in registers */

static uint32_t crc(uint32_t c, uint8_t b)
{
	uint8_t i;
	c ^= b;
	for (i = 0; i < 8; i++)
		c = c & 1 ? c >> 1 ^ 0xedb88320ul : c >> 1;
	return c;
}

int main(void)
{
	uint32_t n;
	sum = 0xfffffffful;
	pg_seek(&at, FROM);
	for (n = 0; n < FAR; n++)
		sum = crc(sum, pg_next(&at));
	sum = ~sum;
	/* byte by byte, sought anew, around the edge */
	step = 0xfffffffful;
	for (n = 0x20000ul - 40; n < 0x20000ul + 40; n++) {
		pg_seek(&at, n);
		step = crc(step, pg_next(&at));
	}
	step = ~step;
	GPIOR0 = 255;
	for (;;)
		;
}
