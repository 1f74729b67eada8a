#include "table.h"

#include <stddef.h>

#if defined(__BYTE_ORDER__) && __BYTE_ORDER__ != __ORDER_LITTLE_ENDIAN__
#error "records are copied as they stand in the table, their low bytes first"
#endif

#define MOST_HEADER 65536ul

/* The header's first bytes, as they stand. */
struct head {
	uint32_t magic;
	uint8_t version, reserved;
	uint16_t fps;
	uint32_t header, table, notes, panel;
	uint16_t channels, pixels, work, missing;
};

/* The structs that records are read into have no holes. */
typedef char records_are_whole[sizeof(struct head) == 32 && sizeof(struct pg_now) == PG_TABLE_STATE && sizeof(struct pg_clip) == 16 ? 1 : -1];

void pg_read(const struct pg_player *p, void *to, uint16_t from, uint8_t n)
{
	struct pg_cursor c;
	uint8_t *b = (uint8_t *)to;
	pg_seek(&c, p->base + from);
	do
		*b++ = pg_next(&c);
	while (--n > 0);
}

uint8_t pg_table_open(struct pg_player *p)
{
	struct head h;
	h.magic = 0;
	if (p->base != PG_NO_TABLE)
		pg_read(p, &h, 0, 12);
	if (h.magic != PG_TABLE_MAGIC) {
		p->trouble = PG_TABLE_NONE;
		return 0;
	}
	if (h.version != PG_TABLE_FORMAT) {
		p->trouble = PG_TABLE_VERSION;
		p->detail = h.version;
		return 0;
	}
	if (h.header < PG_TABLE_FIXED + PG_TABLE_SUPPLY + 4 || h.header > MOST_HEADER) {
		p->trouble = PG_TABLE_DAMAGED;
		return 0;
	}
	pg_crc_start(&p->sum, p->base, h.header - 4);
	return 1;
}

/* Where the records begin; gives where they end. */
static uint16_t place(struct pg_player *p)
{
	/* Loads stand right after the supplies. */
	p->states_at = PG_TABLE_FIXED + p->supplies * PG_TABLE_SUPPLY + p->load_count * PG_TABLE_LOAD;
	p->budgets_at = p->states_at + p->states * PG_TABLE_STATE;
	p->levels_at = p->budgets_at + (uint16_t)((uint16_t)p->states * p->supplies) * PG_TABLE_BUDGET;
	p->clips_at = p->levels_at + p->levels * PG_TABLE_LEVEL;
	return p->clips_at + p->clips * PG_TABLE_CLIP;
}

/* References, once: later reads trust them. 0, or why the table does not play. */
static uint8_t refer(struct pg_player *p, const struct head *h)
{
	uint8_t i;
	for (i = 0; i < p->states; i++) {
		const struct pg_now *s = &p->now;
		pg_table_state(p, i);
		if (s->clip >= p->clips || (s->at_most > 0 && s->then >= p->states) || s->hand_over > PG_FINISH)
			return PG_TABLE_DAMAGED;
		if (!PG_WITH_FADES && s->hand_over == PG_CROSSFADE)
			return PG_TABLE_LARGE;
	}
	for (i = 0; i < p->clips; i++) {
		const struct pg_clip *k = &p->on;
		uint32_t room = h->notes - 4, at; /* they end where the notes begin */
		pg_table_clip(p, i, &p->on);
		at = k->offset - p->base;
		if (k->frames == 0 || k->work > PG_WORK || at < h->header || at > room || k->length > room - at)
			return PG_TABLE_DAMAGED;
		if ((k->flags & PG_NOT_BUILT) || (!PG_WITH_PLAIN && k->kind < PG_CODED))
			return PG_TABLE_LARGE;
	}
#if PG_MOST_LOADS > 0
	for (i = 0; i < p->load_count; i++) {
		uint8_t supply;
		pg_read(p, &supply, PG_TABLE_FIXED + 8 + p->supplies * PG_TABLE_SUPPLY + i * PG_TABLE_LOAD, 1);
		if (supply >= p->supplies)
			return PG_TABLE_DAMAGED;
	}
#endif
	return PG_TABLE_FINE;
}

/* The header's CRC has been found right: what follows was written by a program
 * that checked it, and is checked again where the player's memory depends on it. */
void pg_table_keep(struct pg_player *p)
{
	struct head h;
	uint8_t i;

	pg_read(p, &h, 0, sizeof h);
	pg_read(p, (uint8_t *)p + offsetof(struct pg_player, silence), sizeof h, 10); /* silence to clips */
	if (h.panel != PG_PANEL || h.channels != PG_CHANNELS || h.pixels != PG_PIXELS) {
		p->trouble = PG_TABLE_PANEL;
		return;
	}
	if (p->supply_count > PG_SUPPLIES || h.work > PG_WORK || (PG_MOST_LOADS < 16 && p->load_count > PG_MOST_LOADS && p->load_count <= 16) ||
	    (!PG_WITH_TIMETABLE && p->levels > 0)) {
		p->trouble = PG_TABLE_LARGE;
		return;
	}
	p->trouble = PG_TABLE_DAMAGED;
	p->supplies = p->supply_count;
	if (h.fps == 0 || p->supplies == 0 || p->states == 0 || p->states > 64 || p->clips == 0 || p->clips > 64 || p->load_count > 16 ||
	    (p->then >= p->states && p->silence > 0) || place(p) + 4ul > h.header || h.notes < h.header + 4)
		return;
	p->loads = p->load_count == 0 ? 0 : (uint16_t)0xffffu >> (16 - p->load_count);
	for (i = 0; i < pg_supplies(p); i++) {
		struct pg_rail *r = &p->rails[i];
		pg_read(p, r, PG_TABLE_FIXED + i * PG_TABLE_SUPPLY, PG_TABLE_SUPPLY);
		if (!PG_WITH_SLEW && r->slew > 0) {
			p->trouble = PG_TABLE_LARGE;
			return;
		}
	}
	p->trouble = refer(p, &h);
	if (p->trouble == PG_TABLE_FINE)
		p->rate = p->fps = h.fps;
}

void pg_table_state(struct pg_player *p, uint8_t state)
{
	p->state = state;
	pg_read(p, &p->now, p->states_at + state * PG_TABLE_STATE, PG_TABLE_STATE);
}

void pg_table_clip(const struct pg_player *p, uint8_t clip, struct pg_clip *out)
{
	pg_read(p, out, p->clips_at + clip * PG_TABLE_CLIP, sizeof *out);
	out->offset += p->base;
}
