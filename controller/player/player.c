/* A refresh from its beginning to its end: time, states and their hand-overs, and
 * what is done piece by piece. Its part is a header for the reason that decode.c gives. */
#include <string.h>
#include "table.h"
#include "player_handover.h"

/* Refreshes that may be made up for; more are left out, and counted. */
#define MOST_BEHIND 8u

void pg_start(struct pg_player *p, uint32_t base, uint8_t refreshes, uint8_t first, uint32_t seed)
{
	memset(p, 0, sizeof *p);
	p->base = base;
	p->per_frame = refreshes > 0 ? refreshes : 1;
	p->state = p->first = first;
	p->clip = p->wish = p->day = p->crc_clip = p->lost = PG_NONE;
	p->told = p->planned = PG_FULL;
	p->lot = seed ? seed : 1; /* 0 would stay 0 */
	p->source = PG_FROM_BLACK;
	p->weight = 256;
	pg_walk_missing(p);
	pg_idle(p);
	p->phase = pg_table_open(p) ? PG_HEADER : PG_DARK;
}

/* The header is whole: the first refresh is due at once. */
static PG_APART void begin_playing(struct pg_player *p, uint32_t now)
{
	struct pg_rail *r = p->rails;
	uint8_t s;
	p->phase = PG_DARK;
	pg_table_keep(p);
	if (p->trouble != PG_TABLE_FINE)
		return;
	if (p->first >= p->states)
		p->first = 0;
	pg_table_state(p, p->first);
	p->rate *= p->per_frame;
	p->step = 1000000ul / p->rate;
	p->rest = 1000000ul % p->rate;
	p->at = p->host = now;
	for (s = 0; s < pg_supplies(p); s++, r++) {
		r->in_force = r->least;
		r->drawn = r->idle;
	}
	p->phase = PG_WAIT;
}

/* What this refresh shows, and how far its crossfade is. */
static void show(struct pg_player *p)
{
	p->weight = 256;
	if (p->service != PG_SERVICE_OFF) {
		p->source = PG_FROM_SERVICE;
		return;
	}
	pg_pick(p);
#if PG_STREAMS
	if (pg_live(p) && p->stream.hold) {
		p->weight = 0;
		return;
	}
#endif
#if PG_WITH_FADES
	if (p->fade_len > 0) {
		p->fade_at++;
		p->weight = (uint16_t)(p->fade_at * 256u / p->fade_len);
		if (p->fade_at >= p->fade_len)
			p->fade_len = 0;
	}
#endif
}

/* The state that was chosen comes into force by its hand-over, and with it what is
 * shown; what a crossfade comes from is frozen by now. */
static void arrive(struct pg_player *p)
{
	pg_table_state(p, p->to);
	if (p->how == PG_FINISH) {
		p->finishing = 1;
	} else if (p->how != PG_NONE) {
		p->fade_len = 0;
		if (p->how == PG_CROSSFADE)
			pg_fade(p);
		pg_begin(p);
#if PG_STREAMS
		if (p->how == PG_HOLD && p->stream.open != PG_STREAM_NONE) {
			p->holds = 0;
			pg_stream_begin(p);
		} else if (pg_live(p)) {
			pg_stream_end(p, p->stream.why);
		}
#endif
	}
	p->phase = PG_FETCH;
	pg_allow(p, p->took);
	show(p);
}

/* Time goes on by one refresh. */
static void advance(struct pg_player *p)
{
	uint32_t took = p->step;
	p->remainder += p->rest;
	if (p->remainder >= p->rate) {
		p->remainder -= p->rate;
		took++;
	}
	p->took = took;
	p->at += took;
#if PG_WITH_TIMETABLE
	if (p->day != PG_NONE)
		for (p->micros += took; p->micros >= 1000000ul; p->micros -= 1000000ul) {
			if (++p->second == 86400ul) {
				p->second = 0;
				p->day = p->day == 6 ? 0 : p->day + 1;
			}
			pg_plan(p);
		}
#endif
}

/* What was told and found comes into force; what comes from now on belongs to the
 * next refresh. */
static void take(struct pg_player *p)
{
	uint8_t i;
	p->value = p->value_told;
	p->level = p->told < p->planned ? p->told : p->planned;
	p->owing = p->news;
	p->news = 0;
	if (p->clip != PG_NONE && pg_has(p->found, p->clip))
		p->owing |= 1;
	for (i = 0; i < sizeof p->found; i++) {
		p->verified[i] |= p->found[i];
		p->found[i] = 0;
	}
#if PG_WITH_SERVICE
	if (p->service_told != p->service) {
		p->owing |= 1;
		p->service_at = 0;
	} else {
		p->service_at++;
	}
	p->service = p->service_told;
	p->picture = (uint8_t)(p->service_at / p->rate % 6);
#endif
}

