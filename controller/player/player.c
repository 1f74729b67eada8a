#include "table.h"

/* Bytes of CRC in one step, pixels copied in one step: about 0.5 ms each. */
#define CRC_STEP 64u
#define FREEZE_STEP 24u

/* Refreshes that may be made up for; more are left out, and counted. */
#define MOST_BEHIND 8u

/* The work of one refresh, in order. */
enum { DARK, HEADER, WAIT, OLD, FREEZE, FETCH, COUNT, SEND };

enum { CUT, CROSSFADE, FINISH, HOLD }; /* hold: on the frozen picture, until a stream's frame is here */
enum { FOLLOWS = 1, LOOPS = 2, BY_LOT = 4 };

const struct pg_part pg_parts[PG_PARTS] PG_FLASH = { PG_PART_LIST };
const struct pg_strip pg_strips[PG_STRIPS] PG_FLASH = { PG_STRIP_LIST };
#if PG_MISSING > 0
static const uint16_t missing[PG_MISSING] PG_FLASH = { PG_MISSING_LIST };
#endif

void pg_start(struct pg_player *p, uint32_t base, uint8_t refreshes, uint8_t first, uint32_t seed)
{
	uint8_t *b = (uint8_t *)p;
	uint16_t i;
	for (i = 0; i < sizeof *p; i++)
		b[i] = 0;
	p->base = base;
	p->per_frame = refreshes > 0 ? refreshes : 1;
	p->state = first;
	p->first = first;
	p->clip = p->wish = p->day = p->crc_clip = p->lost = PG_NONE;
	p->told = p->planned = PG_FULL;
	p->lot = seed ? seed : 1; /* 0 would stay 0 */
	p->source = PG_FROM_BLACK;
	p->weight = 256;
	for (i = 0; i <= PG_GAPS; i++)
		p->gaps[i] = PG_GAP_END;
#if PG_MISSING > 0
	for (i = 0; i < PG_MISSING; i++)
		pg_flash_copy(&p->gaps[i], &missing[i], sizeof p->gaps[i]);
#endif
	pg_idle(p);
	p->phase = pg_table_open(p) ? HEADER : DARK;
}

/* The header is right: the first refresh is due at once. */
static void begin_playing(struct pg_player *p, uint32_t now)
{
	uint8_t s;
	pg_table_keep(p);
	if (p->trouble == PG_TABLE_FINE && p->state >= p->states)
		p->state = 0;
	if (p->trouble != PG_TABLE_FINE) {
		p->phase = DARK;
		return;
	}
	p->rate = (uint32_t)p->fps * p->per_frame;
	p->step = 1000000ul / p->rate;
	p->rest = 1000000ul % p->rate;
	p->at = p->host = now;
	for (s = 0; s < p->supplies; s++) {
		p->rails[s].in_force = p->rails[s].least;
		p->rails[s].drawn = p->rails[s].idle;
	}
	p->phase = WAIT;
}

static uint8_t live(const struct pg_player *p)
{
#if PG_STREAMS
	return pg_stream_live(p);
#else
	(void)p;
	return 0;
#endif
}

static uint8_t has(const uint8_t *set, uint8_t i)
{
	return (uint8_t)(set[i >> 3] >> (i & 7) & 1);
}

static uint8_t ready(const struct pg_player *p)
{
	return has(p->verified, p->clip);
}

/* What a state shows: its clip, or the rest's where that is broken for good. The
 * rest is the state that a silent host leads to, or else the first. */
static uint8_t clip_of(const struct pg_player *p, uint8_t state)
{
	struct pg_state_record st;
	pg_table_state(p, state, &st);
	if (has(p->damaged, st.clip))
		pg_table_state(p, p->then < p->states ? p->then : p->first, &st);
	return st.clip;
}

/* Refreshes of a crossfade into a state, at least one. */
static uint32_t fade_length(const struct pg_player *p, const struct pg_state_record *st)
{
	uint32_t n = (uint32_t)st->fade * p->rate / 1000u;
	return n > 0 ? n : 1;
}

