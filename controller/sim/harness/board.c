#include "board.h"

#include <fcntl.h>
#include <gelf.h>
#include <simavr/sim_core.h>
#include <simavr/sim_interrupts.h>
#include <simavr/sim_io.h>
#include <stdarg.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

avr_t *avr;
cycles interrupts, interrupt_cycles, interrupt_longest;

static Elf *elf;
static uint32_t stack_floor; /* first byte above the variables */
static void (*on_reti[4])(void);
static int on_reti_count;

void die(const char *format, ...)
{
	va_list a;
	va_start(a, format);
	fprintf(stderr, "harness: ");
	vfprintf(stderr, format, a);
	fprintf(stderr, "\n");
	va_end(a);
	exit(2);
}

void *more(void *old, size_t n, size_t *room, size_t size)
{
	if (n < *room)
		return old;
	*room = *room ? *room * 2 : 256;
	void *now = realloc(old, *room * size);
	if (!now)
		die("out of memory");
	return now;
}

void put(struct bytes *to, uint8_t b)
{
	to->b = more(to->b, to->n, &to->room, 1);
	to->b[to->n++] = b;
}

/* The library's loader knows a fixed list of sections; what a linker script or
 * an .incbin adds it leaves out without a word. The program headers name everything. */
static void load(const char *path)
{
	int fd = open(path, O_RDONLY);
	size_t n = 0;
	if (fd < 0 || elf_version(EV_CURRENT) == EV_NONE || !(elf = elf_begin(fd, ELF_C_READ, NULL)))
		die("%s: cannot be read as ELF", path);
	if (elf_getphdrnum(elf, &n) != 0 || n == 0)
		die("%s: has no program headers", path);
	for (size_t i = 0; i < n; i++) {
		GElf_Phdr h;
		if (!gelf_getphdr(elf, (int)i, &h) || h.p_type != PT_LOAD || h.p_filesz == 0)
			continue;
		if (h.p_paddr >= 0x800000)
			continue; /* fuses, EEPROM */
		if (h.p_paddr + h.p_filesz > avr->flashend + 1u)
			die("%s: ends at 0x%lx, the flash at 0x%x", path, (unsigned long)(h.p_paddr + h.p_filesz), avr->flashend + 1u);
		if (pread(fd, avr->flash + h.p_paddr, h.p_filesz, (off_t)h.p_offset) != (ssize_t)h.p_filesz)
			die("%s: ends early", path);
	}
	avr->codeend = avr->flashend;
}

uint32_t board_symbol(const char *name, uint32_t *size)
{
	Elf_Scn *s = NULL;
	while ((s = elf_nextscn(elf, s))) {
		GElf_Shdr h;
		gelf_getshdr(s, &h);
		if (h.sh_type != SHT_SYMTAB)
			continue;
		Elf_Data *d = elf_getdata(s, NULL);
		for (size_t i = 0; i < h.sh_size / h.sh_entsize; i++) {
			GElf_Sym y;
			gelf_getsym(d, (int)i, &y);
			if (strcmp(elf_strptr(elf, h.sh_link, y.st_name), name) == 0) {
				if (size)
					*size = (uint32_t)y.st_size;
				return (uint32_t)(y.st_value & 0xffff);
			}
		}
	}
	die("the firmware has no symbol %s", name);
}

void board_on_reti(void (*f)(void)) { on_reti[on_reti_count++] = f; }

/* ---- interrupts */

static struct {
	cycles count, longest, all;
} vectors[64];
static unsigned inside[16];
static cycles since[16];
static unsigned depth;

/* The library enters an interrupt in no time; the processor takes five cycles
 * where the program counter has three bytes (data sheet, interrupt response). */
