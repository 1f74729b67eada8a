/* The table that plays is read back as the player reads it, so that one which a
 * programmer or a boot loader put there can be compared too. See line.h. */
#include "line.h"

#include "bytes.h"
#include "table.h"

#define NOTES_AT 16 /* in the header: where what the player reads ends */

uint8_t pg_line_playing(const struct pg_player *p, const uint8_t *wanted, uint8_t *to)
{
	uint32_t offset = pg_get32(wanted), end;
	uint8_t n = wanted[4], b[4];
	struct pg_cursor c;
	if (PG_STORE_ALONE && pg_store_busy())
		return PG_BUSY;
	if (p->rate == 0)
		return PG_OUT_OF_RANGE; /* none plays */
	pg_read(p, b, NOTES_AT, sizeof b);
	end = pg_get32(b);
	if (n > PG_LINE_READ || offset > end || n > end - offset)
		return PG_OUT_OF_RANGE;
	pg_seek(&c, p->base + offset);
	while (n-- > 0)
		*to++ = pg_next(&c);
	return PG_OK;
}