/* Puts a clip before its first frame. */
static void begin(struct pg_player *p, uint8_t clip)
{
	p->clip = clip;
	p->finishing = 0;
	p->fresh = 1;
	p->sub = p->per_frame;
	p->aimed = p->losses = p->drawn = 0;
	p->holds = clip == p->lost;
	if (p->holds)
		p->fade_len = 0;
	pg_table_clip(p, clip, &p->on);
	p->frame = p->on.frames; /* none */
	p->have = p->on.frames;
}

/* The next number of the generator by which lots are drawn: Marsaglia's 32-bit
 * xorshift with 13, 17, 5. */
static uint32_t another(uint32_t lot)
{
	lot ^= lot << 13;
	lot ^= lot >> 17;
	return lot ^ lot << 5;
}

/* The frame that a clip begins with. A lot is used up when the frame stands: a
 * clip that is lost on it has not begun. */
static uint32_t first_frame(struct pg_player *p)
{
	const struct pg_clip *c = &p->on;
	if (!(c->flags & BY_LOT))
		return 0;
	p->drawn = 1;
	return pg_decode_start_frame(c->kind, c->offset, c->length, c->frames,
		(uint16_t)((another(p->lot) >> 16) * pg_decode_starts(c->kind, c->offset, c->length, c->frames) >> 16));
}

/* Aims the decoder at a frame: the one that it gives next, or one that it has to
 * look for. */
static void aim(struct pg_player *p, uint32_t frame)
{
	if (p->aimed ? p->target == frame : p->have == frame)
		return;
	if (p->aimed || p->have >= p->on.frames || p->coming != frame)
		pg_decode_start(&p->decoder, p->on.kind, p->on.offset, p->on.length, p->on.frames, frame);
	p->target = frame; /* what cannot be, the next step tells */
	p->aimed = 1;
	p->have = p->on.frames;
}

/* A clip that cannot be unpacked is no longer trusted. While its checksum is
 * worked out again the strips hold what they show: what they show has no other
 * copy than theirs. */
static void lose(struct pg_player *p)
{
	p->verified[p->clip >> 3] &= (uint8_t)~(1u << (p->clip & 7));
	p->lost = p->rotten = p->clip;
	p->rots++;
	p->holds = !p->finishing;
	p->fade_len = 0;
	p->weight = 256;
	p->crc_done = 0;
	p->aimed = p->drawn = 0;
	p->have = p->on.frames;
	p->sub = p->per_frame;
	p->fresh = 1;
	if (p->losses < 2)
		p->losses++;
}

#if PG_STREAMS
/* A stream whose bytes make no frame: the state's clip stands in for it. */
static void lose_stream(struct pg_player *p)
{
	pg_stream_end(p, PG_STREAM_MALFORMED);
	p->fade_len = 0;
	p->weight = 256;
	p->owing |= 1;
	begin(p, clip_of(p, p->state));
}

/* The next frame of the stream, if it is here. A state's first one ends the hold
 * that its hand-over began with. */
static void pick_stream(struct pg_player *p)
{
	struct pg_stream *s = &p->stream;
	struct pg_state_record st;
	uint8_t held = s->hold;
	p->source = PG_FROM_CLIP;
	pg_table_state(p, p->state, &st);
	s->took = 0;
	if (p->sub < p->per_frame || ((st.flags & 1) && !held)) {
		p->sub += p->sub < p->per_frame;
		return;
	}
	switch (pg_stream_take(p)) {
	case 0:
		if (!held && p->how == PG_NONE && s->late != 0xffff)
			s->late++;
		break;
	case 1:
		if (s->marked) {
			begin(p, clip_of(p, p->state));
			p->holds = 0; /* whatever becomes of that clip */
			if (held && !(st.flags & 1) && st.hand_over == CROSSFADE) {
				p->fade_at = 0;
				p->fade_len = fade_length(p, &st);
			}
		}
		p->owing |= 1;
		p->sub = 1;
		break;
	case 2:
		lose_stream(p);
	}
}
#endif

