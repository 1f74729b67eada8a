#include "pg_avr.h"

#include <avr/interrupt.h>
#include "pg_pixels.h"

/* A microsecond more than the parts ask for: the clock is read before the last
 * bit has ended. */
#define LATCH_US ((PG_LATCH_NS + 999ul) / 1000ul + 2ul)

/* Stretches of one line, twenty bytes of stack each: one for every strip, one more
 * after every pixel without an address, and what the test pictures part strips
 * into. */
#define STRETCHES(p) (PG_STRIPS + gaps(p))
#define STRIPES 10u /* of the picture for counting */
#define PERIOD 100u /* pixels that share one list of its colors */
#define MORE (PG_STRIPS * 2 + PG_PIXELS / PERIOD)

static const uint8_t masks[] = PG_LINE_MASKS;
typedef char masks_for_all_lines[sizeof masks >= PG_LINES ? 1 : -1];

/* ---- clock: timer 5 counts cycles, and this its overflows of 4,096 us each */

volatile uint32_t pg_avr_overflows; /* the lower three bytes count */

ISR(TIMER5_OVF_vect, ISR_NAKED)
{
	__asm__ volatile("push r24\n\t"
			 "in r24, __SREG__\n\t"
			 "push r24\n\t"
			 "lds r24, pg_avr_overflows\n\t"
			 "subi r24, 0xff\n\t"
			 "sts pg_avr_overflows, r24\n\t"
			 "lds r24, pg_avr_overflows+1\n\t"
			 "sbci r24, 0xff\n\t"
			 "sts pg_avr_overflows+1, r24\n\t"
			 "lds r24, pg_avr_overflows+2\n\t"
			 "sbci r24, 0xff\n\t"
			 "sts pg_avr_overflows+2, r24\n\t"
			 "pop r24\n\t"
			 "out __SREG__, r24\n\t"
			 "pop r24\n\t"
			 "reti");
}

uint32_t pg_avr_now(void)
{
	uint8_t s = SREG;
	uint16_t t;
	uint32_t n;
	cli();
	t = TCNT5;
	n = pg_avr_overflows;
	if ((TIFR5 & (1 << TOV5)) && t < 0x8000u)
		n++; /* it has overflowed and waits for its interrupt */
	SREG = s;
	return n << 12 | t >> 4;
}

/* ---- a refresh */

/* Colors of stretches whose pixels are all the same: black or the built-in still,
 * and those of the service pictures. */
#define COLORS 6
static uint8_t colors[COLORS][4], used;

struct list {
	struct pg_stretch *next, *end;
};

/* Adds a stretch of what stands in the walk's strip, from its pixel on. */
static struct pg_stretch *add(const struct pg_player *p, struct list *l, struct pg_walk *w, uint16_t count)
{
	struct pg_stretch *s = l->next;
	uint32_t gain = p->rails[w->strip.supply].gain;
	if (s == l->end)
		return 0; /* cannot be: the list has room for all */
	l->next++;
	s->index = p->decoder.frame; /* any that can be read */
	s->from = colors[0];
	s->key = s->step = 0;
	s->frozen = p->frozen + w->offset;
	s->count = count;
	s->gain = gain == 0 ? 0 : (uint16_t)(gain - 1);
	s->after = pg_pixels_change;
	s->guard = PG_GUARD;
	pg_pixels_order(s, w->dies, w->order);
	w->pixel += count;
	w->offset += count * w->dies;
	w->left -= count;
	return s;
}

/* A stretch that shows the clip, or the still or black in its place. */
static void add_shown(const struct pg_player *p, struct list *l, struct pg_walk *w, uint16_t count)
{
	uint16_t pixel = w->pixel, offset = w->offset;
	struct pg_stretch *s = add(p, l, w, count);
	if (s == 0)
		return;
	if (p->weight == 0) { /* only what the crossfade comes from */
		s->from = s->frozen;
		s->step = w->dies;
	} else if (p->source == PG_FROM_CLIP) { /* as pg_pixel_at has it */
		const struct pg_decoder *d = &p->decoder;
		const uint8_t *codes = d->frame;
#if PG_KEYS_CLIPS
		if (d->keys.on)
			codes = d->keys.out;
#endif
		if (pg_palette(d)) {
			s->index = d->frame + pixel;
			s->from = d->palette;
			s->key = PG_DIES;
		} else {
			s->from = codes + offset;
			s->step = w->dies;
		}
	}
}

/* How many pixels from here to the strip's end or the next that has no address. */
static uint16_t together(const struct pg_walk *w)
{
	uint16_t n = w->gap - w->pixel;
	return n < w->left ? n : w->left;
}

/* Sends a list that is full; 0, or 1 where it stopped. */
static uint8_t send(const struct pg_player *p, struct list *l, struct pg_stretch *first, uint8_t line)
{
	uint8_t bad;
	if (l->next == first)
		return 0;
	l->next[-1].after = pg_pixels_end;
	PG_TCCR = 1; /* a count a cycle */
	cli();
	bad = pg_pixels_send(first, masks[line], p->weight == 0 || p->weight > 255 ? 255 : (uint8_t)(p->weight - 1));
	sei();
	PG_TCCR = 0;
	return bad;
}

