#include "decode.h"

#include <string.h>

#ifdef __AVR__
#include <avr/pgmspace.h>
#define PG_TABLE(t, i) pgm_read_byte(&pg_states[t][i])
#define PG_ALIGNED __attribute__((aligned(256))) /* pg_stretch.S looks things up by page */
#define PG_STRETCH_ELSEWHERE
#else
#define PG_TABLE(t, i) pg_states[t][i]
#define PG_ALIGNED
#endif
/* The tables in pg_states: the state after a bit 0, after 1, and these. */
enum { EVIDENCE = 2, CHANCE };
#include "states.h"

/* Bits of a coded clip's first byte. */
enum { HAS_PALETTE = 1, HAS_WRAP = 2, HAS_HISTORY = 4, HAS_PERIOD = 32, HAS_POINTS = 64 };

/* Second contexts. */
enum { ALONE, BY_VALUE, BY_SHAPE };

/* Corrections of a prediction. */
enum { AS_BASE, AS_SLOPE, AS_HALF, AS_BEFORE, AS_LINEAR, AS_AGAIN, CORRECTIONS };

/* The work area begins with these contexts; then come the first and the second
 * contexts, the predictions, the palette, the history, the older frames. */
enum {
	SIZE = 0,           /* residuals over 1 and over 2, by the two before: 2 x 4 x 4 */
	TAIL = 32,          /* their lengths: 4 x 16 */
	SAME = 96, RAW, LIGHT, KEEP, BARE,
	EQUAL,              /* 16, by the number of the plane */
	CELLS = EQUAL + 16,
	PAST_CELLS = 600, SLOPE_CELLS = 150, SHAPE_CELLS = 450
};

/* What is done next. */
enum {
	HEAD, CHECK, POINTS, PALETTE, MAP, SEEK, CLEAR, NEXT, PUSH, FRAME, AS_IT_IS, AGE, STRETCH, COPY, PLANE, SAMPLES, DONE,
	PLAIN, FAULT
};

/* A step of samples: how many at most, and for how much of residuals, 2 for one and
 * 7 more for a large one, of about 120 cycles each. */
enum { MOST_SAMPLES = 26, UNITS = 44, LEAST_UNITS = 10 };

static uint8_t fetch(struct pg_decoder *d)
{
	if (!d->left) {
		d->fault = 1;
		return 0;
	}
	d->left--;
	return pg_next(&d->at);
}

static void begin(struct pg_decoder *d)
{
	d->range = 0xffff;
	d->value = (uint16_t)fetch(d) << 8;
	d->value |= fetch(d);
	d->bits = 0x80;
}

/* split decodes one bit that is 1 with a chance of p/256. */
static inline uint8_t split(struct pg_decoder *d, uint8_t p)
{
	uint16_t range = d->range, value = d->value;
	uint16_t bound = (uint16_t)(uint8_t)(range >> 8) * p;
	uint8_t bit;
	if (value < bound) {
		range = bound;
		bit = 1;
	} else {
		value -= bound;
		range -= bound;
		bit = 0;
	}
	if (!(range & 0x8000u)) {
		uint8_t bits = d->bits;
		do {
			uint8_t top = bits & 0x80;
			bits <<= 1;
			if (!bits) { /* that was the mark behind the last bit */
				bits = fetch(d);
				top = bits & 0x80;
				bits = (uint8_t)(bits << 1) | 1;
			}
			range <<= 1;
			value <<= 1;
			if (top)
				value |= 1;
		} while (!(range & 0x8000u));
		d->bits = bits;
	}
	d->range = range;
	d->value = value;
	return bit;
}

static uint8_t half(struct pg_decoder *d) { return split(d, 128); }

static uint8_t number(struct pg_decoder *d, uint8_t n)
{
	uint8_t v = 0;
	while (n--)
		v = (uint8_t)(v << 1) | half(d);
	return v;
}

/* single decodes one bit in one context. */
static uint8_t single(struct pg_decoder *d, uint8_t *cell)
{
	uint8_t s = *cell;
	int8_t e = (int8_t)PG_TABLE(EVIDENCE, s);
	uint8_t bit = split(d, PG_TABLE(CHANCE, (uint8_t)(e >> 1)));
	*cell = PG_TABLE(bit, s);
	return bit;
}

