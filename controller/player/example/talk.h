/* The machine's own protocol on the serial line: lines of text, one answer each.
 *
 *	turn              on to the next umbrella; "turned EDGES" when it stands there
 *	fan 0|1, lock 0|1 switch a load; "on" when it runs, "off"
 *	state N, value N, level N, service N     what the panel shows
 *	alive             the computer is there
 *	count             edges, pulses, bytes received, bytes lost
 *	# anything        nothing, and no answer
 *	more              ">": there is room for as much as came before it
 *	panel             state, trouble, refreshes sent, stopped, held, left out
 */
#ifndef TALK_H
#define TALK_H

#include "pg_avr.h"

/* Whether another byte may be taken: not while an answer goes out. */
uint8_t talk_listens(void);
void talk_take(char c, struct pg_player *p, const struct pg_avr *a, uint32_t now);
/* Goes on with what takes time; gives the next byte to be sent when there is one and
 * it may be. */
uint8_t talk_run(struct pg_player *p, uint8_t may_say, uint8_t *byte);

#endif
