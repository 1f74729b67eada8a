/* A refresh whose data lines go out one after the other, each code worked out while
 * the bits before it are on the wire. See pg_pixels.h. */
#include "pg_avr.h"

#include <avr/interrupt.h>
#include "pg_pixels.h"

#if !PG_TOGETHER

/* Stretches of one line, twenty bytes of stack each: one for every strip, one more
 * after every pixel without an address, and what the test pictures part strips
 * into. */
#define STRETCHES(p) (PG_STRIPS + gaps(p))
#define STRIPES 10u /* of the picture for counting */
#define PERIOD 100u /* pixels that share one list of its colors */
#define MORE (PG_STRIPS * 2 + PG_PIXELS / PERIOD)

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
#if PG_WITH_FADES
	s->frozen = p->frozen + w->offset;
#else
	s->frozen = p->decoder.frame + w->offset; /* read, and counts for nothing */
#endif
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
	uint8_t bad, mask = pg_avr_mask(line);
	if (l->next == first)
		return 0;
	l->next[-1].after = pg_pixels_end;
	PG_TCCR = 1; /* a count a cycle */
	cli();
	bad = pg_pixels_send(first, mask, p->weight == 0 || p->weight > 255 ? 255 : (uint8_t)(p->weight - 1));
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

uint8_t pg_avr_refresh(const struct pg_player *p)
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

#else
typedef int pg_not_in_turn; /* a source file holds something */
#endif