/* since is a sample's history after it went from was to v: where it went last,
 * 1 up and 2 down, and above that how many frames it has stood, to 16. */
static inline uint8_t since(uint8_t h, uint8_t v, uint8_t was)
{
	if (v == was)
		return h < 64 ? h + 4 : h;
	return v > was ? 1 : 2;
}

/* pg_stretch decodes up to d->n samples of a plane, at least one, and counts d->n
 * down; it stops before d->units, which residuals take, come to an end. 0 for a
 * sample outside its range. This is the one hot place of the decoder: AVR has it
 * in assembly, the same step by step. */
uint8_t pg_stretch(struct pg_decoder *d);

#ifndef PG_STRETCH_ELSEWHERE

/* near is a difference limited to -2..2, as 0..4; side its sign as 0..2. */
static uint8_t near(int16_t v) { return v >= 2 ? 4 : v <= -2 ? 0 : (uint8_t)(v + 2); }
static uint8_t side(int16_t v) { return v > 0 ? 2 : v < 0 ? 0 : 1; }
static uint8_t size3(uint8_t v) { return v > 3 ? 3 : v; }

/* size decodes the size of a residual that is not 0. */
static uint16_t size(struct pg_decoder *d)
{
	uint8_t *cell = d->cells + SIZE + size3(d->size1) * 4 + size3(d->size2), l = 0;
	uint16_t v = 1;
	if (!single(d, cell))
		return 1;
	if (!single(d, cell + 16))
		return 2;
	d->units -= 7;
	cell = d->cells + TAIL + size3((uint8_t)((uint16_t)(d->size1 + d->size2) >> 3)) * 16;
	while (l < 7 && single(d, cell + l))
		l++;
	if (l) {
		v = 2 | single(d, cell + 7 + l);
		while (--l)
			v = v << 1 | half(d);
	}
	return v + 2;
}

/* mixed decodes one bit in two contexts. */
static uint8_t mixed(struct pg_decoder *d, int16_t *w, uint8_t *a, uint8_t *b)
{
	uint8_t sa = *a, sb = *b, p, bit;
	int8_t ea = (int8_t)PG_TABLE(EVIDENCE, sa), eb = (int8_t)PG_TABLE(EVIDENCE, sb), err;
	int16_t sum = (int16_t)((int8_t)(w[0] >> 8) * ea + (int8_t)(w[1] >> 8) * eb) >> 7;
	if (sum > 127)
		sum = 127;
	if (sum < -127)
		sum = -127;
	p = PG_TABLE(CHANCE, (uint8_t)sum);
	bit = split(d, p);
	err = bit ? (int8_t)((256u - p) >> 1) : (int8_t)-(int8_t)(p >> 1);
	w[0] = (int16_t)((uint16_t)w[0] + (uint16_t)((int16_t)(err * ea) >> 4));
	w[1] = (int16_t)((uint16_t)w[1] + (uint16_t)((int16_t)(err * eb) >> 4));
	*a = PG_TABLE(bit, sa);
	*b = PG_TABLE(bit, sb);
	return bit;
}

/* predict gives the prediction of the next sample, which was was. */
static uint8_t predict(struct pg_decoder *d, uint8_t was)
{
	int16_t p = d->base;
	switch (d->by) {
	case AS_BASE: return (uint8_t)p;
	case AS_SLOPE: p += (int16_t)d->last - d->before; break;
	case AS_HALF: p += ((int16_t)d->last - d->before) >> 1; break;
	case AS_BEFORE: return d->last > d->hi ? d->hi : d->last;
	case AS_LINEAR:
		p = 2 * (int16_t)was - *d->older;
		d->older += d->stride;
		break;
	default:
		if (*d->history == 1)
			p++;
		else if (*d->history == 2)
			p--;
	}
	return p < 0 ? 0 : p > d->hi ? d->hi : (uint8_t)p;
}