/* Unpacks a little more; 1 when the frame that was aimed at stands whole, 2 when
 * the clip was lost. */
static uint8_t fetch(struct pg_player *p)
{
#if PG_STREAMS
	if (live(p)) {
		uint8_t r = pg_stream_fetch(p);
		if (r == 2)
			lose_stream(p);
		return r;
	}
#endif
	if (p->aimed) {
		uint8_t r = pg_decode_step(&p->decoder);
		if (r == PG_BAD) {
			lose(p);
			return 2;
		}
		if (r != PG_FRAME)
			return 0;
		p->aimed = 0;
		p->have = p->target;
		p->coming = p->target + 1 < p->on.frames ? p->target + 1 : 0;
	}
	if (p->drawn)
		p->lot = another(p->lot);
	p->drawn = 0;
	return 1;
}

/* The next frame of the clip, as the twin's step: sets frame and aims at it. */
static void step(struct pg_player *p)
{
	struct pg_state_record st;
	uint32_t next;
	pg_table_state(p, p->state, &st);
	if (p->on.flags & FOLLOWS) {
		p->fresh = 0;
		p->frame = p->value;
	} else if (p->fresh) {
		p->fresh = 0;
		p->frame = first_frame(p);
	} else {
		next = p->frame + 1;
		if (next >= p->on.frames) {
			if (p->finishing) {
				begin(p, clip_of(p, p->state));
				p->sub = 0;
				if (ready(p))
					step(p);
				return;
			}
			if (!(p->on.flags & LOOPS))
				return;
			next = 0;
			p->losses = 0; /* it was whole once more */
		}
		if ((st.flags & 1) && !p->finishing)
			return;
		p->frame = next;
	}
	aim(p, p->frame);
}

/* What the frame after this one will be, if nothing happens; on.frames: nobody
 * knows. Between refreshes the decoder works ahead by it. */
static uint32_t ahead(const struct pg_player *p)
{
	struct pg_state_record st;
	uint32_t next = p->frame + 1;
	if (p->source != PG_FROM_CLIP || p->sub < p->per_frame || p->fresh || !ready(p))
		return p->on.frames;
	if (p->on.flags & FOLLOWS)
		return p->value_told;
	pg_table_state(p, p->state, &st);
	if ((st.flags & 1) && !p->finishing)
		return p->on.frames;
	if (next >= p->on.frames)
		return p->finishing || !(p->on.flags & LOOPS) ? p->on.frames : 0;
	return next;
}

/* Chooses what this refresh shows, and aims at its frame. */
static void pick(struct pg_player *p)
{
#if PG_STREAMS
	if (live(p)) {
		pick_stream(p);
		if (live(p))
			return;
	}
#endif
	if (p->clip == PG_NONE) {
		p->source = PG_FROM_BLACK;
		return;
	}
	if (!ready(p) && p->finishing) /* its end will not come */
		begin(p, clip_of(p, p->state));
	if (ready(p)) {
		p->source = PG_FROM_CLIP;
		p->holds = 0;
		if (p->sub >= p->per_frame) {
			p->sub = 0;
			step(p);
		}
	}
	if (!ready(p)) { /* it, or the one that came after it */
		p->source = PG_FROM_STILL;
		p->sub = p->per_frame;
		p->fresh = 1;
		return;
	}
	p->sub++;
}

/* What this refresh shows, and how far its crossfade is. */
static void show(struct pg_player *p)
{
	p->weight = 256;
	if (p->service != PG_SERVICE_OFF) {
		p->source = PG_FROM_SERVICE;
		return;
	}
	pick(p);
#if PG_STREAMS
	if (live(p) && p->stream.hold) {
		p->weight = 0;
		return;
	}
#endif
	if (p->fade_len > 0) {
		p->fade_at++;
		p->weight = (uint16_t)(p->fade_at * 256u / p->fade_len);
		if (p->fade_at >= p->fade_len)
			p->fade_len = 0;
	}
}

/* Begins the state's clip by the hand-over that was chosen; what a crossfade
 * comes from is frozen by now. */