/* How many pixels have no address now. */
static uint8_t gaps(const struct pg_player *p)
{
	uint8_t n = 0;
	while (p->gaps[n] != PG_GAP_END)
		n++;
	return n;
}

static uint8_t send_shown(const struct pg_player *p, uint8_t line)
{
	uint8_t room = STRETCHES(p);
	struct pg_stretch s[room];
	struct list l = { s, s + room };
	struct pg_walk w;
	pg_walk_start(p, &w);
	while (pg_walk_strip(p, &w))
		if (w.strip.line == line)
			while (pg_walk_pixel(p, &w))
				add_shown(p, &l, &w, together(&w));
	return send(p, &l, s, line);
}

/* A place for a color of the service pictures: black and white stand first. */
static const uint8_t *color(const uint8_t *codes)
{
	uint8_t i, d;
	for (i = 0; i < used; i++) {
		for (d = 0; d < 4 && colors[i][d] == codes[d]; d++)
			;
		if (d == 4)
			return colors[i];
	}
	if (used == COLORS)
		return colors[0]; /* cannot be: the pictures have fewer */
	for (d = 0; d < 4; d++)
		colors[used][d] = codes[d];
	return colors[used++];
}

/* The service pictures change from pixel to pixel in two places only: around the
 * one that runs, and at every tenth. What looks the same goes together. */
static uint8_t send_service(const struct pg_player *p, uint8_t line)
{
	uint8_t room = STRETCHES(p) + MORE;
	struct pg_stretch s[room], *t;
	struct list l = { s, s + room };
	uint8_t tenth[PERIOD + STRIPES], counts = p->service == PG_SERVICE_TEST && p->picture == 4;
	uint8_t i;
	struct pg_walk w;
	for (i = 0; i < sizeof tenth; i++)
		tenth[i] = i % STRIPES == STRIPES - 1;
	pg_walk_start(p, &w);
	while (pg_walk_strip(p, &w)) {
		if (w.strip.line != line)
			continue;
		while (pg_walk_pixel(p, &w)) {
			uint8_t codes[4];
			uint16_t at = w.pixel - w.from, n = together(&w), last = w.strip.pixels - 1u;
			pg_service_pixel(p, &w, codes);
			if (counts && at > 0 && at < last) {
				if (n > last - at)
					n = last - at;
				if (n > PERIOD)
					n = PERIOD;
				t = add(p, &l, &w, n);
				if (t) {
					t->index = tenth + at % STRIPES;
					t->from = colors[0];
					t->key = sizeof colors[0];
				}
				continue;
			}
			if (counts || at == w.runner)
				n = 1;
			else if (at < w.runner && n > w.runner - at)
				n = w.runner - at;
			t = add(p, &l, &w, n);
			if (t)
				t->from = color(codes);
		}
	}
	return send(p, &l, s, line);
}

static uint8_t refresh(const struct pg_player *p)
{
	uint8_t line, d;
	for (d = 0; d < 4; d++) {
		colors[0][d] = 0;
		colors[1][d] = d < 3 ? PG_SERVICE_CODE : 0;
	}
	used = 2;
	if (p->source == PG_FROM_STILL) {
		colors[0][0] = PG_STILL_RED;
		colors[0][1] = PG_STILL_GREEN;
		colors[0][2] = PG_STILL_BLUE;
		colors[0][3] = PG_STILL_WHITE;
	}
	for (line = 0; line < PG_LINES; line++)
		if (p->source == PG_FROM_SERVICE ? send_service(p, line) : send_shown(p, line))
			return 1;
	return 0;
}

/* ---- */

void pg_avr_start(struct pg_avr *a)
{
	uint8_t i, all = 0;
	for (i = 0; i < PG_LINES; i++)
		all |= masks[i];
	PG_PORT &= (uint8_t)~all;
	PG_DDR |= all;
	a->ended = 0;
	a->sent = a->broken = a->held = 0;
	a->tries = a->owes = a->whole = 0;
	PG_TCCR = 0;
	TCCR0A = 0;
	TIMSK0 = 0;
	TCCR5A = 0;
	TCCR5B = 1 << CS50;
	TCNT5 = 0;
	TIMSK5 = 1 << TOIE5;
}

static void go(struct pg_avr *a, const struct pg_player *p)
{
	a->whole = !refresh(p);
	a->ended = pg_avr_now();
	a->owes = 1;
	if (a->whole) {
		a->sent++;
		a->tries = 0;
	} else {
		a->broken++;
		a->tries++;
	}
}

uint8_t pg_avr_run(struct pg_avr *a, struct pg_player *p)
{
	uint32_t now = pg_avr_now();
	uint8_t does;
	if (a->owes) {
		uint32_t since = now - a->ended;
		if (since < LATCH_US || (a->tries >= PG_AVR_TRIES && since < PG_AVR_REST))
			return PG_IDLE;
		if (!a->whole) {
			if (a->tries >= PG_AVR_TRIES) {
				a->held++;
				a->tries = 0;
			}
			go(a, p);
			return PG_SEND;
		}
		a->owes = 0;
		pg_sent(p);
		return PG_AGAIN;
	}
	does = pg_run(p, now);
	if (does == PG_SEND)
		go(a, p);
	return does;
}
