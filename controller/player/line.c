/* The conversation: which table plays, what comes, and a step of everything. See
 * line.h. */
#include "line_parts.h"

#include "table.h"

void pg_line_start(struct pg_line *l, struct pg_player *p, const struct pg_identity *me, uint32_t built_in, uint32_t baud, uint32_t now)
{
	uint8_t *b = (uint8_t *)l;
	uint16_t i;
	for (i = 0; i < sizeof *l; i++)
		b[i] = 0;
	pg_link_start(&l->in);
	pg_slots_begin(&l->slots);
	pg_upload_start(&l->upload, &l->slots, PG_PANEL);
#if PG_STORE_STOPS
	l->in.ahead = &l->upload.ahead;
#endif
	l->player = p;
	l->me = me;
	l->built_in = built_in;
	l->limit = pg_link_limit(baud);
	l->counted = now;
	l->told.day = PG_NONE;
	l->told.told = PG_FULL;
	for (i = 0; i <= PG_GAPS; i++)
		l->told.gaps[i] = PG_GAP_END;
}

/* ---- which table plays */

/* What the player was told and would forget when it begins anew. */
static void remember(struct pg_line *l)
{
	const struct pg_player *p = l->player;
	struct pg_told *t = &l->told;
	uint16_t i;
	if (p->rate == 0)
		return; /* it has not played: what was kept before still holds */
	t->known = p->facts.known;
	t->running = p->facts.running | p->facts.starting;
	t->told = p->told;
	t->day = p->day;
	t->second = p->second;
	t->value = p->value_told;
	t->service = p->service_told;
	t->state = p->state;
	for (i = 0; i <= PG_GAPS; i++)
		t->gaps[i] = p->gaps[i];
}

static void tell_again(struct pg_line *l, uint32_t now)
{
	struct pg_player *p = l->player;
	const struct pg_told *t = &l->told;
	uint8_t i;
	p->facts.known = t->known & p->loads;
	p->facts.running = t->running & p->loads;
	p->told = t->told;
	if (t->day != PG_NONE)
		pg_clock(p, t->day, t->second);
	pg_value(p, t->value);
	pg_service(p, t->service);
	pg_state(p, t->state, now); /* a state that this table does not have is not wished */
	for (i = 0; i < PG_GAPS && t->gaps[i] != PG_GAP_END; i++)
		pg_dead(p, t->gaps[i], 1);
}

static void begin(struct pg_line *l, uint32_t base, uint32_t now)
{
	remember(l);
	pg_start(l->player, base, PG_LINE_REFRESHES, 0, now | 1);
	pg_log_begin(&l->log, l->player, l->number);
	l->asked = l->granted = 0;
	l->silent = 0;
	l->step = HEADER;
}

/* The table of the record in force, or the one that the firmware was built with. */
static void choose(struct pg_line *l, uint32_t now)
{
	l->number = l->slots.number;
	if (l->number != 0)
		begin(l, PG_STORE_AT + PG_SLOT_AT(l->slots.slot), now);
	else
		begin(l, l->built_in, now);
}

static uint8_t open(const struct pg_line *l);

#if PG_STREAMS
/* A stream's credit, as soon as there is room to say it. */
static void want(struct pg_line *l, uint32_t now)
{
	uint8_t b[PG_STREAM_WANT];
	if (!l->events && pg_stream_want(l->player, now, b))
		pg_line_event(l, PG_WANT, b, sizeof b);
}
#endif

/* While a table comes in the strips keep what they show: the memory cannot be
 * read while it is written, and the line's bytes must find a place. A load that
 * asks meanwhile stops the writing, and then the player runs to grant it. */
static uint8_t holds(const struct pg_line *l)
{
	if (PG_STORE_ALONE && pg_store_busy())
		return 1; /* the black box writes before the header is read, too */
	if (l->step != RUN)
		return 0;
	return l->upload.length != 0 && l->millis - l->fed < PG_LINE_HOLD && pg_safe_to_write();
}

/* The table that comes in, one step. Blocks that were taken and answered while the
 * processor stood still are as if they had been asked here. */
static uint8_t upload(struct pg_line *l, uint32_t now)
{
#if PG_STORE_STOPS
	struct pg_upload *u = &l->upload;
	uint8_t status, i;
	if (!pg_upload_writes(u) || l->held || l->events)
		return pg_upload_run(u);
	pg_upload_open(u);
	status = pg_upload_run(u);
	if (pg_upload_close(u)) {
		pg_host(l->player, now);
		pg_log_upload(&l->log, now);
		l->fed = l->millis;
		l->kind = PG_BLOCK;
		l->seq = u->ahead.seq;
		l->sum = u->ahead.sum;
		l->answered = 1;
		for (i = 0; i < PG_AHEAD_ANSWER; i++) /* to be sent again, should it be lost */
			l->out[i] = u->ahead.answer[i];
		l->outs = PG_AHEAD_ANSWER;
		l->at = u->ahead.owed ? 0 : PG_AHEAD_ANSWER;
	}
	return status;
#else
	(void)now;
	return pg_upload_run(&l->upload);
#endif
}

