/* The chip's own flash written by the firmware, as the ATmega2560's data sheet has
 * it: SPM works out of the boot section only and within four cycles of the write to
 * SPMCSR; a page of 256 bytes is filled word by word, erased, written, each in its
 * time. Below the boot section (0x3E000) lies the flash that cannot be read while
 * it is written: the processor goes on, and must not fetch an instruction, take an
 * interrupt or read data there until it was enabled again. Above, the processor
 * stands still instead.
 *
 * Whatever breaks these rules ends the run with an error. The library's own model
 * takes no time and knows none of them; it is replaced.
 */
#include "board.h"

#include <simavr/sim_io.h>
#include <stdlib.h>
#include <string.h>

#define SPMCSR 0x57
#define RAMPZ 0x5b
#define IO(address) ((address) - 32)
#define PAGE 256u
#define BOOT 0x3e000u

enum { SPMEN = 1, PGERS = 2, PGWRT = 4, BLBSET = 8, RWWSRE = 16, RWWSB = 64 };

int selfprog_on;

static cycles erase_time, write_time;
static uint8_t buffer[PAGE];
static cycles armed, busy_until;
static int busy, section_busy;
static unsigned long pages, erasures;
static cycles all, longest;
static const char *kept;
static uint32_t kept_from;

static uint8_t flags(void)
{
	uint8_t f = avr->data[SPMCSR] & (uint8_t)~(SPMEN | PGERS | PGWRT | BLBSET | RWWSRE | RWWSB);
	if (busy && avr->cycle >= busy_until)
		busy = 0;
	return f | (busy ? SPMEN : 0) | (section_busy ? RWWSB : 0);
}

static uint8_t read_control(struct avr_t *a, avr_io_addr_t at, void *p)
{
	(void)p;
	a->data[at] = flags();
	return a->data[at];
}

static uint8_t asked;

static void write_control(struct avr_t *a, avr_io_addr_t at, uint8_t b, void *p)
{
	(void)at, (void)p;
	if (flags() & SPMEN)
		die("SPMCSR written at 0x%x while a page is written", a->pc);
	asked = b & (SPMEN | PGERS | PGWRT | BLBSET | RWWSRE);
	armed = a->cycle;
}

static void begin(uint32_t at, const uint8_t *b, int erase)
{
	cycles takes = erase ? erase_time : write_time;
	memory_change(avr->flash + at / PAGE * PAGE, b, PAGE, erase, takes);
	all += takes;
	if (takes > longest)
		longest = takes;
	if (erase)
		erasures++;
	else
		pages++;
	if (at >= BOOT) {
		avr->cycle += takes; /* the processor stands still */
		return;
	}
	busy = section_busy = 1;
	busy_until = avr->cycle + takes;
}

static void spm(void)
{
	uint32_t z = (uint32_t)avr->data[RAMPZ] << 16 | (uint32_t)avr->data[31] << 8 | avr->data[30];
	if (avr->pc < BOOT)
		die("SPM at 0x%x, outside the boot section: the chip does nothing", avr->pc);
	if (asked == 0 || avr->cycle - armed > 4)
		die("SPM at 0x%x, %llu cycles after SPMCSR was written, four are allowed", avr->pc, (unsigned long long)(avr->cycle - armed));
	switch (asked) {
	case SPMEN:
		/* A word of the buffer can be filled once. */
		if (buffer[z % PAGE & ~1u] == 0xff && buffer[z % PAGE | 1u] == 0xff) {
			buffer[z % PAGE & ~1u] = avr->data[0];
			buffer[z % PAGE | 1u] = avr->data[1];
		} else {
			die("SPM at 0x%x fills word 0x%x a second time", avr->pc, z % PAGE);
		}
		break;
	case SPMEN | PGERS:
		begin(z, NULL, 1);
		break;
	case SPMEN | PGWRT:
		begin(z, buffer, 0);
		memset(buffer, 0xff, sizeof buffer);
		break;
	case SPMEN | RWWSRE:
		if (flags() & SPMEN)
			die("the flash is enabled again at 0x%x while a page is written", avr->pc);
		section_busy = 0;
		memset(buffer, 0xff, sizeof buffer);
		break;
	default:
		die("SPM at 0x%x with 0x%02x in SPMCSR", avr->pc, asked);
	}
	asked = 0;
	avr->cycle += 3;
	avr->pc += 2;
}

/* Whether an instruction reads program memory, and how. */
static int reads_flash(unsigned op, int *far)
{
	*far = op == 0x95d8 || ((op & 0xfe0f) == 0x9006) || ((op & 0xfe0f) == 0x9007);
	return *far || op == 0x95c8 || ((op & 0xfe0f) == 0x9004) || ((op & 0xfe0f) == 0x9005);
}

void selfprog_step(void)
{
	unsigned op;
	int far;
	if (section_busy && avr->pc < BOOT)
		die("code at 0x%x is run while the flash below the boot section cannot be read", avr->pc);
	op = avr->flash[avr->pc] | (unsigned)avr->flash[avr->pc + 1] << 8;
	if ((op & 0xffef) == 0x95e8) { /* SPM, and SPM Z+, which this chip knows too */
		if (op != 0x95e8)
			die("SPM Z+ at 0x%x", avr->pc);
		spm();
		avr->cycle++;
		selfprog_step();
		return;
	}
	if (section_busy && reads_flash(op, &far)) {
		uint32_t z = (uint32_t)avr->data[31] << 8 | avr->data[30];
		if (far)
			z |= (uint32_t)avr->data[RAMPZ] << 16;
		if (z < BOOT)
			die("data at 0x%x are read, at 0x%x, while the flash below the boot section cannot be", z, avr->pc);
	}
}

void selfprog_start(cycles e, cycles w)
{
	selfprog_on = 1;
	erase_time = e;
	write_time = w;
	memset(buffer, 0xff, sizeof buffer);
	avr->io[IO(SPMCSR)].w.c = write_control;
	avr->io[IO(SPMCSR)].r.c = read_control;
}

void selfprog_load(uint32_t address, const char *file)
{
	FILE *f = fopen(file, "rb");
	size_t n;
	if (!f)
		die("%s: cannot be read", file);
	n = fread(avr->flash + address, 1, avr->flashend + 1u - address, f);
	(void)n;
	fclose(f);
}

/* The flash from an address up to the boot section is what the file holds, when
 * there is one, and the file holds it in the end. */
void selfprog_keep(uint32_t from, const char *file)
{
	FILE *f = fopen(file, "rb");
	kept = strdup(file);
	kept_from = from;
	if (f) {
		if (fread(avr->flash + from, 1, BOOT - from, f) != BOOT - from)
			die("%s: is too short", file);
		fclose(f);
	}
}

void selfprog_end(void)
{
	FILE *f;
	if (!kept)
		return;
	if (!(f = fopen(kept, "wb")) || fwrite(avr->flash + kept_from, 1, BOOT - kept_from, f) != BOOT - kept_from || fclose(f) != 0)
		die("%s: cannot be written", kept);
}

void selfprog_report(FILE *to)
{
	fprintf(to, "{\"pages\":%lu,\"erasures\":%lu,\"cycles\":%llu,\"longest\":%llu}", pages, erasures, (unsigned long long)all, (unsigned long long)longest);
}
