/* The conversation. See line.h. */
#include "line.h"

#include "table.h"

enum { SEARCH, LOG, BEGIN, HEADER, RUN };

static void put16(uint8_t *b, uint16_t v)
{
	b[0] = (uint8_t)v;
	b[1] = (uint8_t)(v >> 8);
}

static void put32(uint8_t *b, uint32_t v)
{
	put16(b, (uint16_t)v);
	put16(b + 2, (uint16_t)(v >> 16));
}

static uint16_t get16(const uint8_t *b)
{
	return (uint16_t)(b[0] | (uint16_t)b[1] << 8);
}

void pg_line_start(struct pg_line *l, struct pg_player *p, const struct pg_identity *me, uint32_t built_in, uint32_t baud, uint32_t now)
{
	uint8_t *b = (uint8_t *)l;
	uint16_t i;
	for (i = 0; i < sizeof *l; i++)
		b[i] = 0;
	pg_link_start(&l->in);
	pg_slots_begin(&l->slots);
	pg_upload_start(&l->upload, &l->slots, PG_PANEL);
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

static void question(struct pg_line *l, uint32_t now);
static uint8_t open(const struct pg_line *l);

#if PG_STREAMS
static uint8_t event(struct pg_line *l, uint8_t kind, const uint8_t *b, uint8_t n);

/* A stream's credit, as soon as there is room to say it. */
static void want(struct pg_line *l, uint32_t now)
{
	uint8_t b[PG_STREAM_WANT];
	if (!l->events && pg_stream_want(l->player, now, b))
		event(l, PG_WANT, b, sizeof b);
}

static uint8_t open_stream(struct pg_line *l, const uint8_t *b, uint8_t n, uint8_t *reply)
{
	if (n != 1)
		return PG_MALFORMED;
	if (b[0] != PG_STREAM_CODING)
		return PG_OUT_OF_RANGE;
	if (l->step != RUN)
		return PG_BUSY;
	put16(reply, l->player->fps);
	put16(reply + 2, PG_STREAM_RING);
	reply[4] = PG_STREAM_BLOCK;
	switch (pg_stream_open(l->player)) {
	case 0:
		return PG_OK;
	case 1:
		return PG_REFUSED;
	default:
		return PG_BUSY;
	}
}
#endif

static void count(const struct pg_line *l, uint32_t counts[PG_COUNTS]);

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
		count(l, counts);
		pg_log_counts(&l->log, p, now, counts[PG_COUNT_BAD_FRAMES], counts[PG_COUNT_AGAIN], counts[PG_COUNT_HELD], counts[PG_COUNT_SILENCES]);
	}
	if (l->held && l->at >= l->outs) {
		l->held = 0;
		question(l, now);
	}
	l->in.open = open(l);
	/* An answer goes out, and the room it speaks of is made, before the processor may
	 * stand still for a page. */
	status = l->at < l->outs ? PG_LATER : pg_upload_run(&l->upload);
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

/* ---- what is said */

void pg_line_answer(struct pg_line *l, uint8_t status, const uint8_t *b, uint8_t n)
{
	uint8_t i;
	if (status != PG_OK)
		n = 0;
	l->out[4] = status;
	for (i = 0; i < n; i++)
		l->out[5 + i] = b[i];
	l->outs = pg_link_pack(l->out, l->kind, l->seq, (uint8_t)(n + 1));
	l->at = 0;
	l->answered = 1;
}

static uint8_t event(struct pg_line *l, uint8_t kind, const uint8_t *b, uint8_t n)
{
	uint8_t i;
	if (l->events)
		return 1;
	for (i = 0; i < n; i++)
		l->event[4 + i] = b[i];
	l->event_at = 0;
	l->events = (uint8_t)pg_link_pack(l->event, kind, 0, n);
	return 0;
}

uint8_t pg_line_pass(struct pg_line *l, const uint8_t *b, uint8_t n)
{
	return n > PG_LINE_EVENT || event(l, PG_PASS, b, n);
}

