/* What stream.c asks of stream_frames.c. */
#ifndef PG_STREAM_PARTS_H
#define PG_STREAM_PARTS_H

#include "table.h"

#if PG_STREAMS

/* The pixel buffer holds: the frame on show; a part of the next one; all of it;
 * what is no frame. */
enum { PG_STREAM_SHOWN, PG_STREAM_UNPACKING, PG_STREAM_WHOLE, PG_STREAM_BROKEN };

/* Looks at the next frame: begins to unpack it when it is whole and its turn has
 * come, leaves it out when it belongs to a state that is gone. 1 when there was
 * something to do. */
uint8_t pg_stream_look(struct pg_player *p);

/* A bounded step; 0 while there is more, 1 when the frame stands, 2 when its bytes
 * make none. */
uint8_t pg_stream_unpack(struct pg_player *p);

#endif

#endif
