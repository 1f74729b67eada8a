/* Inputs that come by a script and outputs that are written down: the edges of
 * a motor's encoder, a light barrier's pulses; relays. And the firmware's own
 * marks: GPIOR0 holds what it says, GPIOR1 which section of it runs (0: none). */
#include "board.h"

#include <simavr/avr_ioport.h>
#include <simavr/sim_io.h>
#include <stdlib.h>

#define GPIOR0 0x3e
#define GPIOR1 0x4a

/* ---- inputs */

struct train {
	avr_irq_t *irq;
	cycles width, period;
	unsigned long left;
	int high;
};

static avr_irq_t *pin(char port, int bit)
{
	avr_irq_t *irq = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ(port), bit);
	if (!irq)
		die("no pin %c%d", port, bit);
	return irq;
}

static avr_cycle_count_t turn(avr_t *a, avr_cycle_count_t when, void *p)
{
	struct train *t = p;
	(void)a;
	t->high = !t->high;
	avr_raise_irq(t->irq, (uint32_t)t->high);
	if (t->high)
		return when + t->width;
	return --t->left > 0 ? when + t->period - t->width : 0;
}

void pins_pulse(char port, int bit, cycles first, cycles width, cycles period, unsigned long count)
{
	struct train *t = calloc(1, sizeof *t);
	if (!t)
		die("out of memory");
	if (width == 0 || period <= width || count == 0)
		die("pulses of %llu cycles every %llu, %lu of them", (unsigned long long)width, (unsigned long long)period, count);
	t->irq = pin(port, bit);
	t->width = width;
	t->period = period;
	t->left = count;
	/* Inputs are low already. To say so would set off the library's low level
	 * interrupt, the mode after reset, which it then never ends. */
	avr_cycle_timer_register(avr, first + 1, turn, t);
}

/* ---- outputs */

struct record {
	char port;
	int bit, level;
	cycles *at;
	size_t n, room;
};
static struct record *records[16];
static int record_count;

static void changed(struct avr_irq_t *irq, uint32_t value, void *p)
{
	struct record *r = p;
	(void)irq;
	if ((int)(value & 1) == r->level)
		return;
	r->level = value & 1;
	r->at = more(r->at, r->n, &r->room, sizeof *r->at);
	r->at[r->n++] = avr->cycle;
}

void pins_record(char port, int bit)
{
	struct record *r = calloc(1, sizeof *r);
	if (record_count == 16 || !r)
		die("more than 16 pins to write down");
	records[record_count++] = r;
	r->port = port;
	r->bit = bit;
	avr_irq_register_notify(pin(port, bit), changed, r);
}

static void list(FILE *to, const cycles *at, size_t n)
{
	for (size_t i = 0; i < n; i++)
		fprintf(to, "%s%llu", i ? "," : "", (unsigned long long)at[i]);
}

/* Pins are low at first, so the changes at even places rise. */
void pins_report(FILE *to)
{
	fprintf(to, "[");
	for (int i = 0; i < record_count; i++) {
		fprintf(to, "%s{\"pin\":\"%c%d\",\"changes\":[", i ? "," : "", records[i]->port, records[i]->bit);
		list(to, records[i]->at, records[i]->n);
		fprintf(to, "]}");
	}
	fprintf(to, "]");
}

/* ---- marks and sections */

static uint8_t *mark;
static cycles *mark_at, *mark_busy; /* when, and what all sections took so far */
static size_t marks, mark_room, mark_at_room, mark_busy_room;
static cycles busy;
static int stop_at = -1;
int marks_stopped;

static struct {
	unsigned long count;
	cycles least, most, all, most_interrupted;
} sections[256];
static uint8_t section;
static cycles section_from;
static cycles section_interrupts;

static void marked(struct avr_t *a, avr_io_addr_t at, uint8_t v, void *p)
{
	(void)a, (void)p;
	avr->data[at] = v;
	mark = more(mark, marks, &mark_room, 1);
	mark_at = more(mark_at, marks, &mark_at_room, sizeof *mark_at);
	mark_at[marks] = avr->cycle;
	mark_busy = more(mark_busy, marks, &mark_busy_room, sizeof *mark_busy);
	mark_busy[marks] = busy;
	mark[marks++] = v;
	if (v == stop_at)
		marks_stopped = 1;
}

/* A section's cycles are its own: those of interrupts inside it are told apart.
 * From the OUT that opens it to the OUT that closes it is one cycle more than
 * what stands between them. */
static void sectioned(struct avr_t *a, avr_io_addr_t at, uint8_t v, void *p)
{
	(void)a, (void)p;
	avr->data[at] = v;
	if (section) {
		cycles whole = avr->cycle - section_from - 1;
		cycles own = whole - (interrupt_cycles - section_interrupts);
		if (sections[section].count++ == 0 || own < sections[section].least)
			sections[section].least = own;
		if (own > sections[section].most)
			sections[section].most = own;
		if (whole > sections[section].most_interrupted)
			sections[section].most_interrupted = whole;
		sections[section].all += own;
		busy += own;
	}
	section = v;
	section_from = avr->cycle;
	section_interrupts = interrupt_cycles;
}

void marks_start(int stop)
{
	stop_at = stop;
	avr_register_io_write(avr, GPIOR0, marked, NULL);
	avr_register_io_write(avr, GPIOR1, sectioned, NULL);
}

void marks_report(FILE *to)
{
	const char *sep = "";
	fprintf(to, "\"marks\":[");
	for (size_t i = 0; i < marks; i++)
		fprintf(to, "%s[%u,%llu,%llu]", i ? "," : "", mark[i], (unsigned long long)mark_at[i], (unsigned long long)mark_busy[i]);
	fprintf(to, "],\"sections\":[");
	for (int i = 0; i < 256; i++)
		if (sections[i].count) {
			fprintf(to, "%s{\"number\":%d,\"count\":%lu,\"least\":%llu,\"most\":%llu,\"most_interrupted\":%llu,\"cycles\":%llu}", sep, i,
				sections[i].count, (unsigned long long)sections[i].least, (unsigned long long)sections[i].most,
				(unsigned long long)sections[i].most_interrupted, (unsigned long long)sections[i].all);
			sep = ",";
		}
	fprintf(to, "]");
}
