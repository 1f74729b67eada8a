/* A part of player.c: the state of a refresh, wished or led to, and how it is
 * entered. */
#ifndef PG_PLAYER_HANDOVER_H
#define PG_PLAYER_HANDOVER_H

#include "table.h"

/* Whether at is so many milliseconds, above 0, after a time. */
static PG_APART uint8_t past(const struct pg_player *p, uint32_t since, uint32_t ms)
{
	return ms > 0 && (int32_t)(p->at - since) >= (int32_t)(ms * 1000u);
}

/* A move that nobody told makes uncertain what runs. */
static uint8_t move(struct pg_player *p, uint8_t to, uint8_t by)
{
	p->facts.known = 0;
	p->by = by;
	p->entered = p->at;
	return to;
}

/* The state of this refresh: wished, or where the machine's silence or the
 * longest stay leads. */
static PG_APART uint8_t watch(struct pg_player *p)
{
	struct pg_now st;
	uint8_t to = p->state;
	if (p->wish != PG_NONE && p->wish != to) {
		to = p->wish;
		p->by = 0;
		p->entered = p->wished;
	}
	p->wish = PG_NONE;
	if (!p->silent && past(p, p->host, p->silence)) {
		p->silent = 1;
		if (p->then != to)
			to = move(p, p->then, 2);
	}
	pg_read(p, &st, p->states_at + to * PG_TABLE_STATE, PG_TABLE_STATE);
	if (st.then != to && past(p, p->entered, st.at_most))
		to = move(p, st.then, 1);
	return to;
}

#if PG_STREAMS
/* What a stream makes of the hand-over into the state `to`: it begins, goes on or
 * ends with this refresh. */
static void turn(struct pg_player *p, const struct pg_now *to, uint8_t held)
{
	struct pg_stream *s = &p->stream;
	uint8_t why = pg_stream_over(p, held);
	if (s->open == PG_STREAM_NONE)
		return;
	if (why) {
		if (!pg_live(p)) {
			pg_stream_end(p, why);
			return;
		}
		if (p->how == PG_NONE)
			p->how = to->flags & PG_STANDS ? PG_CUT : to->hand_over;
		if (p->how == PG_FINISH)
			p->how = PG_CUT;
		s->why = why;
		s->open = PG_STREAM_ENDS;
	} else if (s->open == PG_STREAM_ASKED || s->open == PG_STREAM_AFRESH) {
		if (p->holds)
			return; /* nobody has what the strips hold: later */
		p->how = PG_HOLD;
	} else if (p->how != PG_NONE && (p->how != PG_FINISH || s->hold || held)) {
		p->how = PG_HOLD;
	}
}
#endif

/* How the state of this refresh is entered: p->how, or PG_NONE. It cuts into a
 * still state, which exists so that nothing disturbs the sensors, and where nobody
 * has what would be needed. */
static PG_APART void hand_over(struct pg_player *p, uint8_t served)
{
	struct pg_now to;
	uint8_t held = (p->now.flags & PG_STANDS) && !p->finishing;
	pg_read(p, &to, p->states_at + p->to * PG_TABLE_STATE, PG_TABLE_STATE);
	p->how = PG_NONE;
	if (p->to != p->state || p->clip == PG_NONE) /* none: after the black frame */
		p->how = to.flags & PG_STANDS ? PG_CUT : to.hand_over;
#if PG_STREAMS
	turn(p, &to, held);
#endif
	if (p->how == PG_NONE) {
		if (served != PG_SERVICE_OFF && p->service == PG_SERVICE_OFF)
			p->how = PG_CUT;
		else if (p->clip != PG_NONE && pg_has(p->damaged, p->clip) && !pg_live(p)) {
			if (pg_own(p) != p->clip) {
				p->how = PG_CUT;
			} else if (p->holds) { /* the built-in still takes over */
				p->holds = 0;
				p->owing |= 1;
			}
		}
	}
	if (p->how == PG_NONE)
		return;
	p->owing |= 1;
	if (p->holds || p->service != PG_SERVICE_OFF ||
	    (p->how == PG_FINISH && !pg_live(p) && (held || p->clip == PG_NONE || !pg_ready(p) || pg_follows(&p->on))))
		p->how = PG_CUT; /* what shows has no end to come */
}

#endif
