/* One simulated board: an ATmega2560 of 16 MHz out of libsimavr, with the parts
 * of it that the library models too kindly replaced by honest ones. ../doc.go
 * says what is and what is not simulated.
 *
 * libsimavr is under the GNU GPL 3, so this is a program of its own that only
 * tests start; nothing of the product is linked with it.
 */
#ifndef BOARD_H
#define BOARD_H

#include <simavr/sim_avr.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>

#define HZ 16000000ull
#define RAM_FIRST 0x200u
#define RAM_LAST 0x21ffu
#define PAINT 0xc5 /* what memory holds that nobody has written */

typedef uint64_t cycles;

/* us in cycles, ns in cycles rounded to the nearest */
#define US(us) ((cycles)((us) * (double)(HZ / 1000000) + 0.5))

struct bytes {
	uint8_t *b;
	size_t n, room;
};
void put(struct bytes *to, uint8_t b);
void die(const char *format, ...) __attribute__((format(printf, 1, 2), noreturn));
void *more(void *old, size_t n, size_t *room, size_t size);

/* ---- the processor */
extern avr_t *avr;
extern cycles interrupts;      /* entered */
extern cycles interrupt_cycles;  /* spent in them, entry and RETI included */
extern cycles interrupt_longest; /* of one */
void board_start(const char *elf);
uint32_t board_symbol(const char *name, uint32_t *size); /* address in data space, or dies */
void board_on_reti(void (*f)(void));
void board_flip(cycles at, uint32_t address, uint8_t mask); /* bits of the flash turn */
unsigned board_stack(void);    /* bytes of stack ever used */
void board_vectors(FILE *to);  /* how often and how long each vector ran */

/* ---- the serial line, USART0, both directions */
void uart_start(double baud);
void uart_send_at(cycles at, const uint8_t *b, size_t n);
void uart_flood(cycles from, cycles until, const uint8_t *b, size_t n);
void uart_stream(const char *path, uint8_t sign, size_t grant, cycles latency);
void uart_talk(cycles period);  /* with a program on descriptors 3 and 4 */
void uart_report(FILE *to);
extern int uart_deferred; /* an interrupt is to be asked for once they are on */
void uart_level(void);

/* ---- strips of pixels on pins */
struct limits {
	cycles t0h[2], t1h[2], t0l[2], t1l[2]; /* least and most, inclusive; low times within a byte */
	cycles gap, latch;                     /* longest low inside a refresh; shortest that latches */
};
void wave_watch(char port, int bit, const struct limits *l);
void wave_report(FILE *to);

/* ---- other pins */
void pins_pulse(char port, int bit, cycles first, cycles width, cycles period, unsigned long count);
void pins_record(char port, int bit);
void pins_report(FILE *to);

/* ---- marks that the firmware sets in GPIOR0, and sections that it times in GPIOR1 */
void marks_start(int stop);
extern int marks_stopped;
void marks_report(FILE *to);

/* ---- memories that survive power: a change of some bytes, which power may be cut in */
void memory_change(uint8_t *m, const uint8_t *b, size_t n, int erase, cycles takes);
void memory_cut(unsigned long change, uint32_t seed); /* at the so many-th from now; 0: never */
unsigned long memory_changes(void);
extern int memory_power_gone;
extern const char *memory_torn; /* "erasure" or "page": what power was cut in the midst of */

/* ---- a serial NOR flash whose contents stand in a file */
void nor_start(const char *file, cycles page, cycles sector);
void nor_end(void);
void nor_report(FILE *to);

/* ---- the chip's own flash written by its own firmware; contents in a file too */
void selfprog_start(cycles page_erase, cycles page_write);
void selfprog_load(uint32_t address, const char *file);
void selfprog_keep(uint32_t from, const char *file); /* from there to the boot section */
void selfprog_end(void);
void selfprog_step(void); /* before every instruction */
extern int selfprog_on;
void selfprog_report(FILE *to);

/* ---- a computer that talks with the chip: commands on standard input, see live.c */
extern int live;
void live_run(cycles until);
void uart_say(const uint8_t *b, size_t n);
size_t uart_said(const uint8_t **b); /* whole bytes that the chip has sent since the last call */

void hex(FILE *to, const uint8_t *b, size_t n);

#endif