static void enter(struct pg_player *p)
{
	struct pg_state_record st;
	pg_table_state(p, p->state, &st);
	p->fade_len = 0;
	if (p->how == CROSSFADE) {
		p->fade_at = 0;
		p->fade_len = fade_length(p, &st);
	}
	begin(p, clip_of(p, p->state));
#if PG_STREAMS
	if (p->how == HOLD && p->stream.open != PG_STREAM_NONE) {
		p->holds = 0;
		pg_stream_begin(p);
	} else if (live(p)) {
		pg_stream_end(p, p->stream.why);
	}
#endif
}

#if PG_STREAMS
/* What a stream makes of the hand-over into the state `to`: it begins, goes on or
 * ends with this refresh. */
static void turn(struct pg_player *p, uint8_t to, uint8_t held)
{
	struct pg_stream *s = &p->stream;
	struct pg_state_record st;
	uint8_t why = pg_stream_over(p, held);
	if (s->open == PG_STREAM_NONE)
		return;
	if (why) {
		if (!live(p)) {
			pg_stream_end(p, why);
			return;
		}
		pg_table_state(p, to, &st);
		if (p->how == PG_NONE)
			p->how = st.flags & 1 ? CUT : st.hand_over;
		if (p->how == FINISH)
			p->how = CUT;
		s->why = why;
		s->open = PG_STREAM_ENDS;
		p->owing |= 1;
	} else if (s->open == PG_STREAM_ASKED || s->open == PG_STREAM_AFRESH) {
		if (p->holds)
			return; /* nobody has what the strips hold: later */
		p->how = HOLD;
		p->owing |= 1;
	} else if (p->how != PG_NONE && (p->how != FINISH || s->hold || held)) {
		p->how = HOLD;
	}
}
#endif

static void crc_begin(struct pg_player *p, uint8_t clip)
{
	struct pg_clip c;
	pg_table_clip(p, clip, &c);
	p->crc_clip = clip;
	p->crc = 0xfffffffful;
	p->crc_left = c.length;
	pg_seek(&p->crc_at, c.offset);
}

/* A few bytes more of the clip that is being verified; 1 when it is through. */
static uint8_t crc_step(struct pg_player *p)
{
	uint8_t n = p->crc_left > CRC_STEP ? CRC_STEP : (uint8_t)p->crc_left;
	p->crc = pg_crc(p->crc, &p->crc_at, n);
	p->crc_left -= n;
	if (p->crc_left > 0)
		return 0;
	p->crc = ~p->crc ^ pg_take32(&p->crc_at); /* 0: right */
	return 1;
}

/* Verifies the clip on show first, then all others, while nothing else is due. */
static uint8_t verify(struct pg_player *p)
{
	uint8_t i, bit;
	if (p->crc_done)
		return 0;
	if (p->clip != PG_NONE && p->crc_clip != p->clip && !has(p->verified, p->clip) && !has(p->found, p->clip) && !has(p->damaged, p->clip))
		crc_begin(p, p->clip);
	for (i = 0; p->crc_clip == PG_NONE && i < p->clips; i++)
		if (!has(p->verified, i) && !has(p->found, i) && !has(p->damaged, i))
			crc_begin(p, i);
	if (p->crc_clip == PG_NONE) {
		p->crc_done = 1;
		return 0;
	}
	if (crc_step(p)) {
		i = p->crc_clip >> 3;
		bit = (uint8_t)(1u << (p->crc_clip & 7));
		/* One that is lost again before it has played through is broken, whatever
		 * its sum says. */
		if (p->crc != 0 || (p->crc_clip == p->clip && p->losses > 1))
			p->damaged[i] |= bit;
		else
			p->found[i] |= bit;
		if (p->lost == p->crc_clip)
			p->lost = PG_NONE;
		p->crc_clip = PG_NONE;
	}
	return 1;
}

/* The state that was chosen comes into force, and with it what is shown. */
static void arrive(struct pg_player *p)
{
	p->state = p->to;
	if (p->how == FINISH)
		p->finishing = 1;
	else if (p->how != PG_NONE)
		enter(p);
	p->phase = FETCH;
	pg_allow(p, p->took);
	show(p);
}