uint8_t pg_stretch(struct pg_decoder *d)
{
	while (d->n) {
		uint8_t b = d->base, was = *d->x, next, p, v;
		d->q += d->step;
		next = *d->q;
		v = p = predict(d, was);
		if (!d->free) {
			uint8_t nr = near((int16_t)next - p), zero, *a;
			uint16_t m = 0, context = near((int16_t)d->before - p) * 5 + nr;
			uint8_t negative = 0;
			if (d->history) {
				uint8_t h = *d->history;
				context = context * 12 + (h < 4 ? 0 : h < 16 ? 3 : h < 64 ? 6 : 9) + (h & 3);
			} else
				context = context * 3 + side((int16_t)b + d->last - d->before - p);
			a = d->first + 2 * context;
			if (d->pair) {
				uint8_t *s, e = side((int16_t)was - p);
				if (d->pair == BY_VALUE)
					context = (uint16_t)(p >> d->shift) * 3 + e;
				else
					context = ((near((int16_t)d->last - p) * 5 + nr) * 3 + e) * 3 + d->side1;
				s = d->second + 2 * context;
				zero = mixed(d, d->weights[0], a, s);
				if (!zero)
					negative = mixed(d, d->weights[1], a + 1, s + 1);
			} else {
				zero = single(d, a);
				if (!zero)
					negative = single(d, a + 1);
			}
			if (!zero) {
				m = size(d);
				d->units -= 2;
				if (m > (negative ? p : d->hi - p))
					return 0;
				v = (uint8_t)(negative ? p - m : p + m);
			}
			d->size2 = d->size1;
			d->size1 = (uint8_t)m;
			d->side1 = !m ? 1 : negative ? 0 : 2;
		}
		*d->x = v;
		d->x += d->stride;
		if (d->history) {
			*d->history = since(*d->history, v, was);
			d->history += d->stride;
		}
		d->before = b;
		d->last = v;
		d->base = next;
		d->n--;
		if (d->units < LEAST_UNITS)
			break;
	}
	return 1;
}

#endif

/* samples decodes the next samples of a plane. */
static uint8_t samples(struct pg_decoder *d)
{
	uint8_t left = d->free ? 2 * MOST_SAMPLES : MOST_SAMPLES;
	d->units = UNITS;
	do {
		uint16_t n = d->todo - 1, held = 0, run = 0;
		d->step = 0;
		if (!n)
			n = 1; /* the last one: nothing comes after it */
		else if (d->hold)
			n = held = d->hold < n ? d->hold : n;
		else if (d->run) {
			d->step = d->stride;
			n = d->run < n ? d->run : n;
		} else if (d->wrap) {
			d->q = d->turn;
			n = 1;
			run = d->pixels - 1;
		}
		d->n = n > left ? left : (uint8_t)n;
		n = d->n;
		if (!pg_stretch(d))
			return FAULT;
		n -= d->n;
		left -= n;
		d->todo -= n;
		if (held)
			d->hold -= n;
		if (d->step)
			d->run -= n;
		if (n)
			d->run += run;
	} while (d->todo && left && d->units >= LEAST_UNITS);
	return d->todo ? SAMPLES : d->after;
}

/* ready prepares a plane: channel c of pixels samples, a stride apart, the
 * first at x; the base begins off pixels on from that place in `base`. */
static void ready(struct pg_decoder *d, uint8_t *x, const uint8_t *base, int8_t off)
{
	uint16_t n = d->pixels, j = 0;
	d->x = x;
	d->turn = base;
	d->todo = n;
	d->hold = 0;
	if (d->wrap) {
		int16_t k = off;
		while (k < 0)
			k += n;
		while (k >= (int16_t)n)
			k -= n;
		j = k;
	} else if (off < 0)
		d->hold = -off;
	else {
		j = off;
		if (j >= n)
			j = n - 1;
	}
	d->run = n - 1 - j;
	d->q = base + j * d->stride;
	d->base = d->before = d->last = *d->q;
	d->size1 = d->size2 = 0;
	d->side1 = 1;
}

/* older is frame n before the one in the making. */
static const uint8_t *older(const struct pg_decoder *d, uint8_t n)
{
	uint8_t i = d->head + n - 1;
	if (i >= d->slots)
		i -= d->slots;
	return d->ring + i * d->plane;
}

static const uint8_t strides[4] = {1, 3, 4, 0};

static uint16_t read16(struct pg_cursor *c)
{
	uint16_t v = pg_next(c);
	return v | (uint16_t)pg_next(c) << 8;
}

static uint32_t read24(struct pg_cursor *c)
{
	uint32_t v = read16(c);
	return v | (uint32_t)pg_next(c) << 16;
}

