/* A part of decode.c: what a coded clip says of itself before its frames, verified in
 * small steps: head, start points, stretches, palette, a field's map. */
#ifndef PG_DECODE_HEAD_H
#define PG_DECODE_HEAD_H

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
	if (d->pair > BY_SHAPE || d->shift > 7)
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
	d->runs = 0;
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

/* opened begins with the palette, or with the frames. */
static uint8_t opened(struct pg_decoder *d)
{
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
	return d->flags & HAS_TURNS ? TURNS : opened(d);
}

/* turns verifies a few of the runs that a period turns, then what follows them. */
static uint8_t turns(struct pg_decoder *d)
{
	struct pg_cursor c;
	uint8_t n;
	pg_seek(&c, d->address + d->entry);
	if (!d->runs) {
		if (!(d->flags & HAS_PERIOD) || !d->slots || !room(d, 1))
			return FAULT;
		d->runs = pg_next(&c);
		d->turns_at = (uint16_t)++d->entry;
		d->stretch = 0;
		d->byte = 0;
		if (!d->runs)
			return FAULT;
	}
	for (n = 0; n < 16 && d->stretch != d->runs; n++) {
		uint16_t bytes, by;
		if (!room(d, 4))
			return FAULT;
		bytes = read16(&c);
		by = read16(&c);
		if (by >= bytes || bytes > d->plane - d->byte)
			return FAULT;
		d->byte += bytes;
		d->entry += 4;
		d->stretch++;
	}
	if (d->stretch != d->runs)
		return TURNS;
	return d->byte == d->plane ? opened(d) : FAULT;
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

#endif