/* A refresh begins: time goes on, what was told comes into force, states change. */
static void due(struct pg_player *p)
{
	struct pg_state_record st;
	uint8_t to = p->state, held, service, i;

	p->took = 0;
	if (p->started) {
		p->took = p->step;
		p->remainder += p->rest;
		if (p->remainder >= p->rate) {
			p->remainder -= p->rate;
			p->took++;
		}
		p->at += p->took;
		if (p->day != PG_NONE)
			for (p->micros += p->took; p->micros >= 1000000ul; p->micros -= 1000000ul) {
				if (++p->second == 86400ul) {
					p->second = 0;
					p->day = p->day == 6 ? 0 : p->day + 1;
				}
				pg_plan(p);
			}
	}
	/* What is told from now on belongs to the next refresh. */
	p->value = p->value_told;
	p->level = p->told < p->planned ? p->told : p->planned;
	p->owing = p->news;
	p->news = 0;
	for (i = 0; i < 8; i++) {
		if (p->clip != PG_NONE && p->clip >> 3 == i && has(p->found, p->clip))
			p->owing |= 1;
		p->verified[i] |= p->found[i];
		p->found[i] = 0;
	}
	service = p->service;
	p->service = p->service_told;
	if (p->service != PG_SERVICE_OFF) {
		p->service_at = service == p->service ? p->service_at + 1 : 0;
		p->picture = (uint8_t)(p->service_at / p->rate % 6);
	}
	pg_table_state(p, p->state, &st);
	held = (st.flags & 1) && !p->finishing;

	if (!p->started) {
		p->entered = p->at;
		if (p->wish != PG_NONE)
			p->state = p->wish;
		p->wish = PG_NONE;
		p->at_once = p->facts;
		pg_allow(p, 0);
		p->phase = COUNT;
		p->source = PG_FROM_BLACK;
		pg_scale_start(p);
		return;
	}
	if (p->wish != PG_NONE && p->wish != to) {
		to = p->wish;
		p->by = 0;
		p->entered = p->wished;
	}
	p->wish = PG_NONE;
	if (p->silence > 0 && !p->silent && (int32_t)(p->at - p->host) >= (int32_t)(p->silence * 1000u)) {
		p->silent = 1;
		if (p->then != to) {
			p->facts.known = 0;
			p->by = 2;
			to = p->then;
			p->entered = p->at;
		}
	}
	pg_table_state(p, to, &st);
	if (st.at_most > 0 && (int32_t)(p->at - p->entered) >= (int32_t)(st.at_most * 1000u) && st.then != to) {
		p->facts.known = 0;
		p->by = 1;
		to = st.then;
		p->entered = p->at;
		pg_table_state(p, to, &st);
	}
	p->at_once = p->facts;
	p->how = PG_NONE;
	if (to != p->state || p->clip == PG_NONE) { /* none: after the black frame */
		p->how = st.flags & 1 ? CUT : st.hand_over;
		p->owing |= 1;
	}
	if (p->service != service)
		p->owing |= 1;
#if PG_STREAMS
	turn(p, to, held);
#endif
	if (p->how == PG_NONE && service != PG_SERVICE_OFF && p->service == PG_SERVICE_OFF)
		p->how = CUT;
	if (p->how == PG_NONE && p->clip != PG_NONE && has(p->damaged, p->clip) && !live(p)) {
		if (clip_of(p, to) != p->clip) {
			p->how = CUT;
			p->owing |= 1;
		} else if (p->holds) { /* the built-in still takes over */
			p->holds = 0;
			p->owing |= 1;
		}
	}
	if (p->how != PG_NONE && (p->holds || p->service != PG_SERVICE_OFF)) /* nobody has what the strips hold */
		p->how = CUT;
	if (p->how == FINISH && !live(p) && (held || p->clip == PG_NONE || !ready(p) || (p->on.flags & FOLLOWS)))
		p->how = CUT;
	p->to = to;
	if (p->how == CROSSFADE || p->how == HOLD) {
		show(p); /* what would have been shown is what the crossfade comes from */
		p->phase = OLD;
		return;
	}
	arrive(p);
}

