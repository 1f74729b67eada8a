/* The serial line. The library's model has a receive buffer of 64 bytes and
 * sends at once; this one has what the chip has: a shift register and two bytes
 * behind it when receiving, a shift register and one byte before it when
 * sending, and ten bit times for each byte.
 *
 * The chip's own bit time follows from UBRR0 and U2X0; the computer's from the
 * rate of the script. A receiver samples the stop bit in its middle, 9.5 bit
 * times after the start, so a mismatch of 5 % and more is taken for garbage:
 * such a byte arrives with all bits inverted, and is counted.
 */
#include "board.h"

#include <simavr/avr_uart.h>
#include <simavr/sim_io.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define UCSR0A 0xc0
#define UCSR0B 0xc1
#define UBRR0L 0xc4
#define UBRR0H 0xc5
#define UDR0 0xc6
#define IO(address) ((address) - 32)

enum { U2X = 2, DOR = 8, UDRE = 32, TXC = 64, RXC = 128, RXEN = 16, TXEN = 8 };

static avr_uart_t *u;
static double baud;

/* received by the chip */
static uint8_t fifo[2], shift, waiting;
static int filled, dor, receiving, waits;
static cycles sent_by_host, lost, garbled, taken;

/* sent by the chip */
static uint8_t holding;
static int holds, transmitting, txc;
static struct bytes out;
static cycles *out_at;
static size_t out_room;

/* what the computer says */
struct piece {
	cycles at, until; /* until 0: once */
	struct bytes b;
	size_t next;
};
static struct piece *pieces;
static size_t piece_count, piece_room;
static struct bytes stream;
static size_t stream_next, credit, grant;
static uint8_t sign;
static int streams;
static cycles latency;

/* a program that is the computer */
static cycles talk_period;
static struct bytes talk; /* what it has said */
static size_t talk_next, talk_heard;

static cycles host_byte(void) { return (cycles)(10.0 * HZ / baud + 0.5); }

static cycles chip_byte(void)
{
	unsigned n = (avr->data[UBRR0L] | (avr->data[UBRR0H] & 15u) << 8) + 1;
	return 10ull * n * ((avr->data[UCSR0A] & U2X) ? 8 : 16);
}

int uart_deferred;

/* uart_level brings flags and interrupts to the state: they are levels, not edges. */
void uart_level(void)
{
	uint8_t a = avr->data[UCSR0A] & U2X;
	a |= (filled ? RXC : 0) | (dor ? DOR : 0) | (holds ? 0 : UDRE) | (txc ? TXC : 0);
	avr->data[UCSR0A] = a;
	/* With interrupts off it is asked for when they are on again: the library keeps
	 * every asking in a list of 64, and a firmware that polls would fill it. */
	uart_deferred = filled && !avr->sreg[S_I];
	if (filled && !uart_deferred)
		avr_raise_interrupt(avr, &u->rxc);
	else if (u->rxc.pending)
		avr_clear_interrupt(avr, &u->rxc);
	if (!holds && (avr->data[UCSR0B] & TXEN))
		avr_raise_interrupt(avr, &u->udrc);
	else if (u->udrc.pending)
		avr_clear_interrupt(avr, &u->udrc);
	avr->data[UCSR0A] = a; /* raising and clearing touch the flags too */
}

/* ---- towards the chip */

static int host_next(uint8_t *b)
{
	for (size_t i = 0; i < piece_count; i++) {
		struct piece *p = &pieces[i];
		if (p->at > avr->cycle)
			continue;
		if (p->next == p->b.n && p->until > avr->cycle)
			p->next = 0;
		if (p->next < p->b.n) {
			*b = p->b.b[p->next++];
			return 1;
		}
	}
	if (talk_next < talk.n) {
		*b = talk.b[talk_next++];
		return 1;
	}
	if (credit > 0 && stream_next < stream.n) {
		credit--;
		*b = stream.b[stream_next++];
		return 1;
	}
	return 0;
}

static avr_cycle_count_t arrived(avr_t *a, avr_cycle_count_t when, void *p);

static void begin_byte(void)
{
	uint8_t b;
	if (receiving || !host_next(&b))
		return;
	shift = b;
	receiving = 1;
	sent_by_host++;
	avr_cycle_timer_register(avr, host_byte(), arrived, NULL);
}

