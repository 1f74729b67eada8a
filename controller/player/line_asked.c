/* What is asked, but for tables: upload.h has those. See line.h. */
#include "line_parts.h"

#include "table.h"

#if PG_STREAMS
static uint8_t open_stream(struct pg_line *l, const uint8_t *b, uint8_t n, uint8_t *reply)
{
	if (n != 1)
		return PG_MALFORMED;
	if (b[0] != PG_STREAM_CODING)
		return PG_OUT_OF_RANGE;
	if (l->step != RUN)
		return PG_BUSY;
	pg_put16(reply, l->player->fps);
	pg_put16(reply + 2, PG_STREAM_RING);
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

static void hello(struct pg_line *l)
{
	uint8_t b[41], i;
	b[0] = PG_LINE_VERSION;
	pg_put16(b + 1, l->me->firmware);
	for (i = 0; i < 8; i++)
		b[3 + i] = l->me->board[i];
	pg_put32(b + 11, PG_PANEL);
	pg_put16(b + 15, PG_CHANNELS);
	b[17] = l->me->store == 0 ? 2 : 0;
	pg_put32(b + 18, PG_SLOT_SIZE);
	pg_put16(b + 22, PG_LINE_WINDOW);
	b[24] = l->me->brown_out;
	b[25] = l->me->reset;
	pg_put32(b + 26, l->millis);
	pg_put32(b + 30, l->slots.number ? l->slots.crc : 0);
	pg_put32(b + 34, l->slots.number);
	for (i = 0; i < 3; i++)
		b[38 + i] = l->slots.number ? l->slots.minute[i] : 0;
	pg_line_answer(l, PG_OK, b, sizeof b);
}

void pg_line_count(const struct pg_line *l, uint32_t counts[PG_COUNTS])
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
	pg_line_count(l, counts);
	for (i = 0; i < PG_COUNTS; i++)
		pg_put32(b + 4 * i, counts[i]);
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
		wrong = pg_level(p, pg_get16(b));
		break;
	case PG_CLOCK:
		wrong = pg_clock(p, b[0], pg_get16(b + 1) | (uint32_t)b[3] << 16);
		break;
	case PG_LOAD:
		wrong = load(l, b[0], b[1]);
		break;
	case PG_LOADS:
		wrong = pg_loads(p, pg_get16(b));
		if (!wrong)
			l->granted = l->asked = 0;
		break;
	case PG_SERVICE:
		wrong = pg_service(p, b[0]);
		break;
	case PG_DEAD_PIXEL:
		wrong = b[2] > 1 ? 1 : pg_dead(p, pg_get16(b), b[2]);
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
	pg_put32(l->out + 5, given);
	pg_line_answer(l, PG_OK, l->out + 5, (uint8_t)(4 + n * PG_LOG_RECORD));
}

/* A question has come whole. */
void pg_line_question(struct pg_line *l, uint32_t now)
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
		pg_put16(reply, l->granted);
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
		status = l->me->store == 0 ? pg_upload_take(&l->upload, l->kind, b, n) : PG_STORAGE;
		if (status != PG_LATER)
			pg_line_answer(l, status, l->upload.reply, l->upload.replies);
	}
}