/* The frame stands whole: is it to be sent? */
static void judge(struct pg_player *p)
{
	struct pg_state_record st;
	uint8_t send;
	pg_table_state(p, p->state, &st);
	send = p->service != PG_SERVICE_OFF || (p->holds ? pg_outdated(p) : !(st.flags & 1) || pg_owed(p));
	if (!send) {
		p->phase = WAIT;
		p->refreshes++;
		return;
	}
	p->holds = 0;
	p->phase = COUNT;
	pg_scale_start(p);
}

uint8_t pg_run(struct pg_player *p, uint32_t now)
{
	uint8_t got;
	switch (p->phase) {
	case DARK:
		return PG_IDLE;
	case HEADER:
		if (p->crc_left > 0 && !crc_step(p))
			return PG_AGAIN;
		if (p->crc != 0) {
			p->trouble = PG_TABLE_DAMAGED;
			p->phase = DARK;
			return PG_IDLE;
		}
		begin_playing(p, now);
		return PG_AGAIN;
	case WAIT: {
		uint32_t next = p->at;
		if (p->started)
			next += p->step; /* a microsecond early at times: at is what counts */
		if ((int32_t)(now - next) >= 0) {
			if (p->started && (now - next) / p->step > MOST_BEHIND) {
				p->late++;
				if (p->day != PG_NONE)
					p->micros += now - next; /* the clock does not stand still meanwhile */
				p->at = now - p->step;
			}
			due(p);
			return PG_AGAIN;
		}
		if (!p->started)
			return PG_IDLE;
		if (p->aimed) {
			fetch(p);
			return PG_AGAIN;
		}
#if PG_STREAMS
		if (live(p)) {
			struct pg_state_record st;
			pg_table_state(p, p->state, &st);
			if (p->sub >= p->per_frame && (!(st.flags & 1) || p->stream.hold) && pg_stream_ahead(p))
				return PG_AGAIN;
			return verify(p) ? PG_AGAIN : PG_IDLE;
		}
#endif
		next = ahead(p);
		if (next < p->on.frames && p->have != next) {
			aim(p, next);
			return PG_AGAIN;
		}
		return verify(p) ? PG_AGAIN : PG_IDLE;
	}
	case OLD:
		got = fetch(p);
		if (got == 2 && p->holds) {
			p->how = CUT;
			arrive(p);
		} else if (got == 2) {
			pick(p);
		}
		if (got != 1)
			return PG_AGAIN;
		p->phase = FREEZE;
		pg_walk_start(p, &p->walk);
		return PG_AGAIN;
	case FREEZE: {
		struct pg_walk *w = &p->walk;
		uint8_t n = FREEZE_STEP, d, codes[4];
		while (n-- > 0) {
			if (w->left == 0 && !pg_walk_strip(p, w)) {
				arrive(p);
				break;
			}
			if (w->left == 0)
				continue;
			pg_shown(p, w, codes);
			for (d = 0; d < w->dies; d++)
				p->frozen[w->offset + d] = codes[d];
			pg_walk_on(w);
		}
		return PG_AGAIN;
	}
	case FETCH:
		got = fetch(p);
		if (got == 2 && p->service == PG_SERVICE_OFF) /* else it was work ahead: nobody sees it */
			pick(p);
		if (got == 1)
			judge(p);
		return PG_AGAIN;
	case COUNT:
		if (pg_scale_step(p))
			return PG_AGAIN;
		p->phase = SEND;
		return PG_SEND;
	default:
		return PG_SEND;
	}
}

void pg_sent(struct pg_player *p)
{
	if (p->phase != SEND)
		return;
	if (p->service == PG_SERVICE_OFF) { /* no load starts while somebody is inside */
		uint16_t answered = p->at_once.pending & p->facts.pending;
		p->granted |= answered;
		p->facts.pending &= (uint16_t)~answered;
	}
	p->started = 1;
	p->refreshes++;
	p->phase = WAIT;
}

