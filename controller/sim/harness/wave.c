/* What a strip of pixels sees on its data line: pulses to bits, bits to bytes,
 * bytes to refreshes, each time held against the limits of the data sheet.
 *
 * A refresh ends where the line stays low for the latch time. A low that is
 * longer than the part's gap and shorter than its latch is a gap that some chips
 * take for a latch and some do not: the refresh is marked broken.
 *
 * A pin changes here at the first cycle of the instruction that sets it, so
 * times between two OUT are exact.
 */
#include "board.h"

#include <simavr/avr_ioport.h>
#include <stdlib.h>
#include <string.h>

struct range {
	cycles least, most;
};

struct refresh {
	cycles at, end;
	size_t from, bits;
	unsigned long bad, broken;
	cycles gap;
};

struct wave {
	char port;
	int bit;
	struct limits l;
	int level, started, last;
	cycles rise, fall;
	struct range high[2], low[2], period, gap;
	unsigned long bad;
	uint8_t byte;
	struct bytes codes;
	struct refresh *refreshes;
	size_t n, room;
};

static struct wave *waves[8];
static int wave_count;

static void widen(struct range *r, cycles c)
{
	if (c < r->least)
		r->least = c;
	if (c > r->most)
		r->most = c;
}

static int outside(cycles c, const cycles *limits) { return c < limits[0] || c > limits[1]; }

static struct refresh *now(struct wave *w) { return &w->refreshes[w->n - 1]; }

static void rises(struct wave *w, cycles c)
{
	cycles low = c - w->fall;
	struct refresh *r;
	if (!w->started || low >= w->l.latch) {
		w->refreshes = more(w->refreshes, w->n, &w->room, sizeof *w->refreshes);
		r = &w->refreshes[w->n++];
		memset(r, 0, sizeof *r);
		r->at = c;
		r->from = w->codes.n;
		w->started = 1;
		w->rise = c;
		return;
	}
	r = now(w);
	const cycles *limits = w->last ? w->l.t1l : w->l.t0l;
	if (r->bits % 8 == 0) {
		/* Between bytes a low may be longer than its most, up to the gap. */
		widen(&w->gap, low);
		if (low > r->gap)
			r->gap = low;
		if (low > w->l.gap)
			r->broken++;
		if (low < limits[0])
			w->bad++, r->bad++;
	} else {
		widen(&w->low[w->last], low);
		widen(&w->period, c - w->rise);
		if (outside(low, limits))
			w->bad++, r->bad++;
	}
	w->rise = c;
}

static void falls(struct wave *w, cycles c)
{
	if (!w->started)
		return;
	cycles high = c - w->rise;
	struct refresh *r = now(w);
	int one = 2 * high > w->l.t0h[1] + w->l.t1h[0];
	w->fall = c;
	w->last = one;
	widen(&w->high[one], high);
	if (outside(high, one ? w->l.t1h : w->l.t0h))
		w->bad++, r->bad++;
	w->byte = (uint8_t)(w->byte << 1 | one);
	r->end = c;
	if (++r->bits % 8 == 0)
		put(&w->codes, w->byte);
}

static void changed(struct avr_irq_t *irq, uint32_t value, void *p)
{
	struct wave *w = p;
	int level = value & 1;
	(void)irq;
	if (level == w->level)
		return;
	w->level = level;
	if (level)
		rises(w, avr->cycle);
	else
		falls(w, avr->cycle);
}

void wave_watch(char port, int bit, const struct limits *l)
{
	struct wave *w = calloc(1, sizeof *w);
	struct range none = {~0ull, 0};
	if (wave_count == 8 || !w)
		die("more than 8 lines of pixels");
	waves[wave_count++] = w;
	w->port = port;
	w->bit = bit;
	w->l = *l;
	w->high[0] = w->high[1] = w->low[0] = w->low[1] = w->period = w->gap = none;
	avr_irq_t *irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit);
	if (!irq)
		die("no pin %c%d", port, bit);
	avr_irq_register_notify(irq, changed, w);
}

static void print(FILE *to, const char *name, const struct range *r)
{
	fprintf(to, "\"%s\":[%llu,%llu],", name, (unsigned long long)(r->most ? r->least : 0), (unsigned long long)r->most);
}

void wave_report(FILE *to)
{
	fprintf(to, "[");
	for (int i = 0; i < wave_count; i++) {
		struct wave *w = waves[i];
		fprintf(to, "%s{\"pin\":\"%c%d\",", i ? "," : "", w->port, w->bit);
		print(to, "t0h", &w->high[0]);
		print(to, "t1h", &w->high[1]);
		print(to, "t0l", &w->low[0]);
		print(to, "t1l", &w->low[1]);
		print(to, "period", &w->period);
		print(to, "gap", &w->gap);
		fprintf(to, "\"bad\":%lu,\"refreshes\":[", w->bad);
		for (size_t k = 0; k < w->n; k++) {
			struct refresh *r = &w->refreshes[k];
			int latched = k + 1 < w->n || (!w->level && avr->cycle - r->end >= w->l.latch);
			fprintf(to, "%s{\"at\":%llu,\"end\":%llu,\"bits\":%zu,\"latched\":%s,\"bad\":%lu,\"broken\":%lu,\"gap\":%llu,\"codes\":\"", k ? "," : "",
				(unsigned long long)r->at, (unsigned long long)r->end, r->bits, latched ? "true" : "false", r->bad, r->broken,
				(unsigned long long)r->gap);
			hex(to, w->codes.b + r->from, r->bits / 8);
			fprintf(to, "\"}");
		}
		fprintf(to, "]}");
	}
	fprintf(to, "]");
}
