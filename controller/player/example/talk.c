#include "talk.h"

#include <stdlib.h>
#include <string.h>
#include "machine.h"
#include "pg_serial.h"

static char line[24], said[64];
static uint8_t length, saying, to_say;
static uint32_t received;
static uint16_t turned_at;
static uint8_t turning, waiting; /* loads whose answer is owed, one bit each */

static void say(const char *s)
{
	while (*s && to_say < sizeof said)
		said[to_say++] = *s++;
}

static void say_number(uint32_t n)
{
	char digits[11];
	say(" ");
	say(ultoa(n, digits, 10));
}

/* A load asks before it starts, and starts when the panel has made room for it. */
static void ask(struct pg_player *p, uint8_t load)
{
	if (pg_ask(p, load))
		say("?\n");
	else
		waiting |= (uint8_t)(1 << load);
}

static void stop(struct pg_player *p, uint8_t load)
{
	machine_switch(load, 0);
	pg_stopped(p, load);
	waiting &= (uint8_t)~(1 << load);
}

static void answer(uint8_t wrong) { say(wrong ? "?\n" : "ok\n"); }

static void obey(struct pg_player *p, const struct pg_avr *a, uint32_t now)
{
	char *word = strchr(line, ' ');
	uint16_t n = 0;
	if (word) {
		*word++ = 0;
		n = (uint16_t)atoi(word);
	}
	if (line[0] == '#')
		return;
	if (strcmp(line, "turn") == 0) {
		ask(p, RING);
	} else if (strcmp(line, "fan") == 0 || strcmp(line, "lock") == 0) {
		uint8_t load = line[0] == 'f' ? FAN : LOCK;
		if (n) {
			ask(p, load);
		} else {
			stop(p, load);
			say("off\n");
		}
	} else if (strcmp(line, "state") == 0) {
		answer(pg_state(p, (uint8_t)n, now));
	} else if (strcmp(line, "value") == 0) {
		answer(pg_value(p, (uint8_t)n));
	} else if (strcmp(line, "level") == 0) {
		answer(pg_level(p, n));
	} else if (strcmp(line, "service") == 0) {
		answer(pg_service(p, (uint8_t)n));
	} else if (strcmp(line, "alive") == 0) {
		pg_host(p, now);
		say("ok\n");
	} else if (strcmp(line, "more") == 0) {
		say(">\n");
	} else if (strcmp(line, "count") == 0) {
		say("count");
		say_number(machine_edges());
		say_number(machine_pulses());
		say_number(received);
		say_number(pg_serial_lost);
		say("\n");
	} else if (strcmp(line, "panel") == 0) {
		say("panel");
		say_number(p->state);
		say_number(p->trouble);
		say_number(a->sent);
		say_number(a->broken);
		say_number(a->held);
		say_number(p->late);
		say("\n");
	} else {
		say("?\n");
	}
}

uint8_t talk_listens(void) { return saying >= to_say; }

void talk_take(char c, struct pg_player *p, const struct pg_avr *a, uint32_t now)
{
	received++;
	if (c != '\n') {
		if (length < sizeof line - 1)
			line[length++] = c;
		return;
	}
	line[length] = 0;
	length = 0;
	obey(p, a, now);
}

uint8_t talk_run(struct pg_player *p, uint8_t may_say, uint8_t *byte)
{
	uint8_t load;
	if (saying < to_say) { /* an answer goes out before anything else happens */
		if (!may_say)
			return 0;
		*byte = (uint8_t)said[saying];
		if (++saying == to_say)
			saying = to_say = 0;
		return 1;
	}
	for (load = 0; load < LOADS; load++)
		if (waiting & p->granted & 1 << load) {
			p->granted &= (uint16_t)~(1 << load);
			waiting &= (uint8_t)~(1 << load);
			machine_switch(load, 1);
			pg_running(p, load);
			if (load == RING) {
				turning = 1;
				turned_at = machine_edges();
			} else {
				say("on\n");
			}
			return 0;
		}
	if (turning && (uint16_t)(machine_edges() - turned_at) >= TURN) {
		turning = 0;
		stop(p, RING);
		say("turned");
		say_number((uint16_t)(machine_edges() - turned_at));
		say("\n");
	}
	return 0;
}
