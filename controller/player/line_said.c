/* What is said: answers, and events between them. See line.h. */
#include "line_parts.h"

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

uint8_t pg_line_event(struct pg_line *l, uint8_t kind, const uint8_t *b, uint8_t n)
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
	return n > PG_LINE_EVENT || pg_line_event(l, PG_PASS, b, n);
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
		pg_put16(b, l->granted);
		pg_line_event(l, PG_GRANTED, b, 2);
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