uint8_t pg_line_run(struct pg_line *l, uint32_t now)
{
	const struct pg_player *p = l->player;
	uint8_t status, holding;
	while ((int32_t)(now - l->counted) >= 1000) { /* a few times: this runs in every pass; a clock may be read late */
		uint8_t n = now - l->counted >= 8000u ? 8 : 1;
		l->counted += n * 1000u;
		l->millis += n;
	}
	switch (l->step) {
	case SEARCH:
		if (pg_store_busy()) /* with what it did when the controller was reset */
			return 0;
		if (pg_slots_search(&l->slots) == PG_SLOTS_DONE)
			l->step = LOG;
		return 0;
	case LOG:
		if (pg_log_search(&l->log, l->me->reset))
			l->step = BEGIN;
		return 0;
	case BEGIN:
		choose(l, now);
		return 1;
	case HEADER:
		if (p->trouble != PG_TABLE_FINE) {
			/* What stands in a slot was right when it was switched to. */
			if (l->number != 0 && p->base != l->built_in && l->built_in != PG_NO_TABLE)
				begin(l, l->built_in, now);
			else
				l->step = RUN;
		} else if (p->rate != 0) {
			tell_again(l, now);
			l->step = RUN;
		}
		break;
	default:
#if PG_STREAMS
		want(l, now);
#endif
		if (p->silent && !l->silent && l->silences != 0xffff)
			l->silences++;
		l->silent = p->silent;
		if (l->asked & p->granted) {
			uint16_t now_granted = l->asked & p->granted;
			l->player->granted &= (uint16_t)~now_granted;
			l->asked &= (uint16_t)~now_granted;
			l->granted |= now_granted;
			l->tell = 1;
		}
	}
	l->in.open = open(l);
	/* While the strips hold nothing happens that the black box would tell. */
	holding = holds(l);
	if (!holding)
		pg_log_run(&l->log, p, now, l->upload.doing == 0 && !pg_upload_behind(&l->upload) && (!PG_STORE_STOPS || pg_safe_to_write()));
	if (!holding && pg_log_wants(&l->log, now)) {
		uint32_t counts[PG_COUNTS];
		pg_line_count(l, counts);
		pg_log_counts(&l->log, p, now, counts[PG_COUNT_BAD_FRAMES], counts[PG_COUNT_AGAIN], counts[PG_COUNT_HELD], counts[PG_COUNT_SILENCES]);
	}
	if (l->held && l->at >= l->outs) {
		l->held = 0;
		pg_line_question(l, now);
	}
	l->in.open = open(l);
	/* An answer goes out, and the room it speaks of is made, before the processor may
	 * stand still for a page. */
	status = l->at < l->outs ? PG_LATER : upload(l, now);
	if (status != PG_LATER) {
		pg_line_answer(l, status, l->upload.reply, l->upload.replies);
		if (l->slots.number != l->number)
			choose(l, now);
	}
	return !holding && !holds(l); /* a page may have been begun, the black box's too */
}

uint8_t pg_line_idle(const struct pg_line *l)
{
	const struct pg_player *p = l->player;
	if (p->trouble != PG_TABLE_FINE || p->rate == 0)
		return 1; /* no load is granted without a table, and the machine knows what runs */
	return p->facts.known == p->loads && (p->facts.running | p->facts.starting | p->facts.pending) == 0;
}
/* Nothing is being worked on for which the bytes of a question must stay. Before the
 * search has ended nobody can say which table is here. */
static uint8_t open(const struct pg_line *l)
{
	return l->step > BEGIN && l->upload.doing == 0 && !l->held;
}

uint8_t pg_line_ready(const struct pg_line *l)
{
	/* A block's bytes stay in the receiver's buffer until they are taken, and so
	 * does a question until the answer before it is sent. Where a page stops the
	 * processor it goes first: the bytes are taken apart while it is written. */
	return open(l) && !(PG_STORE_STOPS && pg_upload_writes(&l->upload));
}

/* What the receiver has found with a byte. */
static uint8_t found(struct pg_line *l, uint8_t got, uint8_t byte, uint32_t now)
{
	if (got != PG_LINK_FRAME) {
		if (got == PG_LINK_TEXT && (byte == 0 || l->in.texts > 1))
			l->returned += l->in.texts;
		return got;
	}
	pg_host(l->player, now);
	if (l->in.kind == PG_PASS)
		return PG_LINE_PASS;
#if PG_STREAMS
	if (l->in.kind == PG_STREAM) {
		pg_stream_block(l->player, l->in.body, l->in.bodies, now);
		return PG_LINK_NOTHING;
	}
#endif
	if (l->at < l->outs)
		l->held = 1;
	else
		pg_line_question(l, now);
	return PG_LINK_NOTHING;
}

uint8_t pg_line_take(struct pg_line *l, uint8_t byte, uint32_t now)
{
	return found(l, pg_link_take(&l->in, byte, now), byte, now);
}

uint8_t pg_line_take_from(struct pg_line *l, const volatile uint8_t *ring, uint8_t in, volatile uint8_t *out, uint32_t now)
{
	uint8_t got = pg_link_take_from(&l->in, ring, in, out, now);
	return found(l, got, ring[(uint8_t)(*out - 1)], now);
}

uint8_t pg_line_quiet(struct pg_line *l, uint32_t now)
{
	uint8_t got = pg_link_tick(&l->in, now, l->limit);
	if (got == PG_LINK_TEXT)
		l->returned += l->in.texts;
	return got;
}
