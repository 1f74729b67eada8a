/* What the parts of the conversation have of each other: line.c is told by the main
 * loop, line_asked.c does what a question asks, line_said.c sends, line_playing.c reads
 * back the table that plays. */
#ifndef PG_LINE_PARTS_H
#define PG_LINE_PARTS_H

#include "line.h"
#include "bytes.h"

enum { SEARCH, LOG, BEGIN, HEADER, RUN }; /* steps */

/* A question has come whole. */
void pg_line_question(struct pg_line *l, uint32_t now);

void pg_line_count(const struct pg_line *l, uint32_t counts[PG_COUNTS]);

/* Sends something unasked: 0; 1 when something still goes out. */
uint8_t pg_line_event(struct pg_line *l, uint8_t kind, const uint8_t *b, uint8_t n);

#endif
