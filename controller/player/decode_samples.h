/* A part of decode.c: the samples of a plane, some at a time (docs/table-format.md,
 * section 4.3, sample). */
#ifndef PG_DECODE_SAMPLES_H
#define PG_DECODE_SAMPLES_H

/* A step of samples: how many at most, and for how much of residuals, 2 for one and
 * 7 more for a large one, of about 120 cycles each. */
enum { MOST_SAMPLES = 26, UNITS = 44, LEAST_UNITS = 10 };

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
static uint8_t samples(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t left = d->free ? 2 * MOST_SAMPLES : MOST_SAMPLES;
	(void)o;
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
static PG_APART void ready(struct pg_decoder *d, uint8_t *x, const uint8_t *base, int8_t off)
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
static PG_APART const uint8_t *older(const struct pg_decoder *d, uint8_t n)
{
	uint8_t i = d->head + n - 1;
	if (i >= d->slots)
		i -= d->slots;
	return d->ring + i * d->plane;
}

#endif
