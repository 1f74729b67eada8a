/* A serial NOR flash on the SPI pins, chip select on B0: the commands that data
 * sheets of the W25Q64 family give for reading, writing and erasing, with their
 * times; and the SPI unit itself, whose transfers take eight clocks here and a
 * fixed 100 us in the library.
 *
 * Writing turns ones to zeros and wraps within a page of 256 bytes; erasing takes a
 * sector of 4 KiB. Nothing is written without a write enable before it. While the
 * chip is busy it gives its status and nothing else; other commands are counted.
 * Power can be cut in the midst of a write or an erasure: then any of its bits may
 * have changed.
 */
#include "board.h"

#include <simavr/avr_ioport.h>
#include <simavr/sim_io.h>
#include <stdlib.h>
#include <string.h>

#define SPCR 0x4c
#define SPSR 0x4d
#define SPDR 0x4e
#define IO(address) ((address) - 32)
#define SIZE (1u << 23)
#define PAGE 256u
#define SECTOR 4096u

enum { SPIF = 128, WCOL = 64, SPI2X = 1, SPE = 64, MSTR = 16 };

static uint8_t *memory;
static const char *path;
static cycles page_time, sector_time;

/* the SPI unit */
static uint8_t received, last;
static cycles ready;
static int moving, flag, seen;

/* the chip */
static int selected, asleep = 1, enabled, reset_armed;
static uint8_t command, page[PAGE];
static unsigned count; /* bytes since the command */
static uint32_t at;
static int page_any;
static cycles busy_until;
static unsigned long early, ignored, pages, sectors;

static int busy(void) { return avr->cycle < busy_until; }

static uint8_t shift(uint8_t in)
{
	uint8_t out = 0xff;
	if (!selected)
		return 0xff;
	if (count++ == 0) {
		command = in;
		if (asleep && in != 0xab)
			command = 0;
		if (busy() && in != 0x05) {
			early++;
			command = 0;
		}
		if (command != 0x99)
			reset_armed = command == 0x66;
		if (command == 0x02)
			page_any = 0;
		return 0xff;
	}
	switch (command) {
	case 0x05:
		out = (uint8_t)((busy() ? 1 : 0) | (enabled ? 2 : 0));
		break;
	case 0x9f:
		out = count == 2 ? 0xef : count == 3 ? 0x40 : 0x17;
		break;
	case 0x03:
	case 0x02:
	case 0x20:
		if (count <= 4) {
			at = (at << 8 | in) & (SIZE - 1);
		} else if (command == 0x03) {
			out = memory[at];
			at = (at + 1) & (SIZE - 1);
		} else if (command == 0x02) {
			if (!page_any) {
				memset(page, 0xff, sizeof page);
				page_any = 1;
			}
			page[at % PAGE] = in;
			at = (at & ~(PAGE - 1)) | ((at + 1) % PAGE);
		}
	}
	return out;
}

/* The end of a command: what it asked for begins. */
static void released(void)
{
	if (busy()) {
		return;
	}
	switch (command) {
	case 0x06:
		enabled = 1;
		break;
	case 0x04:
		enabled = 0;
		break;
	case 0xab:
		asleep = 0;
		break;
	case 0xb9:
		asleep = 1;
		break;
	case 0x02:
		if (!enabled || !page_any) {
			ignored++;
			break;
		}
		enabled = 0;
		pages++;
		busy_until = avr->cycle + page_time;
		memory_change(memory + (at & ~(PAGE - 1)), page, PAGE, 0, page_time);
		break;
	case 0x20:
		if (!enabled || count < 4) {
			ignored++;
			break;
		}
		enabled = 0;
		sectors++;
		busy_until = avr->cycle + sector_time;
		memory_change(memory + at / SECTOR * SECTOR, NULL, SECTOR, 1, sector_time);
	}
}

static void select_pin(struct avr_irq_t *irq, uint32_t value, void *p)
{
	(void)irq, (void)p;
	if ((value & 1 ? 0 : 1) == selected)
		return;
	selected = !(value & 1);
	if (selected) {
		count = 0;
		command = 0;
	} else if (count > 0) {
		released();
	}
}

static cycles transfer(void)
{
	static const unsigned char divisors[4] = { 4, 16, 64, 128 };
	unsigned d = divisors[avr->data[SPCR] & 3];
	return 8 * (avr->data[SPSR] & SPI2X ? d / 2 : d);
}

static void settle(void)
{
	if (moving && avr->cycle >= ready) {
		moving = 0;
		flag = 1;
		last = received;
	}
}

static void write_data(struct avr_t *a, avr_io_addr_t io, uint8_t b, void *p)
{
	(void)p;
	settle();
	if ((a->data[SPCR] & (SPE | MSTR)) != (SPE | MSTR))
		die("the SPI unit is used without being switched on as a master");
	if (moving)
		die("a byte is given to the SPI unit %llu cycles before the one before it is out", (unsigned long long)(ready - a->cycle));
	a->data[io] = b;
	flag = seen = 0;
	moving = 1;
	ready = a->cycle + transfer();
	received = shift(b);
}

static uint8_t read_data(struct avr_t *a, avr_io_addr_t io, void *p)
{
	(void)p;
	settle();
	if (seen)
		flag = seen = 0;
	a->data[io] = last;
	return last;
}

static uint8_t read_flags(struct avr_t *a, avr_io_addr_t io, void *p)
{
	(void)p;
	settle();
	a->data[io] = (uint8_t)((a->data[io] & SPI2X) | (flag ? SPIF : 0));
	seen = flag;
	return a->data[io];
}

static void write_flags(struct avr_t *a, avr_io_addr_t io, uint8_t b, void *p)
{
	(void)p;
	a->data[io] = b & SPI2X;
}

static void write_control(struct avr_t *a, avr_io_addr_t io, uint8_t b, void *p)
{
	(void)p;
	a->data[io] = b;
}

void nor_start(const char *file, cycles page_cycles, cycles sector_cycles)
{
	FILE *f = fopen(file, "rb");
	if (!(memory = malloc(SIZE)))
		die("out of memory");
	memset(memory, 0xff, SIZE);
	if (f) {
		if (fread(memory, 1, SIZE, f) == 0 && ferror(f))
			die("%s: cannot be read", file);
		fclose(f);
	}
	path = strdup(file);
	page_time = page_cycles;
	sector_time = sector_cycles;
	avr->io[IO(SPDR)].w.c = write_data;
	avr->io[IO(SPDR)].r.c = read_data;
	avr->io[IO(SPSR)].r.c = read_flags;
	avr->io[IO(SPSR)].w.c = write_flags;
	avr->io[IO(SPCR)].w.c = write_control;
	avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('B'), 0), select_pin, NULL);
}

/* The file holds the memory up to its last byte that is not erased. */
void nor_end(void)
{
	size_t n = SIZE;
	FILE *f;
	if (!path)
		return;
	while (n > 0 && memory[n - 1] == 0xff)
		n--;
	if (!(f = fopen(path, "wb")) || fwrite(memory, 1, n, f) != n || fclose(f) != 0)
		die("%s: cannot be written", path);
}

void nor_report(FILE *to)
{
	fprintf(to, "{\"pages\":%lu,\"sectors\":%lu,\"early\":%lu,\"ignored\":%lu}", pages, sectors, early, ignored);
}