static void take(uint8_t b)
{
	double off = (double)chip_byte() / (double)host_byte();
	if (!(avr->data[UCSR0B] & RXEN)) {
		lost++;
		return;
	}
	if (off < 0.95 || off > 1.05) {
		b = (uint8_t)~b;
		garbled++;
	}
	if (filled < 2) {
		fifo[filled++] = b;
	} else {
		if (waits) { /* the shift register still held a byte: it is overwritten */
			lost++;
			dor = 1;
		}
		waits = 1;
		waiting = b;
	}
}

static avr_cycle_count_t arrived(avr_t *a, avr_cycle_count_t when, void *p)
{
	uint8_t b;
	(void)a, (void)p;
	receiving = 0;
	take(shift);
	uart_level();
	if (!host_next(&b))
		return 0;
	shift = b;
	receiving = 1;
	sent_by_host++;
	return when + host_byte();
}

static uint8_t read_data(struct avr_t *a, avr_io_addr_t at, void *p)
{
	uint8_t b = fifo[0];
	(void)a, (void)p;
	if (filled) {
		taken++;
		fifo[0] = fifo[1];
		filled--;
		if (waits) {
			fifo[filled++] = waiting;
			waits = 0;
		}
		dor = 0;
	}
	avr->data[at] = b;
	uart_level();
	return b;
}

static uint8_t read_status(struct avr_t *a, avr_io_addr_t at, void *p)
{
	(void)a, (void)p;
	return avr->data[at]; /* without the library's usleep */
}

/* The computer says this now, after what it has not said yet. */
void uart_say(const uint8_t *b, size_t n)
{
	for (size_t i = 0; i < n; i++)
		put(&stream, b[i]);
	credit += n;
	begin_byte();
}

/* ---- from the chip */

static avr_cycle_count_t granted(avr_t *a, avr_cycle_count_t when, void *p)
{
	(void)a, (void)when;
	(void)p;
	credit += grant;
	begin_byte();
	return 0;
}

/* Grants that are on their way when another comes: one timer each, told apart by
 * an argument of their own, as the library knows timers by function and argument. */
static char ways[32];
static unsigned way;

static avr_cycle_count_t sent(avr_t *a, avr_cycle_count_t when, void *p)
{
	uint8_t b;
	(void)a, (void)p;
	b = out.b[out.n - 1];
	if (streams && b == sign)
		avr_cycle_timer_register(avr, latency + 1, granted, &ways[way++ % sizeof ways]);
	if (holds) {
		out_at = more(out_at, out.n, &out_room, sizeof *out_at);
		out_at[out.n] = avr->cycle;
		put(&out, holding);
		holds = 0;
		uart_level();
		return when + chip_byte();
	}
	transmitting = 0;
	txc = 1;
	uart_level();
	return 0;
}

static void write_data(struct avr_t *a, avr_io_addr_t at, uint8_t b, void *p)
{
	(void)a, (void)at, (void)p;
	if (!(avr->data[UCSR0B] & TXEN) || holds)
		return; /* as on the chip: written over a full register, lost */
	txc = 0;
	if (transmitting) {
		holding = b;
		holds = 1;
	} else {
		transmitting = 1;
		out_at = more(out_at, out.n, &out_room, sizeof *out_at);
		out_at[out.n] = avr->cycle;
		put(&out, b);
		avr_cycle_timer_register(avr, chip_byte(), sent, NULL);
	}
	uart_level();
}

static void write_status(struct avr_t *a, avr_io_addr_t at, uint8_t b, void *p)
{
	(void)a, (void)p;
	if (b & TXC)
		txc = 0;
	avr->data[at] = b & U2X;
	uart_level();
}

static void write_control(struct avr_t *a, avr_io_addr_t at, uint8_t b, void *p)
{
	(void)a, (void)p;
	avr->data[at] = b;
	if (!(b & RXEN))
		filled = waits = dor = 0;
	uart_level();
}

/* ---- */

/* due begins what is to be said now, and comes back for the piece after it. */
static avr_cycle_count_t due(avr_t *a, avr_cycle_count_t when, void *p)
{
	cycles next = 0;
	(void)a, (void)when, (void)p;
	begin_byte();
	for (size_t i = 0; i < piece_count; i++)
		if (pieces[i].at > avr->cycle && (next == 0 || pieces[i].at < next))
			next = pieces[i].at;
	return next;
}