static void running(struct avr_irq_t *irq, uint32_t vector, void *p)
{
	(void)irq, (void)p;
	if (vector) {
		interrupts++;
		if (depth < 16) {
			inside[depth] = vector & 63;
			since[depth] = avr->cycle;
		}
		depth++;
		avr->cycle += 5;
		return;
	}
	if (depth > 0 && --depth < 16) {
		cycles took = avr->cycle + 5 - since[depth]; /* RETI's own five are not counted yet */
		unsigned v = inside[depth];
		vectors[v].count++;
		vectors[v].all += took;
		if (depth == 0)
			interrupt_cycles += took;
		if (took > vectors[v].longest)
			vectors[v].longest = took;
		if (took > interrupt_longest)
			interrupt_longest = took;
	}
	for (int i = 0; i < on_reti_count; i++)
		on_reti[i]();
}

void board_vectors(FILE *to)
{
	const char *sep = "";
	fprintf(to, "[");
	for (int i = 0; i < 64; i++)
		if (vectors[i].count) {
			fprintf(to, "%s{\"vector\":%d,\"count\":%llu,\"longest\":%llu,\"cycles\":%llu}", sep, i, (unsigned long long)vectors[i].count,
				(unsigned long long)vectors[i].longest, (unsigned long long)vectors[i].all);
			sep = ",";
		}
	fprintf(to, "]");
}

/* ---- the board */

static void nosleep(avr_t *a, avr_cycle_count_t n) { (void)a, (void)n; }

/* As the library's own, but for one thing: it lets two instructions pass after SEI
 * and RETI before it takes an interrupt, the processor one (data sheet, reset and
 * interrupt handling). */
static void step(avr_t *a)
{
	avr_flashaddr_t pc = a->pc;
	if (a->state == cpu_Running) {
		if (selfprog_on)
			selfprog_step();
		pc = avr_run_one(a);
	}
	avr_cycle_count_t idle = avr_cycle_timer_process(a);
	a->pc = pc;
	if (uart_deferred && a->sreg[S_I])
		uart_level();
	if (a->state == cpu_Sleeping) {
		if (!a->sreg[S_I]) {
			a->state = cpu_Done;
			return;
		}
		a->cycle += 1 + idle;
	}
	if (a->state == cpu_Running || a->state == cpu_Sleeping) {
		if (a->interrupt_state < -1)
			a->interrupt_state = -1;
		avr_service_interrupts(a);
	}
}

static void quiet(avr_t *a, const int level, const char *format, va_list ap)
{
	(void)a;
	if (level <= LOG_ERROR)
		vfprintf(stderr, format, ap);
}

void board_start(const char *path)
{
	avr_global_logger_set(quiet);
	if (!(avr = avr_make_mcu_by_name("atmega2560")))
		die("the library has no atmega2560");
	avr_init(avr);
	avr->frequency = HZ;
	avr->sleep = nosleep;
	avr->run = step;
	memset(avr->flash, 0xff, avr->flashend + 1u);
	load(path);
	memset(avr->data + RAM_FIRST, PAINT, RAM_LAST - RAM_FIRST + 1);
	stack_floor = board_symbol("_end", NULL);
	/* RUNNING is the second of a table's two signals; AVR_INT_ANY is the table's own. */
	avr_irq_register_notify(avr_get_interrupt_irq(avr, AVR_INT_ANY) + AVR_INT_IRQ_RUNNING, running, NULL);
}

struct flip {
	uint32_t address;
	uint8_t mask;
};

static avr_cycle_count_t flip(avr_t *a, avr_cycle_count_t when, void *p)
{
	const struct flip *f = p;
	(void)when;
	a->flash[f->address] ^= f->mask;
	return 0;
}

void board_flip(cycles at, uint32_t address, uint8_t mask)
{
	static struct flip flips[16];
	static int n;
	if (n == 16 || address > avr->flashend)
		die("more than 16 flips, or one at 0x%x of 0x%x bytes of flash", address, avr->flashend + 1u);
	flips[n] = (struct flip){ address, mask };
	avr_cycle_timer_register(avr, at, flip, &flips[n++]);
}

unsigned board_stack(void)
{
	uint32_t at = stack_floor;
	while (at <= RAM_LAST && avr->data[at] == PAINT)
		at++;
	return RAM_LAST + 1 - at;
}

void hex(FILE *to, const uint8_t *b, size_t n)
{
	for (size_t i = 0; i < n; i++)
		fprintf(to, "%02x", b[i]);
}