/* entry reads the stretch that comes next: its pixels and stride, how it is
 * copied (0: it is coded), and the byte that it copies from on. */
static uint8_t entry(struct pg_decoder *d, uint16_t *from)
{
	struct pg_cursor c;
	uint16_t v;
	uint8_t how;
	pg_seek(&c, d->address + d->entry);
	v = read16(&c);
	d->entry += 2;
	d->pixels = v & 0xfff;
	d->stride = strides[v >> 14];
	how = (uint8_t)(v >> 12) & 3;
	if (how) {
		*from = read16(&c);
		d->entry += 2;
	}
	return how;
}

/* room tells whether n more bytes of the payload lie at offset d->entry. */
static uint8_t room(const struct pg_decoder *d, uint8_t n) { return d->length - d->entry >= n; }

/* What a coded clip says before its stretches. */
struct front {
	uint8_t flags, memory, colours, points;
	uint16_t points_at, end; /* offsets of the start points and of what follows them */
	uint32_t period;
};

/* front reads it; 0 if the clip is too short for it. */
static uint8_t front(uint32_t address, uint32_t length, uint32_t frames, struct front *f)
{
	struct pg_cursor c;
	uint16_t n = 2;
	f->colours = f->points = 0;
	f->period = frames;
	if (length < n)
		return 0;
	pg_seek(&c, address);
	f->flags = pg_next(&c);
	f->memory = pg_next(&c);
	if (f->flags & HAS_PALETTE) {
		if (length < ++n)
			return 0;
		f->colours = pg_next(&c);
	}
	if (f->flags & HAS_PERIOD) {
		if (length < (n += 3))
			return 0;
		f->period = read24(&c);
		if (!f->period)
			return 0;
	}
	if (f->flags & HAS_POINTS) {
		if (length < ++n)
			return 0;
		f->points = pg_next(&c);
	}
	f->points_at = n;
	f->end = n + 6u * f->points;
	return length >= f->end;
}

/* point reads the start point at an address. */
static uint32_t point(uint32_t address, uint32_t *offset)
{
	struct pg_cursor c;
	uint32_t frame;
	pg_seek(&c, address);
	frame = read24(&c);
	*offset = read24(&c);
	return frame;
}

uint16_t pg_decode_starts(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames)
{
	struct front f;
	if (kind == PG_RAW)
		return frames > 65535u ? 65535u : (uint16_t)frames;
	return kind == PG_CODED && front(address, length, frames, &f) ? f.points + 1u : 1;
}

uint32_t pg_decode_start_frame(uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint16_t i)
{
	struct front f;
	uint32_t frame, offset;
	if (kind == PG_RAW)
		return i;
	if (kind != PG_CODED || !i || !front(address, length, frames, &f) || i > f.points)
		return 0;
	frame = point(address + f.points_at + 6ul * (i - 1), &offset);
	return frame < frames ? frame : 0;
}

static uint8_t head(struct pg_decoder *d)
{
	struct front f;
	struct pg_cursor c;
	if (!front(d->address, d->length, d->frames, &f) || d->length == f.end)
		return FAULT;
	d->flags = f.flags;
	d->slots = f.memory & 15;
	d->shift = f.memory >> 4;
	d->pair = d->flags >> 3 & 3;
	if (d->flags & 0x80 || d->pair > BY_SHAPE || d->shift > 7)
		return FAULT;
	d->colours = f.colours; /* one fewer than there are */
	d->plane = d->flags & HAS_PALETTE ? PG_PIXELS : PG_CHANNELS;
	d->hi = d->flags & HAS_PALETTE ? d->colours : 255;
	d->stored = f.period;
	if (d->flags & HAS_PERIOD && f.period >= d->frames)
		return FAULT;
	d->points = f.points;
	d->points_at = f.points_at;
	pg_seek(&c, d->address + f.end);
	d->stretches = pg_next(&c);
	d->entry = d->entries = f.end + 1ul;
	d->stretch = 0;
	d->byte = 0;
	d->ahead = d->bits_at = 0;
	return POINTS;
}

static uint16_t palette_bytes(const struct pg_decoder *d) { return (d->colours + 1u) * PG_DIES; }

