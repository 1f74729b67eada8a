/* A part of decode.c: from frame to frame, and through a frame stretch by stretch. */
#ifndef PG_DECODE_FRAMES_H
#define PG_DECODE_FRAMES_H

#if PG_WITH_POINTS
/* aim takes start point o->point for the one to come. */
static void aim(struct pg_opening *o)
{
	o->point_frame = 0xffffffff;
	if (o->point < o->points)
		o->point_frame = point(o, o->point, &o->point_offset);
}

/* behind is how many start points are not behind a stored frame. */
static uint8_t behind(struct pg_opening *o, uint32_t frame)
{
	uint8_t low = 0, high = o->points;
	pg_offset offset;
	while (low < high) {
		uint8_t mid = low + ((high - low) >> 1);
		if (point(o, mid, &offset) > frame)
			high = mid;
		else
			low = mid + 1;
	}
	return low;
}
#endif

/* seek goes to the start point from which frame o->next is reached. */
static uint8_t seek(struct pg_decoder *d, struct pg_opening *o)
{
	pg_offset at = o->bits_at;
	uint32_t inside = o->next;
	if (inside >= o->stored)
		inside %= o->stored;
	o->ahead = 0;
#if PG_WITH_POINTS
	o->point = behind(o, inside);
	if (o->point)
		o->ahead = point(o, o->point - 1, &at);
	aim(o);
#endif
	o->wanted = inside - o->ahead;
	go(d, o, at);
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
static uint8_t clear(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t *const end = d->ring + (uint16_t)d->slots * d->plane;
	uint8_t *const low = d->palette ? d->palette : end; /* the first that stays */
	uint8_t *const high = d->past ? d->past : d->ring;  /* and the first after it that goes */
	uint8_t *p = d->work + d->place;
	uint8_t i;
	(void)o;
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
	d->head = d->turned = 0;
	d->wrap = d->flags & HAS_WRAP;
	begin(d);
	return PUSH;
}

/* next goes to the next frame: on, back to the first, or to a start point. */
static uint8_t next(struct pg_decoder *d, struct pg_opening *o)
{
	d->place = 0;
#if PG_WITH_PLAIN
	if (o->clip.kind == PG_STILL)
		return DONE; /* it stands already */
	if (o->clip.kind == PG_RAW) {
		if (!o->next)
			pg_seek(&d->at, o->clip.offset);
		return PLAIN;
	}
#endif
	if (!o->next || o->ahead == o->stored)
		return SEEK;
#if PG_WITH_POINTS
	if (o->ahead == o->point_frame) {
		if (d->left != (pg_offset)o->clip.length - o->point_offset)
			return FAULT;
		o->point++;
		aim(o);
		return CLEAR;
	}
#endif
	return PUSH;
}

/* push puts the last frame among the older ones; one that was turned stands there
 * already, as it was coded. */
static uint8_t push(struct pg_decoder *d, struct pg_opening *o)
{
	(void)o;
	if (d->turned) {
		d->turned = 0;
		memcpy(d->frame, d->ring + d->head * d->plane, d->plane);
	} else if (d->slots) {
		if (!d->head)
			d->head = d->slots;
		d->head--;
		memcpy(d->ring + d->head * d->plane, d->frame, d->plane);
	}
	return FRAME;
}

/* whole is what comes after a frame's last bit: a later turn of a period is shown
 * turned. */
static uint8_t whole(const struct pg_opening *o)
{
	return o->runs && !o->wanted && o->next >= o->stored ? TURN : DONE;
}

/* turn keeps the frame among the older ones and turns its runs, one a step. */
static uint8_t turn(struct pg_decoder *d, struct pg_opening *o)
{
	const uint8_t *from;
	uint16_t n, by;
	if (!d->turned) {
		push(d, o);
		d->turned = 1;
		d->stretch = 0;
		d->byte = 0;
		return TURN;
	}
	n = pg_take16(look(o, o->turns_at + 4u * d->stretch));
	by = pg_take16(&o->look);
	by = (uint16_t)(o->next / o->stored % n * by % n);
	from = d->ring + d->head * d->plane + d->byte;
	memcpy(d->frame + d->byte + by, from, n - by);
	memcpy(d->frame + d->byte, from + n - by, by);
	d->byte += n;
	d->stretch++;
	return d->stretch == o->runs ? DONE : TURN;
}

static uint8_t frame(struct pg_decoder *d, struct pg_opening *o)
{
	d->place = 0;
	if (single(d, d->work + SAME))
		return d->past ? AGE : whole(o);
	if (single(d, d->work + RAW)) {
		d->x = d->frame;
		d->history = d->past;
		d->todo = d->plane;
		d->stride = 1;
		d->after = whole(o);
		return AS_IT_IS;
	}
	d->pair = d->flags >> 3 & 3;
	if (d->pair && single(d, d->work + LIGHT))
		d->pair = ALONE;
	d->stretch = d->number = 0;
	o->entry = o->entries;
	d->byte = 0;
	return STRETCH;
}

/* as_it_is reads samples that stand between the bits as they are. */
static uint8_t as_it_is(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t n = d->todo > 128 ? 128 : (uint8_t)d->todo, *h = d->history, *x = d->x;
	const uint8_t stride = d->stride;
	(void)o;
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
static uint8_t age(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t *h = d->past + d->place;
	uint16_t n = d->plane - d->place;
	if (n > 512)
		n = 512;
	d->place += n;
	for (; n; n--, h++)
		if (*h < 64)
			*h += 4;
	return d->place == d->plane ? whole(o) : AGE;
}

/* stretch begins the next stretch. */
static uint8_t stretch(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t *how = d->how + 3u * d->stretch;
	if (d->stretch == o->stretches)
		return whole(o);
	d->stretch++;
	d->copied = entry(d, o);
	if (d->copied) {
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
static uint8_t copy(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t *to = d->frame + d->byte;
	const uint8_t *from = d->frame + d->place;
	const uint8_t n = d->stride;
	int8_t step = d->copied == 1 ? n : d->copied == 2 ? -n : 0;
	uint16_t left = d->todo < 160 ? d->todo : 160;
	(void)o;
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
static uint8_t plane(struct pg_decoder *d, struct pg_opening *o)
{
	const uint8_t *how = d->how + 3u * (d->stretch - 1);
	const uint8_t *base = d->frame;
	const uint16_t at = d->byte + d->channel;
	(void)o;
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
static uint8_t done(struct pg_decoder *d, struct pg_opening *o)
{
	if (!PG_WITH_PLAIN || o->clip.kind == PG_CODED) {
		o->ahead++;
		if (d->fault || (o->ahead == o->stored && d->left))
			return FAULT;
	}
	return NEXT;
}

#if PG_WITH_PLAIN
/* plain reads a part of a still or raw clip's frame. */
static uint8_t plain(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t *x = d->frame + d->place, n;
	uint16_t rest = PG_CHANNELS - d->place;
	(void)o;
	n = rest > 192 ? 192 : (uint8_t)rest;
	d->place += n;
	for (; n; n--)
		*x++ = pg_next(&d->at);
	return d->place == PG_CHANNELS ? DONE : PLAIN;
}
#endif

#endif