uint8_t pg_state(struct pg_player *p, uint8_t state, uint32_t now)
{
	if (state >= p->states)
		return 1;
	p->wish = state;
	p->wished = now;
	return 0;
}

uint8_t pg_value(struct pg_player *p, uint8_t value)
{
	if (value != p->value_told)
		p->news |= 1;
	p->value_told = value;
	return 0;
}

static uint8_t one(struct pg_player *p, uint8_t load, uint16_t *bit)
{
	*bit = (uint16_t)1 << (load & 15);
	if (load >= p->load_count)
		return 1;
	p->facts.known |= *bit;
	p->news |= 1;
	return 0;
}

uint8_t pg_ask(struct pg_player *p, uint8_t load)
{
	uint16_t bit;
	if (one(p, load, &bit))
		return 1;
	p->facts.starting |= bit;
	p->facts.pending |= bit;
	return 0;
}

uint8_t pg_running(struct pg_player *p, uint8_t load)
{
	uint16_t bit;
	if (one(p, load, &bit))
		return 1;
	p->facts.running |= bit;
	p->facts.starting &= (uint16_t)~bit;
	return 0;
}

uint8_t pg_stopped(struct pg_player *p, uint8_t load)
{
	uint16_t bit;
	if (one(p, load, &bit))
		return 1;
	p->facts.running &= (uint16_t)~bit;
	p->facts.starting &= (uint16_t)~bit;
	p->facts.pending &= (uint16_t)~bit;
	return 0;
}

uint8_t pg_loads(struct pg_player *p, uint16_t mask)
{
	if (mask & (uint16_t)~p->loads)
		return 1;
	p->facts.known = p->loads;
	p->facts.running = mask;
	p->facts.starting = p->facts.pending; /* a load that waits for its answer still waits */
	p->news |= 1;
	return 0;
}

uint8_t pg_level(struct pg_player *p, uint16_t lightness)
{
	if (lightness > 1000)
		return 1;
	p->told = pg_linear(lightness);
	p->news = PG_OUTDATED;
	return 0;
}

uint8_t pg_clock(struct pg_player *p, uint8_t day, uint32_t second)
{
	if (day > 6 || second >= 86400ul)
		return 1;
	p->day = day;
	p->second = second;
	p->micros = 0;
	pg_plan(p);
	return 0;
}

void pg_host(struct pg_player *p, uint32_t now)
{
	p->host = now;
	p->silent = 0;
}

uint8_t pg_service(struct pg_player *p, uint8_t mode)
{
	if (mode > PG_SERVICE_TEST)
		return 1;
	p->service_told = mode;
	return 0;
}

uint8_t pg_dead(struct pg_player *p, uint16_t pixel, uint8_t dead)
{
	uint8_t i, n, k;
	if (pixel >= PG_PIXELS)
		return 1;
	if (p->phase != WAIT && p->phase != HEADER && p->phase != DARK)
		return 2;
	for (n = 0; p->gaps[n] != PG_GAP_END; n++)
		;
	for (i = 0; i < n && p->gaps[i] < pixel; i++)
		;
	if (dead) {
		if (p->gaps[i] == pixel)
			return 0;
		if (n >= PG_GAPS)
			return 1;
		for (k = n; k > i; k--)
			p->gaps[k] = p->gaps[k - 1];
		p->gaps[i] = pixel;
	} else {
		if (p->gaps[i] != pixel)
			return 0;
#if PG_MISSING > 0
		for (k = 0; k < PG_MISSING; k++) {
			uint16_t m;
			pg_flash_copy(&m, &missing[k], sizeof m);
			if (m == pixel)
				return 1; /* the panel was built without it */
		}
#endif
		for (k = i; k < n; k++)
			p->gaps[k] = p->gaps[k + 1];
	}
	p->gaps[PG_GAPS] = PG_GAP_END;
	p->marked++;
	p->news = PG_OUTDATED;
	pg_idle(p);
	return 0;
}