/* map_extra is the bytes before a field's palette, into which its map grows. */
static uint16_t map_extra(const struct pg_decoder *d)
{
#if PG_KEYS_CLIPS
	if (d->keys.on == PG_FIELD)
		return palette_bytes(d);
#endif
	(void)d;
	return 0;
}

/* plan lays out the work area; 0 if it is too small. */
static uint8_t plan(struct pg_decoder *d)
{
	uint32_t n = CELLS;
	if (n + PAST_CELLS > PG_WORK)
		return 0;
	d->cells = d->work;
	d->first = d->work + n;
	n += d->flags & HAS_HISTORY ? PAST_CELLS : SLOPE_CELLS;
	d->second = d->work + n;
	if (d->pair == BY_VALUE)
		n += ((uint16_t)(d->hi >> d->shift) + 1) * 6u;
	else if (d->pair == BY_SHAPE)
		n += SHAPE_CELLS;
	if (n > PG_WORK)
		return 0;
	d->how = d->work + n;
	n += 3u * d->stretches;
	if (n > PG_WORK)
		return 0;
	d->palette = 0;
	if (d->flags & HAS_PALETTE) {
		d->palette = d->work + n;
		n += palette_bytes(d) + map_extra(d);
		if (n > PG_WORK)
			return 0;
	}
	d->past = 0;
	if (d->flags & HAS_HISTORY) {
		d->past = d->work + n;
		n += d->plane;
		if (n > PG_WORK)
			return 0;
	}
	d->ring = d->work + n;
	n += (uint32_t)d->slots * d->plane;
#if PG_KEYS_CLIPS
	d->work_end = (uint16_t)n;
#endif
	return n <= PG_WORK;
}

/* points verifies a few start points. */
static uint8_t points(struct pg_decoder *d)
{
	uint8_t n;
	for (n = 0; n < 16 && d->stretch != d->points; n++) {
		uint32_t offset, frame = point(d->address + d->points_at + 6u * d->stretch, &offset);
		if (frame <= d->ahead || frame >= d->stored || offset <= d->bits_at || offset > d->length)
			return FAULT;
		d->ahead = frame;
		d->bits_at = offset;
		d->stretch++;
	}
	if (d->stretch != d->points)
		return POINTS;
	d->stretch = 0;
	return CHECK;
}

/* check verifies a few stretches, then what follows them. */
static uint8_t check(struct pg_decoder *d)
{
	struct pg_cursor c;
	uint8_t n;
	for (n = 0; n < 16; n++) {
		uint16_t from = 0, bytes;
		uint8_t how;
		if (d->stretch == d->stretches)
			break;
		if (!room(d, 2))
			return FAULT;
		pg_seek(&c, d->address + d->entry + 1);
		if (pg_next(&c) & 0x30 && !room(d, 4))
			return FAULT;
		how = entry(d, &from);
		if (!d->stride || !d->pixels || (d->stride == 1) != !!(d->flags & HAS_PALETTE))
			return FAULT;
		if (d->pixels > d->plane || (bytes = d->pixels * d->stride) > d->plane - d->byte)
			return FAULT;
		if (how) {
			uint16_t low = from, high = from;
			if (from >= d->byte)
				return FAULT;
			if (how == 1)
				high += bytes - d->stride;
			else if (how == 2) {
				if (low < bytes - d->stride)
					return FAULT;
				low -= bytes - d->stride;
			}
			if (high + d->stride > d->byte)
				return FAULT;
		}
		d->byte += bytes;
		d->stretch++;
	}
	if (d->stretch != d->stretches)
		return CHECK;
	if (d->byte != d->plane || !plan(d))
		return FAULT;
	pg_seek(&d->at, d->address + d->entry);
	d->left = d->length - d->entry;
	d->channel = 0;
	if (d->palette) {
		uint8_t i;
		memset(d->work, 0, CELLS);
		memset(d->first, 0, SLOPE_CELLS);
		memset(d->palette + map_extra(d), 0, palette_bytes(d));
		for (i = 0; i < 2; i++)
			d->weights[i][0] = d->weights[i][1] = 0;
		begin(d);
		return PALETTE;
	}
	d->bits_at = d->entry;
	d->known = 1;
	return SEEK;
}