/* A refresh begins: time goes on, what was told comes into force, states change. */
static PG_APART void due(struct pg_player *p)
{
	uint8_t served = p->service;
	if (p->started)
		advance(p);
	take(p);
	if (!p->started) {
		p->entered = p->at;
		if (p->wish != PG_NONE)
			pg_table_state(p, p->wish);
		p->wish = PG_NONE;
		p->at_once = p->facts;
		pg_allow(p, 0);
		p->phase = PG_COUNT;
		pg_scale_start(p);
		return;
	}
	p->to = watch(p);
	p->at_once = p->facts;
	hand_over(p, served);
#if PG_WITH_FADES
	if (p->how == PG_CROSSFADE || p->how == PG_HOLD) {
		show(p); /* what would have been shown is what the crossfade comes from */
		p->phase = PG_OLD;
		return;
	}
#endif
	arrive(p);
}

/* The frame stands whole: is it to be sent? */
static void judge(struct pg_player *p)
{
	if (p->service == PG_SERVICE_OFF && (p->holds ? !pg_outdated(p) : (p->now.flags & PG_STANDS) && !pg_owed(p))) {
		p->phase = PG_WAIT;
		p->refreshes++;
		return;
	}
	p->holds = 0;
	p->phase = PG_COUNT;
	pg_scale_start(p);
}

#if PG_WITH_FADES
/* Keeps a row of what is shown now; the last one brings the new state. */
static PG_APART void freeze(struct pg_player *p)
{
	struct pg_walk *w = &p->walk;
	uint8_t buffer[PG_ROW], n;
	if (w->left == 0 && !pg_walk_strip(p, w)) {
		arrive(p);
		return;
	}
	n = PG_ROW / pg_dies(w);
	if (w->left < n)
		n = (uint8_t)w->left;
	memmove(p->frozen + w->offset, pg_row(p, w, n, buffer), n * pg_dies(w));
	pg_walk_on(w, n);
}
#endif

/* Between two refreshes, and is the next one due? */
static uint8_t wait(struct pg_player *p, uint32_t now)
{
	uint32_t past = now - p->at;
	if (p->started)
		past -= p->step; /* a microsecond early at times: at is what counts */
	if ((int32_t)past >= 0) {
		if (p->started && past / p->step > MOST_BEHIND) {
			p->late++;
			p->micros += past; /* the clock does not stand still meanwhile */
			p->at = now - p->step;
		}
		due(p);
		return PG_AGAIN;
	}
	if (p->started && (pg_ahead(p) || pg_verify(p)))
		return PG_AGAIN;
	return PG_IDLE;
}

uint8_t pg_run(struct pg_player *p, uint32_t now)
{
	uint8_t got;
	switch (p->phase) {
	case PG_DARK:
		return PG_IDLE;
	case PG_HEADER:
		if (!pg_crc_step(&p->sum))
			break;
		if (p->sum.crc != 0) {
			p->trouble = PG_TABLE_DAMAGED;
			p->phase = PG_DARK;
			return PG_IDLE;
		}
		begin_playing(p, now);
		break;
	case PG_WAIT:
		return wait(p, now);
#if PG_WITH_FADES
	case PG_FREEZE:
		freeze(p);
		break;
	case PG_OLD:
#endif
	case PG_FETCH:
		got = pg_fetch(p);
		if (got == 2 && p->phase == PG_OLD && p->holds) {
			p->how = PG_CUT;
			arrive(p);
		} else if (got == 2) {
			if (p->service == PG_SERVICE_OFF) /* else it was work ahead: nobody sees it */
				pg_pick(p);
		} else if (got == 1 && p->phase == PG_OLD) {
			p->phase = PG_FREEZE;
			pg_walk_start(p, &p->walk);
		} else if (got == 1) {
			judge(p);
		}
		break;
	case PG_COUNT:
		if (pg_scale_step(p))
			break;
		p->phase = PG_OUT;
		return PG_SEND;
	default:
		return PG_SEND;
	}
	return PG_AGAIN;
}

void pg_sent(struct pg_player *p)
{
	if (p->phase != PG_OUT)
		return;
	if (p->service == PG_SERVICE_OFF) { /* no load starts while somebody is inside */
		uint16_t answered = p->at_once.pending & p->facts.pending;
		p->granted |= answered;
		p->facts.pending &= (uint16_t)~answered;
	}
	p->started = 1;
	p->refreshes++;
	p->phase = PG_WAIT;
}
