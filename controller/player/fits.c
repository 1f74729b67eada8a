/* Whether a table is one that this firmware plays, asked before it is switched to.
 * Its checksum was found right; who wrote it checked the rest, and the player
 * checks it again when it begins. What is looked at here is what differs from
 * firmware to firmware. See upload.h. */
#include "table.h"
#include "upload.h"

static uint8_t any_slew(uint32_t at, uint8_t supplies)
{
	struct pg_cursor c;
	for (; supplies > 0; supplies--, at += PG_TABLE_SUPPLY) {
		pg_seek(&c, PG_STORE_AT + at + 16);
		if (pg_take32(&c) > 0)
			return 1;
	}
	return 0;
}

static uint8_t any_crossfade(uint32_t at, uint8_t states)
{
	struct pg_cursor c;
	for (; states > 0; states--, at += PG_TABLE_STATE) {
		pg_seek(&c, PG_STORE_AT + at + 1);
		if (pg_take8(&c) == PG_CROSSFADE)
			return 1;
	}
	return 0;
}

uint8_t pg_table_fits(uint32_t at, uint32_t length)
{
	struct pg_cursor c;
	uint32_t header;
	uint16_t work;
	uint8_t supplies, loads, states, levels, clips;

	if (length < 72)
		return 0;
	pg_seek(&c, PG_STORE_AT + at);
	if (pg_take32(&c) != PG_TABLE_MAGIC || pg_take8(&c) != PG_TABLE_FORMAT)
		return 0;
	pg_take8(&c);
	pg_take16(&c);
	header = pg_take32(&c);
	if (header > length)
		return 0;
	pg_take32(&c);
	pg_take32(&c);
	if (pg_take32(&c) != PG_PANEL || pg_take16(&c) != PG_CHANNELS || pg_take16(&c) != PG_PIXELS)
		return 0;
	work = pg_take16(&c);
	pg_take16(&c);
	pg_take32(&c);
	pg_take8(&c);
	supplies = pg_take8(&c);
	loads = pg_take8(&c);
	states = pg_take8(&c);
	levels = pg_take8(&c);
	clips = pg_take8(&c);
	if (work > PG_WORK || supplies == 0 || supplies > PG_SUPPLIES || states == 0 || states > 64 || clips == 0 || clips > 64 || loads > PG_MOST_LOADS ||
	    (!PG_WITH_TIMETABLE && levels > 0))
		return 0;
	if (!PG_WITH_SLEW && any_slew(at + PG_TABLE_FIXED, supplies))
		return 0;
	at += PG_TABLE_FIXED + (uint16_t)supplies * PG_TABLE_SUPPLY + (uint16_t)loads * PG_TABLE_LOAD;
	if (!PG_WITH_FADES && any_crossfade(at, states))
		return 0;
	at += (uint16_t)states * PG_TABLE_STATE + (uint32_t)((uint16_t)states * supplies) * PG_TABLE_BUDGET + (uint16_t)levels * PG_TABLE_LEVEL;
	for (; clips > 0; clips--, at += PG_TABLE_CLIP) {
		pg_seek(&c, PG_STORE_AT + at);
		if (!pg_decode_knows(pg_take8(&c)) || (pg_take8(&c) & PG_NOT_BUILT))
			return 0;
	}
	return 1;
}