/* Whole frames, one after the other: an event waits while an answer is under way. */
uint8_t pg_line_begin_next(struct pg_line *l, uint8_t *byte)
{
	if (l->at < l->outs && l->event_at == 0) {
		*byte = l->out[l->at++];
		return 1;
	}
	if (l->tell && !l->events) {
		uint8_t b[2];
		put16(b, l->granted);
		event(l, PG_GRANTED, b, 2);
		l->tell = 0;
	}
	if (l->event_at >= l->events)
		return 0;
	*byte = l->event[l->event_at++];
	if (l->event_at == l->events)
		l->event_at = l->events = 0;
	return 1;
}

uint8_t pg_line_sending(const struct pg_line *l)
{
	return l->at < l->outs || l->events || l->tell;
}

/* ---- what is asked */

static void hello(struct pg_line *l)
{
	uint8_t b[41], i;
	b[0] = PG_LINE_VERSION;
	put16(b + 1, l->me->firmware);
	for (i = 0; i < 8; i++)
		b[3 + i] = l->me->board[i];
	put32(b + 11, PG_PANEL);
	put16(b + 15, PG_CHANNELS);
	b[17] = 2;
	put32(b + 18, PG_SLOT_SIZE);
	put16(b + 22, PG_LINE_WINDOW);
	b[24] = l->me->brown_out;
	b[25] = l->me->reset;
	put32(b + 26, l->millis);
	put32(b + 30, l->slots.number ? l->slots.crc : 0);
	put32(b + 34, l->slots.number);
	for (i = 0; i < 3; i++)
		b[38 + i] = l->slots.number ? l->slots.minute[i] : 0;
	pg_line_answer(l, PG_OK, b, sizeof b);
}

static void count(const struct pg_line *l, uint32_t counts[PG_COUNTS])
{
	const struct pg_player *p = l->player;
	uint8_t i, k;
	for (i = 0; i < PG_COUNTS; i++)
		counts[i] = 0;
	pg_line_counts(counts);
	counts[PG_COUNT_RESETS] = l->log.starts;
	counts[PG_COUNT_BROWN_OUTS] = l->log.brown_outs;
	counts[PG_COUNT_REFRESHES] = p->refreshes;
	counts[PG_COUNT_LATE] = p->late;
	for (i = 0; i < 8; i++)
		for (k = p->damaged[i]; k; k &= k - 1)
			counts[PG_COUNT_BAD_BLOCKS]++;
	counts[PG_COUNT_BAD_FRAMES] = l->in.lost;
	counts[PG_COUNT_RETURNED] = l->returned;
	counts[PG_COUNT_SILENCES] = l->silences;
}

static void counters(struct pg_line *l)
{
	uint32_t counts[PG_COUNTS];
	uint8_t b[4 * PG_COUNTS], i;
	count(l, counts);
	for (i = 0; i < PG_COUNTS; i++)
		put32(b + 4 * i, counts[i]);
	pg_line_answer(l, PG_OK, b, sizeof b);
}

static uint8_t load(struct pg_line *l, uint8_t which, uint8_t what)
{
	struct pg_player *p = l->player;
	uint16_t bit = (uint16_t)((uint16_t)1 << (which & 15));
	uint8_t wrong;
	switch (what) {
	case 0:
		wrong = pg_ask(p, which);
		if (!wrong)
			l->asked |= bit;
		return wrong;
	case 1:
		wrong = pg_running(p, which);
		break;
	case 2:
		wrong = pg_stopped(p, which);
		break;
	default:
		return 1;
	}
	if (!wrong) {
		l->granted &= (uint16_t)~bit;
		l->asked &= (uint16_t)~bit;
	}
	return wrong;
}

/* What the player is told; gives a status. */
static uint8_t tell(struct pg_line *l, const uint8_t *b, uint8_t n, uint32_t now)
{
	struct pg_player *p = l->player;
	static const uint8_t lengths[] PG_FLASH = { 1, 1, 2, 4, 2, 2, 0 }; /* from PG_STATE on */
	uint8_t length, wrong = 0;
	if (l->kind == PG_SERVICE)
		length = 1;
	else if (l->kind == PG_DEAD_PIXEL)
		length = 3;
	else
		pg_flash_copy(&length, &lengths[l->kind - PG_STATE], 1);
	if (n != length)
		return PG_MALFORMED;
	if (l->step != RUN || p->rate == 0)
		return PG_BUSY; /* a table is being looked for, or there is none */
	switch (l->kind) {
	case PG_STATE:
		wrong = pg_state(p, b[0], now);
		break;
	case PG_VALUE:
		wrong = pg_value(p, b[0]);
		break;
	case PG_LEVEL:
		wrong = pg_level(p, get16(b));
		break;
	case PG_CLOCK:
		wrong = pg_clock(p, b[0], get16(b + 1) | (uint32_t)b[3] << 16);
		break;
	case PG_LOAD:
		wrong = load(l, b[0], b[1]);
		break;
	case PG_LOADS:
		wrong = pg_loads(p, get16(b));
		if (!wrong)
			l->granted = l->asked = 0;
		break;
	case PG_SERVICE:
		wrong = pg_service(p, b[0]);
		break;
	case PG_DEAD_PIXEL:
		wrong = b[2] > 1 ? 1 : pg_dead(p, get16(b), b[2]);
		if (wrong == 2)
			return PG_BUSY;
	}
	return wrong ? PG_OUT_OF_RANGE : PG_OK;
}