/* palette prepares the next die of the palette. */
static uint8_t palette(struct pg_decoder *d)
{
	uint8_t *x;
	if (d->fault)
		return FAULT;
	if (d->channel == PG_DIES) {
		d->hi = d->colours;
		d->bits_at = d->length - d->left;
		d->place = 0;
		return MAP;
	}
	d->pixels = d->colours + 1u;
	d->stride = PG_DIES;
	d->wrap = d->free = d->pair = 0;
	d->by = AS_BEFORE;
	d->hi = 255;
	d->history = 0;
	d->after = PALETTE;
	x = d->palette + map_extra(d) + d->channel;
	ready(d, x, x, 0);
	d->channel++;
	return SAMPLES;
}

/* map ends the opening: a field's samples become light. */
static uint8_t map(struct pg_decoder *d)
{
#if PG_KEYS_CLIPS
	if (d->keys.on == PG_FIELD && !pg_keys_map(d))
		return MAP;
#endif
	d->known = 1;
	return SEEK;
}

/* aim takes start point d->point for the one to come. */
static void aim(struct pg_decoder *d)
{
	d->point_frame = 0xffffffff;
	if (d->point < d->points)
		d->point_frame = point(d->address + d->points_at + 6u * d->point, &d->point_offset);
}

/* behind is how many start points are not behind a stored frame. */
static uint8_t behind(const struct pg_decoder *d, uint32_t frame)
{
	uint8_t low = 0, high = d->points;
	uint32_t offset;
	while (low < high) {
		uint8_t mid = low + ((high - low) >> 1);
		if (point(d->address + d->points_at + 6u * mid, &offset) > frame)
			high = mid;
		else
			low = mid + 1;
	}
	return low;
}

/* seek goes to the start point from which frame d->next is reached. */
static uint8_t seek(struct pg_decoder *d)
{
	uint32_t at = d->bits_at, inside = d->next;
	if (inside >= d->stored)
		inside %= d->stored;
	d->point = behind(d, inside);
	d->ahead = d->point ? point(d->address + d->points_at + 6u * (d->point - 1), &at) : 0;
	d->wanted = inside - d->ahead;
	aim(d);
	d->left = d->length - at;
	pg_seek(&d->at, d->address + at);
	d->place = 0;
	return CLEAR;
}

/* wipe sets up to 512 bytes to 0 and gives how many. */
static uint16_t wipe(uint8_t *p, uint16_t n)
{
	if (n > 512)
		n = 512;
	memset(p, 0, n);
	return n;
}

/* clear forgets everything but the palette, bit by bit. */
static uint8_t clear(struct pg_decoder *d)
{
	uint8_t *const end = d->ring + (uint16_t)d->slots * d->plane;
	uint8_t *const low = d->palette ? d->palette : end; /* the first that stays */
	uint8_t *const high = d->past ? d->past : d->ring;  /* and the first after it that goes */
	uint8_t *p = d->work + d->place;
	uint8_t i;
	if (p < low) {
		d->place += wipe(p, low - p);
		return CLEAR;
	}
	if (p < high)
		p = high;
	if (p < end) {
		d->place = p - d->work;
		d->place += wipe(p, end - p);
		return CLEAR;
	}
	memset(d->frame, 0, d->plane);
	for (i = 0; i < 2; i++)
		d->weights[i][0] = d->weights[i][1] = 45 << 8;
	d->head = 0;
	d->wrap = d->flags & HAS_WRAP;
	begin(d);
	return PUSH;
}

/* next goes to the next frame: on, back to the first, or to a start point. */
static uint8_t next(struct pg_decoder *d)
{
	d->place = 0;
	if (d->kind == PG_STILL)
		return DONE; /* it stands already */
	if (d->kind == PG_RAW) {
		if (!d->next)
			pg_seek(&d->at, d->address);
		return PLAIN;
	}
	if (!d->next || d->ahead == d->stored)
		return SEEK;
	if (d->ahead == d->point_frame) {
		if (d->left != d->length - d->point_offset)
			return FAULT;
		d->point++;
		aim(d);
		return CLEAR;
	}
	return PUSH;
}

/* push puts the last frame among the older ones. */
static uint8_t push(struct pg_decoder *d)
{
	if (d->slots) {
		if (!d->head)
			d->head = d->slots;
		d->head--;
		memcpy(d->ring + d->head * d->plane, d->frame, d->plane);
	}
	return FRAME;
}

