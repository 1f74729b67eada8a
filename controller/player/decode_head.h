/* A part of decode.c: what a coded clip says of itself before its frames, verified in
 * small steps: head, start points, stretches, palette, a field's map. */
#ifndef PG_DECODE_HEAD_H
#define PG_DECODE_HEAD_H

static const uint8_t strides[4] = {1, 3, 4, 0};

/* look goes to an offset of the clip. */
static PG_APART struct pg_cursor *look(struct pg_opening *o, pg_offset offset)
{
	pg_seek(&o->look, (pg_offset)o->clip.offset + offset);
	return &o->look;
}

/* entry reads the stretch that comes next: its pixels and stride, how it is
 * copied (0: it is coded), and as d->place the byte that it copies from on. */
static uint8_t entry(struct pg_decoder *d, struct pg_opening *o)
{
	uint16_t v = pg_take16(look(o, o->entry));
	uint8_t how;
	o->entry += 2;
	d->pixels = v & 0xfff;
	d->stride = strides[v >> 14];
	how = (uint8_t)(v >> 12) & 3;
	if (how) {
		d->place = pg_take16(&o->look);
		o->entry += 2;
	}
	return how;
}

/* room tells whether n more bytes of the payload lie at offset o->entry. */
static uint8_t room(const struct pg_opening *o, uint8_t n) { return (pg_offset)o->clip.length - o->entry >= n; }

/* What a coded clip says before its stretches. */
struct front {
	uint8_t flags, memory, colours, points;
	uint8_t points_at; /* offset of the start points */
	uint16_t end;      /* and of what follows them */
	uint32_t period;
};

/* front reads it; 0 if the clip is too short for it. */
static uint8_t front(const struct pg_clip *k, struct front *f)
{
	const pg_offset length = k->length;
	struct pg_cursor c;
	uint8_t n = 2;
	f->colours = f->points = 0;
	f->period = k->frames;
	if (length < n)
		return 0;
	pg_seek(&c, k->offset);
	f->flags = pg_take8(&c);
	f->memory = pg_take8(&c);
	if (f->flags & HAS_PALETTE) {
		if (length < ++n)
			return 0;
		f->colours = pg_take8(&c);
	}
	if (f->flags & HAS_PERIOD) {
		if (length < (n += 3))
			return 0;
		f->period = pg_take24(&c);
		if (!f->period)
			return 0;
	}
	if (f->flags & HAS_POINTS) {
		if (length < ++n)
			return 0;
		f->points = pg_take8(&c);
	}
	f->points_at = n;
	f->end = n + 6u * f->points;
	return length >= f->end;
}

#if PG_WITH_POINTS
/* point reads start point i. */
static uint32_t point(struct pg_opening *o, uint8_t i, pg_offset *offset)
{
	uint32_t frame = pg_take24(look(o, o->points_at + 6u * i));
	*offset = pg_take24(&o->look);
	return frame;
}
#endif

static uint8_t head(struct pg_decoder *d, struct pg_opening *o)
{
	struct front f;
	if (!front(&o->clip, &f) || o->clip.length == f.end)
		return FAULT;
	d->flags = f.flags;
	d->slots = f.memory & 15;
	d->shift = f.memory >> 4;
	d->pair = d->flags >> 3 & 3;
	if (d->pair > BY_SHAPE || d->shift > 7)
		return FAULT;
	o->colours = f.colours; /* one fewer than there are */
	d->plane = d->flags & HAS_PALETTE ? PG_PIXELS : PG_CHANNELS;
	d->hi = d->flags & HAS_PALETTE ? o->colours : 255;
	o->stored = f.period;
	if (!PG_WITH_POINTS && d->flags & HAS_POINTS)
		return FAULT;
	if (d->flags & HAS_PERIOD && f.period >= o->clip.frames)
		return FAULT;
	o->points = f.points;
	o->points_at = f.points_at;
	o->stretches = pg_take8(look(o, f.end));
	o->entry = o->entries = f.end + 1u;
	d->stretch = 0;
	d->byte = 0;
	o->ahead = o->bits_at = 0;
	o->runs = 0;
	return PG_WITH_POINTS ? POINTS : CHECK;
}

static uint16_t palette_bytes(const struct pg_opening *o) { return (o->colours + 1u) * PG_DIES; }

/* map_extra is the bytes before a field's palette, into which its map grows. */
static uint16_t map_extra(const struct pg_decoder *d, const struct pg_opening *o)
{
#if PG_KEYS_CLIPS
	if (d->keys.on == PG_FIELD)
		return palette_bytes(o);
#endif
	(void)d;
	(void)o;
	return 0;
}

/* lay gives the next n bytes of the work area to something. Past its end it gives
 * no more, and d->fault. */
static uint8_t *lay(struct pg_decoder *d, uint16_t n)
{
	uint8_t *at = d->work + d->place;
	if (n > PG_WORK - d->place)
		d->fault = 1;
	else
		d->place += n;
	return at;
}