/* Records of the black box, read where the answer will stand. */
static void read_log(struct pg_line *l, const uint8_t *b, uint8_t n)
{
	uint32_t given = 0;
	if (n != 4) {
		pg_line_answer(l, PG_MALFORMED, 0, 0);
		return;
	}
	n = pg_log_read(&l->log, b[0] | (uint32_t)b[1] << 8 | (uint32_t)b[2] << 16 | (uint32_t)b[3] << 24, &given, l->out + 9, PG_LINE_RECORDS);
	if (n == PG_LOG_BUSY) {
		pg_line_answer(l, PG_BUSY, 0, 0);
		return;
	}
	put32(l->out + 5, given);
	pg_line_answer(l, PG_OK, l->out + 5, (uint8_t)(4 + n * PG_LOG_RECORD));
}

/* A question has come whole. */
static void question(struct pg_line *l, uint32_t now)
{
	const uint8_t *b = l->in.body;
	uint8_t n = l->in.bodies, status;

	if (l->in.kind != PG_HELLO && l->answered && l->in.kind == l->kind && l->in.seq == l->seq && l->in.sum == l->sum) {
		l->at = 0; /* its answer was lost: once more */
		return;
	}
	l->answered = 0;
	l->kind = l->in.kind;
	l->seq = l->in.seq;
	l->sum = l->in.sum;
	switch (l->kind) {
	case PG_HELLO:
		hello(l);
		return;
	case PG_COUNTERS:
		if (n == 0)
			counters(l);
		else
			pg_line_answer(l, PG_MALFORMED, 0, 0);
		return;
	case PG_STATE: case PG_VALUE: case PG_LEVEL: case PG_CLOCK: case PG_LOAD: case PG_LOADS: case PG_ALIVE:
	case PG_SERVICE: case PG_DEAD_PIXEL: {
		uint8_t reply[2];
		status = tell(l, b, n, now);
		put16(reply, l->granted);
		pg_line_answer(l, status, reply, l->kind == PG_LOAD ? 2 : 0);
		return;
	}
#if PG_STREAMS
	case PG_OPEN: {
		uint8_t reply[5];
		status = open_stream(l, b, n, reply);
		pg_line_answer(l, status, reply, sizeof reply);
		return;
	}
	case PG_CLOSE:
		if (n == 0)
			pg_stream_close(l->player);
		pg_line_answer(l, n == 0 ? PG_OK : PG_MALFORMED, 0, 0);
		return;
#endif
	case PG_PROBE:
		if (n != 13)
			status = PG_MALFORMED;
		else if (!pg_line_idle(l))
			status = PG_BUSY;
		else
			status = pg_line_probe(b);
		pg_line_answer(l, status, 0, 0);
		return;
	case PG_LOG:
		read_log(l, b, n);
		return;
	case PG_READ:
		if (n == 6 && b[0] == PG_LINE_PLAYING) {
			status = l->step == RUN ? pg_line_playing(l->player, b + 1, l->out + 5) : PG_BUSY;
			pg_line_answer(l, status, l->out + 5, b[5]);
			return;
		}
		/* fall through */
	default:
		pg_log_upload(&l->log, now);
		l->fed = l->millis;
		status = pg_upload_take(&l->upload, l->kind, b, n);
		if (status != PG_LATER)
			pg_line_answer(l, status, l->upload.reply, l->upload.replies);
	}
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
		question(l, now);
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