static void whole(ssize_t (*move)(int, void *, size_t), int fd, void *b, size_t n)
{
	uint8_t *at = b;
	while (n > 0) {
		ssize_t k = move(fd, at, n);
		if (k <= 0)
			die("the program that is the computer has gone");
		at += k;
		n -= (size_t)k;
	}
}

static ssize_t tell(int fd, void *b, size_t n) { return write(fd, b, n); }

/* Every period it is told what the chip has sent, and says what it sends from now
 * on: two bytes of length, low one first, and so many bytes, each way. The simulated
 * time stands still meanwhile. */
static avr_cycle_count_t exchange(avr_t *a, avr_cycle_count_t when, void *p)
{
	uint8_t n[2], b[65536];
	size_t heard = out.n - talk_heard, i, k;
	(void)a, (void)p;
	if (heard > 0xffff)
		heard = 0xffff;
	n[0] = (uint8_t)heard;
	n[1] = (uint8_t)(heard >> 8);
	whole(tell, 4, n, 2);
	whole(tell, 4, out.b + talk_heard, heard);
	talk_heard += heard;
	whole(read, 3, n, 2);
	k = n[0] | (size_t)n[1] << 8;
	whole(read, 3, b, k);
	if (talk_next == talk.n)
		talk_next = talk.n = 0;
	for (i = 0; i < k; i++)
		put(&talk, b[i]);
	begin_byte();
	return when + talk_period;
}

void uart_talk(cycles period)
{
	talk_period = period;
}

void uart_start(double rate)
{
	baud = rate;
	u = avr->io[IO(UDR0)].r.param;
	avr->io[IO(UDR0)].r.c = read_data;
	avr->io[IO(UDR0)].w.c = write_data;
	avr->io[IO(UCSR0A)].r.c = read_status;
	avr->io[IO(UCSR0A)].w.c = write_status;
	avr->io[IO(UCSR0B)].w.c = write_control;
	/* the bit time is read off the registers when it is needed */
	avr->io[IO(UBRR0L)].w.c = NULL;
	avr->io[IO(UBRR0H)].w.c = NULL;
	board_on_reti(uart_level);
	avr_cycle_timer_register(avr, 1, due, NULL);
	if (talk_period)
		avr_cycle_timer_register(avr, talk_period, exchange, NULL);
}

static void add_piece(cycles at, cycles until, const uint8_t *b, size_t n)
{
	struct piece *p;
	pieces = more(pieces, piece_count, &piece_room, sizeof *pieces);
	p = &pieces[piece_count++];
	memset(p, 0, sizeof *p);
	p->at = at;
	p->until = until;
	for (size_t i = 0; i < n; i++)
		put(&p->b, b[i]);
}

void uart_send_at(cycles at, const uint8_t *b, size_t n) { add_piece(at, 0, b, n); }
void uart_flood(cycles from, cycles until, const uint8_t *b, size_t n) { add_piece(from, until, b, n); }

void uart_stream(const char *path, uint8_t s, size_t g, cycles l)
{
	FILE *f = fopen(path, "rb");
	int c;
	if (!f)
		die("%s: cannot be read", path);
	while ((c = getc(f)) != EOF)
		put(&stream, (uint8_t)c);
	fclose(f);
	streams = 1;
	sign = s;
	grant = g;
	latency = l;
}

/* A byte counts when its stop bit has gone out. */
size_t uart_said(const uint8_t **b)
{
	static size_t told;
	size_t n = out.n - (transmitting ? 1 : 0) - told;
	*b = out.b + told;
	told += n;
	return n;
}

void uart_report(FILE *to)
{
	fprintf(to, "{\"sent\":%llu,\"taken\":%llu,\"lost\":%llu,\"garbled\":%llu,\"held\":%d,\"chip_byte\":%llu,\"host_byte\":%llu,\"from_chip\":\"",
		(unsigned long long)sent_by_host, (unsigned long long)taken, (unsigned long long)lost, (unsigned long long)garbled, filled + waits,
		(unsigned long long)(baud ? chip_byte() : 0), (unsigned long long)(baud ? host_byte() : 0));
	hex(to, out.b, out.n);
	fprintf(to, "\",\"from_chip_at\":[");
	for (size_t i = 0; i < out.n; i++)
		fprintf(to, "%s%llu", i ? "," : "", (unsigned long long)out_at[i]);
	fprintf(to, "]}");
}
