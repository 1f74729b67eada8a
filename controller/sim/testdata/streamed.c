/* A firmware that is streamed to: player, line, the machine's own text on the same
 * serial line, and a record of what the player was told and did, in GPIOR0, records
 * of six bytes: what, which, and a number of 32 bits.
 *
 * The machine counts the bytes of its text and adds them up, and answers every line
 * that begins with '?' by both numbers.
 */
#include <avr/interrupt.h>
#include <stdlib.h>
#include "line.h"
#include "pg_avr.h"
#include "pg_serial.h"

enum { STATE = 1, VERIFIED, OPENED, SHOWS, SHOWS_NOW, BEGUN };

#define WAITS 2 /* the player's phase between two refreshes */

struct pg_player panel;
struct pg_avr wires;
struct pg_line line;

/* ---- no memory for tables */

void pg_store_read(uint32_t at, uint8_t *to, uint8_t n)
{
	(void)at;
	while (n-- > 0)
		*to++ = 0xff;
}

uint8_t pg_store_same(uint32_t at, const uint8_t *b, uint16_t n)
{
	(void)at, (void)b, (void)n;
	return 0;
}

void pg_store_erase(uint32_t at) { (void)at; }
void pg_store_write(uint32_t at, const uint8_t *b, uint16_t n) { (void)at, (void)b, (void)n; }
uint8_t pg_store_busy(void) { return 0; }
uint8_t pg_safe_to_write(void) { return 0; }
void pg_line_counts(uint32_t counts[PG_COUNTS]) { (void)counts; }

uint8_t pg_line_probe(const uint8_t *body)
{
	(void)body;
	return PG_REFUSED;
}

/* ---- the machine */

static char said[24];
static uint8_t saying, to_say;
static uint8_t asks, in_line;
uint32_t texts;     /* bytes */
uint32_t text_sum;  /* and what they come to */

static void answer(void)
{
	char *s = said;
	ultoa(texts, s, 10);
	while (*s)
		s++;
	*s++ = ' ';
	ultoa(text_sum, s, 10);
	while (*s)
		s++;
	*s++ = '\n';
	to_say = (uint8_t)(s - said);
	saying = 0;
}

static void hear(const uint8_t *b, uint8_t n)
{
	while (n-- > 0) {
		uint8_t c = *b++;
		texts++;
		text_sum = text_sum * 31 + c;
		if (!in_line)
			asks = c == '?';
		in_line = c != '\n';
		if (!in_line && asks)
			answer();
	}
}

/* ---- the record */

static void note(uint8_t what, uint8_t which, uint32_t n)
{
	GPIOR0 = what;
	GPIOR0 = which;
	GPIOR0 = (uint8_t)n;
	GPIOR0 = (uint8_t)(n >> 8);
	GPIOR0 = (uint8_t)(n >> 16);
	GPIOR0 = (uint8_t)(n >> 24);
}

static void told(const struct pg_player *p)
{
	static uint8_t wish, open;
	static uint32_t wished;
	if ((p->wished != wished || p->wish != wish) && p->wish != PG_NONE)
		note(STATE, p->wish, p->wished);
	wish = p->wish;
	wished = p->wished;
	if (p->stream.open == PG_STREAM_ASKED && open != PG_STREAM_ASKED)
		note(OPENED, 0, 0);
	open = p->stream.open;
}

static void done(const struct pg_player *p, uint8_t began)
{
	static uint8_t verified[8];
	static uint16_t passed;
	uint8_t i;
	for (i = 0; i < p->clips; i++)
		if ((p->verified[i >> 3] & ~verified[i >> 3]) >> (i & 7) & 1)
			note(VERIFIED, i, 0);
	for (i = 0; i < 8; i++)
		verified[i] = p->verified[i];
	if (!p->stream.took || p->stream.open < PG_STREAM_ON)
		passed = 0;
	else if (p->stream.passed != passed) {
		passed = p->stream.passed;
		note(began ? SHOWS : SHOWS_NOW, 0, passed - 1u);
	}
	if (began)
		note(BEGUN, p->late, p->at);
}

/* ---- */

static const struct pg_identity me = { 1, "streamed", 0, 1, 0 };

int main(void)
{
	pg_serial_start(BAUD_DIVISOR);
	pg_avr_start(&wires);
	pg_line_start(&line, &panel, &me, 0x18000ul, BAUD, pg_avr_now());
	sei();
	for (;;) {
		uint32_t now = pg_avr_now();
		uint8_t byte, waited, plays, n = 32, some, was; /* a part of a frame, and single bytes */
		const uint8_t *b;
		while (n-- > 0 && pg_serial_waits() && pg_line_ready(&line)) {
			GPIOR1 = 2;
			was = line.in.n;
			some = pg_serial_some(&b);
			some = pg_line_some(&line, b, some, now);
			pg_serial_skip(some);
			if (some == 0 && pg_line_take(&line, pg_serial_get(), now) == PG_LINK_TEXT)
				hear(line.in.text, line.in.texts);
			GPIOR1 = 0;
			if (was > 2 && line.in.n == 0)
				n = 0; /* a frame has ended: that took half a millisecond */
		}
		if (!pg_serial_waits() && pg_line_quiet(&line, now) == PG_LINK_TEXT)
			hear(line.in.text, line.in.texts);
		GPIOR1 = panel.started ? 3 : 6;
		plays = pg_line_run(&line, now);
		GPIOR1 = 0;
		while (pg_serial_room() && pg_line_next(&line, &byte))
			pg_serial_put(byte);
		if (!pg_line_sending(&line))
			while (saying < to_say && pg_serial_room())
				pg_serial_put((uint8_t)said[saying++]);
		if (!plays)
			continue;
		told(&panel);
		waited = panel.phase == WAITS && !wires.owes;
		GPIOR1 = wires.owes ? 5 : panel.phase == WAITS && pg_stream_live(&panel) ? 4 : 1;
		pg_avr_run(&wires, &panel);
		GPIOR1 = 0;
		done(&panel, waited && panel.phase != WAITS);
	}
}