static uint8_t frame(struct pg_decoder *d)
{
	d->place = 0;
	if (single(d, d->work + SAME))
		return d->past ? AGE : DONE;
	if (single(d, d->work + RAW)) {
		d->x = d->frame;
		d->history = d->past;
		d->todo = d->plane;
		d->stride = 1;
		d->after = DONE;
		return AS_IT_IS;
	}
	d->pair = d->flags >> 3 & 3;
	if (d->pair && single(d, d->work + LIGHT))
		d->pair = ALONE;
	d->stretch = d->number = 0;
	d->entry = d->entries;
	d->byte = 0;
	return STRETCH;
}

/* as_it_is reads samples that stand between the bits as they are. */
static uint8_t as_it_is(struct pg_decoder *d)
{
	uint8_t n = d->todo > 128 ? 128 : (uint8_t)d->todo, *h = d->history, *x = d->x;
	const uint8_t stride = d->stride;
	if (n > d->left)
		return FAULT;
	d->left -= n;
	d->todo -= n;
	for (; n; n--, x += stride) {
		uint8_t v = pg_next(&d->at);
		if (v > d->hi)
			return FAULT;
		if (h) {
			*h = since(*h, v, *x);
			h += stride;
		}
		*x = v;
	}
	d->x = x;
	d->history = h;
	if (d->todo)
		return AS_IT_IS;
	begin(d);
	return d->after;
}

/* age lets the samples of a repeated frame grow older. */
static uint8_t age(struct pg_decoder *d)
{
	uint8_t *h = d->past + d->place;
	uint16_t n = d->plane - d->place;
	if (n > 512)
		n = 512;
	d->place += n;
	for (; n; n--, h++)
		if (*h < 64)
			*h += 4;
	return d->place == d->plane ? DONE : AGE;
}

/* stretch begins the next stretch. */
static uint8_t stretch(struct pg_decoder *d)
{
	uint8_t *how = d->how + 3u * d->stretch;
	uint16_t from = 0;
	if (d->stretch == d->stretches)
		return DONE;
	d->stretch++;
	d->copied = entry(d, &from);
	if (d->copied) {
		d->place = from;
		d->todo = d->pixels;
		return COPY;
	}
	if (!single(d, d->work + KEEP)) {
		how[0] = number(d, 3);
		how[1] = how[2] = 0;
		if (half(d)) {
			how[1] = number(d, 4);
			how[2] = number(d, 5) - 16;
		}
		if (how[0] >= CORRECTIONS || ((how[1] || how[2]) && how[1] >= d->slots) || (how[0] == AS_LINEAR && d->slots < 2) ||
			(how[0] == AS_AGAIN && !d->past))
			return FAULT;
	}
	d->channel = 0;
	return PLANE;
}

/* copy fills a part of a copied stretch. */
static uint8_t copy(struct pg_decoder *d)
{
	uint8_t *to = d->frame + d->byte;
	const uint8_t *from = d->frame + d->place;
	const uint8_t n = d->stride;
	int8_t step = d->copied == 1 ? n : d->copied == 2 ? -n : 0;
	uint16_t left = d->todo < 160 ? d->todo : 160;
	d->todo -= left;
	for (; left; left--, from += step) {
		*to++ = from[0];
		if (n > 1) {
			*to++ = from[1];
			*to++ = from[2];
			if (n > 3)
				*to++ = from[3];
		}
	}
	d->byte = to - d->frame;
	d->place = from - d->frame;
	return d->todo ? COPY : STRETCH;
}

/* plane begins the next channel of a stretch. */
static uint8_t plane(struct pg_decoder *d)
{
	const uint8_t *how = d->how + 3u * (d->stretch - 1);
	const uint8_t *base = d->frame;
	const uint16_t at = d->byte + d->channel;
	if (d->channel == d->stride) {
		d->byte += d->pixels * d->stride;
		return STRETCH;
	}
	if (how[1] || how[2])
		base = older(d, how[1] + 1);
	d->by = how[0];
	if (d->by == AS_LINEAR)
		d->older = older(d, 2) + at;
	d->history = d->past ? d->past + at : 0;
	d->free = single(d, d->work + EQUAL + d->number);
	if (d->number < 15)
		d->number++;
	d->after = PLANE;
	ready(d, d->frame + at, base + at, (int8_t)how[2]);
	d->channel++;
	return !d->free && single(d, d->work + BARE) ? AS_IT_IS : SAMPLES;
}