/* plan lays out the work area; 0 if it is too small. */
static uint8_t plan(struct pg_decoder *d, struct pg_opening *o)
{
	uint16_t n = 0;
	uint8_t i;
	d->place = 0;
	d->cells = lay(d, CELLS);
	d->first = lay(d, d->flags & HAS_HISTORY ? PAST_CELLS : SLOPE_CELLS);
	if (d->pair == BY_VALUE)
		n = ((uint16_t)(d->hi >> d->shift) + 1) * 6u;
	else if (d->pair == BY_SHAPE)
		n = SHAPE_CELLS;
	d->second = lay(d, n);
	d->how = lay(d, 3u * o->stretches);
	d->palette = 0;
	if (d->flags & HAS_PALETTE)
		d->palette = lay(d, palette_bytes(o) + map_extra(d, o));
	d->past = 0;
	if (d->flags & HAS_HISTORY)
		d->past = lay(d, d->plane);
	d->ring = d->work + d->place;
	for (i = d->slots; i > 0; i--)
		lay(d, d->plane);
#if PG_KEYS_CLIPS
	d->work_end = d->place;
#endif
	return !d->fault;
}

#if PG_WITH_POINTS
/* points verifies a few start points. */
static uint8_t points(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t n;
	for (n = 0; n < 16 && d->stretch != o->points; n++) {
		pg_offset offset;
		uint32_t frame = point(o, d->stretch, &offset);
		if (frame <= o->ahead || frame >= o->stored || offset <= o->bits_at || offset > o->clip.length)
			return FAULT;
		o->ahead = frame;
		o->bits_at = offset;
		d->stretch++;
	}
	if (d->stretch != o->points)
		return POINTS;
	d->stretch = 0;
	return CHECK;
}
#endif

/* go puts the bits on at an offset of the clip. */
static PG_APART void go(struct pg_decoder *d, struct pg_opening *o, pg_offset offset)
{
	pg_seek(&d->at, (pg_offset)o->clip.offset + offset);
	d->left = (pg_offset)o->clip.length - offset;
}

/* opened begins with the palette, or with the frames. */
static uint8_t opened(struct pg_decoder *d, struct pg_opening *o)
{
	go(d, o, o->entry);
	d->channel = 0;
	if (d->palette) {
		uint8_t i;
		memset(d->work, 0, CELLS);
		memset(d->first, 0, SLOPE_CELLS);
		memset(d->palette + map_extra(d, o), 0, palette_bytes(o));
		for (i = 0; i < 2; i++)
			d->weights[i][0] = d->weights[i][1] = 0;
		begin(d);
		return PALETTE;
	}
	o->bits_at = o->entry;
	d->known = 1;
	return SEEK;
}

/* check verifies a few stretches, then what follows them. */
static uint8_t check(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t n;
	for (n = 0; n < 16; n++) {
		uint16_t bytes;
		uint8_t how;
		if (d->stretch == o->stretches)
			break;
		if (!room(o, 2))
			return FAULT;
		if (pg_take8(look(o, o->entry + 1u)) & 0x30 && !room(o, 4))
			return FAULT;
		how = entry(d, o);
		if (!d->stride || !d->pixels || (d->stride == 1) != !!(d->flags & HAS_PALETTE))
			return FAULT;
		if (d->pixels > d->plane || (bytes = d->pixels * d->stride) > d->plane - d->byte)
			return FAULT;
		if (how) {
			uint16_t last = d->place; /* the highest that it copies */
			if (last >= d->byte)
				return FAULT;
			if (how == 1)
				last += bytes - d->stride;
			else if (how == 2 && last < bytes - d->stride)
				return FAULT;
			if (last + d->stride > d->byte)
				return FAULT;
		}
		d->byte += bytes;
		d->stretch++;
	}
	if (d->stretch != o->stretches)
		return CHECK;
	if (d->byte != d->plane || !plan(d, o))
		return FAULT;
	return d->flags & HAS_TURNS ? TURNS : opened(d, o);
}

/* turns verifies a few of the runs that a period turns, then what follows them. */
static uint8_t turns(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t n;
	look(o, o->entry);
	if (!o->runs) {
		if (!(d->flags & HAS_PERIOD) || !d->slots || !room(o, 1))
			return FAULT;
		o->runs = pg_take8(&o->look);
		o->turns_at = ++o->entry;
		d->stretch = 0;
		d->byte = 0;
		if (!o->runs)
			return FAULT;
	}
	for (n = 0; n < 16 && d->stretch != o->runs; n++) {
		uint16_t bytes, by;
		if (!room(o, 4))
			return FAULT;
		bytes = pg_take16(&o->look);
		by = pg_take16(&o->look);
		if (by >= bytes || bytes > d->plane - d->byte)
			return FAULT;
		d->byte += bytes;
		o->entry += 4;
		d->stretch++;
	}
	if (d->stretch != o->runs)
		return TURNS;
	return d->byte == d->plane ? opened(d, o) : FAULT;
}

/* palette prepares the next die of the palette. */
static uint8_t palette(struct pg_decoder *d, struct pg_opening *o)
{
	uint8_t *x;
	if (d->fault)
		return FAULT;
	if (d->channel == PG_DIES) {
		d->hi = o->colours;
		o->bits_at = o->clip.length - d->left;
		d->place = 0;
		return MAP;
	}
	d->pixels = o->colours + 1u;
	d->stride = PG_DIES;
	d->wrap = d->free = d->pair = 0;
	d->by = AS_BEFORE;
	d->hi = 255;
	d->history = 0;
	d->after = PALETTE;
	x = d->palette + map_extra(d, o) + d->channel;
	ready(d, x, x, 0);
	d->channel++;
	return SAMPLES;
}

/* map ends the opening: a field's samples become light. */
static uint8_t map(struct pg_decoder *d, struct pg_opening *o)
{
#if PG_KEYS_CLIPS
	if (d->keys.on == PG_FIELD && !pg_keys_map(d))
		return MAP;
#endif
	(void)o;
	d->known = 1;
	return SEEK;
}

#endif