/* done ends a frame of a coded clip. */
static uint8_t done(struct pg_decoder *d)
{
	if (d->kind == PG_CODED) {
		d->ahead++;
		if (d->fault || (d->ahead == d->stored && d->left))
			return FAULT;
	}
	return NEXT;
}

/* plain reads a part of a still or raw clip's frame. */
static uint8_t plain(struct pg_decoder *d)
{
	uint8_t *x = d->frame + d->place, n;
	uint16_t rest = PG_CHANNELS - d->place;
	n = rest > 192 ? 192 : (uint8_t)rest;
	d->place += n;
	for (; n; n--)
		*x++ = pg_next(&d->at);
	return d->place == PG_CHANNELS ? DONE : PLAIN;
}

uint8_t pg_plain_start(struct pg_decoder *d, uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint32_t frame)
{
	uint8_t same = d->known && d->kind == kind && d->address == address && d->length == length && d->frames == frames;
	d->kind = kind;
	d->address = address;
	d->length = length;
	d->frames = frames;
	d->next = frame;
	d->wanted = 0;
	d->place = 0;
	d->phase = FAULT;
	d->known = 0;
	if (kind > PG_CODED || frame >= frames)
		return PG_BAD;
	if (kind == PG_CODED) {
		d->phase = HEAD;
		if (same) {
			d->known = 1;
			d->phase = SEEK;
			return PG_MORE;
		}
	} else if (kind == PG_STILL) {
		if (length != PG_CHANNELS)
			return PG_BAD;
		frame = 0;
	} else if (length % PG_CHANNELS || length / PG_CHANNELS != frames)
		return PG_BAD;
	d->fault = 0;
	d->palette = 0;
	if (kind != PG_CODED) {
		pg_seek(&d->at, address + frame * PG_CHANNELS);
		d->phase = PLAIN;
	}
	return PG_MORE;
}

uint8_t pg_plain_step(struct pg_decoder *d)
{
	uint8_t was = d->phase, to;
	switch (was) {
	case HEAD: to = head(d); break;
	case CHECK: to = check(d); break;
	case POINTS: to = points(d); break;
	case PALETTE: to = palette(d); break;
	case MAP: to = map(d); break;
	case SEEK: to = seek(d); break;
	case CLEAR: to = clear(d); break;
	case NEXT: to = next(d); break;
	case PUSH: to = push(d); break;
	case FRAME: to = frame(d); break;
	case AS_IT_IS: to = as_it_is(d); break;
	case AGE: to = age(d); break;
	case STRETCH: to = stretch(d); break;
	case COPY: to = copy(d); break;
	case PLANE: to = plane(d); break;
	case SAMPLES: to = samples(d); break;
	case DONE: to = done(d); break;
	case PLAIN: to = plain(d); break;
	default: return PG_BAD;
	}
	d->phase = to;
	if (to == FAULT) {
		d->known = 0;
		return PG_BAD;
	}
	if (was != DONE)
		return PG_MORE;
	if (d->wanted) {
		d->wanted--;
		return PG_MORE;
	}
	if (++d->next == d->frames)
		d->next = 0;
	return PG_FRAME;
}

uint8_t pg_decode_start(struct pg_decoder *d, uint8_t kind, uint32_t address, uint32_t length, uint32_t frames, uint32_t frame)
{
#if PG_KEYS_CLIPS
	uint8_t on = kind == PG_KEYS || kind == PG_FIELD ? kind : 0;
	if (d->keys.on != on)
		d->known = 0; /* another layout of the memory */
	d->keys.on = on;
	if (on)
		return pg_keys_start(d, address, length, frames, frame);
#endif
	return pg_plain_start(d, kind, address, length, frames, frame);
}

uint8_t pg_decode_step(struct pg_decoder *d)
{
#if PG_KEYS_CLIPS
	if (d->keys.on)
		return pg_keys_step(d);
#endif
	return pg_plain_step(d);
}
