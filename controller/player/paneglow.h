/* The player for an 8-bit controller: plays a frame table (docs/table-format.md)
 * and latches what package render/play latches, code for code. How to merge it
 * into a firmware: docs/player.md.
 *
 * The caller owns one struct pg_player; there is no heap and no hidden state.
 * The generated panel_config.h states the panel, port/.../pg_port.h the machine.
 * Nothing here waits and nothing reads a clock: time is an argument, 32 bits of
 * microseconds that may wrap.
 *
 * What it costs in memory, flash and time stands in docs/player.md.
 *
 *	for (;;) {
 *		machine();                              tell what happens: pg_state, pg_ask ...
 *		if (pg_run(&p, micros()) == PG_SEND) {
 *			send every line, pixel by pixel: pg_out_line, pg_out_pixel
 *			pg_sent(&p);                    the strips have latched
 *		}
 *		if (p.granted) ...                      these loads may start now
 *	}
 */
#ifndef PANEGLOW_H
#define PANEGLOW_H

#include <stdint.h>
#include "panel_config.h"
#include "pg_port.h"
#include "decode.h"
#include "stream.h"

#define PG_NONE 255u
#define PG_FULL 65536ul /* the gain that changes nothing: gains are k/65536 */

/* What pg_run asks for. */
enum {
	PG_IDLE, /* nothing to do before p->at */
	PG_AGAIN, /* call again as soon as the machine allows */
	PG_SEND  /* send a refresh, then call pg_sent */
};

/* Why a table does not play: p->trouble. The panel stays dark then. */
enum {
	PG_TABLE_FINE,
	PG_TABLE_NONE,      /* the store holds no table at the base address */
	PG_TABLE_VERSION, /* of the format: p->detail */
	PG_TABLE_DAMAGED,       /* the header's CRC does not match */
	PG_TABLE_PANEL,   /* made for another panel than the firmware */
	PG_TABLE_LARGE      /* more supplies or work memory than the firmware has room for, or a feature that it leaves out */
};

/* What a service person sees, without computer and without loads. */
enum { PG_SERVICE_OFF, PG_SERVICE_LIGHT, PG_SERVICE_TEST };

/* What a firmware carries beside what every panel needs. panel_config.h leaves out
 * what its panel and its table do not use; a table that uses more is refused. */
#ifndef PG_WITH_TIMETABLE
#define PG_WITH_TIMETABLE 1 /* levels by the time of day */
#endif
#ifndef PG_WITH_SLEW
#define PG_WITH_SLEW 1 /* supplies whose light rises slowly */
#endif
#ifndef PG_MOST_LOADS
#define PG_MOST_LOADS 16 /* most loads */
#endif
#if PG_STREAMS && defined(PG_WITH_FADES)
#undef PG_WITH_FADES /* a stream is waited for on the frozen picture */
#endif
#ifndef PG_WITH_FADES
#define PG_WITH_FADES 1 /* crossfades; without them their buffer goes too */
#endif
#ifndef PG_WITH_SERVICE
#define PG_WITH_SERVICE 1 /* pictures for somebody inside */
#endif
#ifndef PG_WITH_LAWS
#define PG_WITH_LAWS 7 /* of currents, one bit each: 1 sum, 2 largest, 4 ceiling */
#endif

/* The state shown, as the table holds it. */
struct pg_now {
	uint8_t clip, hand_over;
	uint16_t fade, loads;
	uint8_t flags, then;
	uint32_t at_most;
};

/* The panel as the firmware holds it. */
struct pg_part {
	uint8_t dies, order, law; /* law: 0 sum, 1 largest, 2 ceiling */
	uint32_t idle, channel[4], ceiling; /* microamperes per pixel */
};
struct pg_strip {
	uint16_t pixels;
	uint8_t part, line, supply;
};
extern const struct pg_part pg_parts[PG_PARTS] PG_FLASH;
extern const struct pg_strip pg_strips[PG_STRIPS] PG_FLASH;

/* Pixels without an address on the wire, missing in the machine file or marked
 * dead since; those that begin with PG_GAP_END are unused. */
#define PG_GAPS (PG_MISSING + PG_DEAD)
#define PG_GAP_END 0xffffu

/* A supply's limits, as the table holds them, and what is known of it;
 * microamperes, a millisecond. */
struct pg_rail {
	int32_t steady, surge, least;
	uint32_t raise, slew;
	int32_t in_force;  /* the budget now */
	int32_t held;      /* the budget that what the strips show was made for */
	int32_t drawn;     /* by what the strips show */
	int32_t current;   /* by the count in progress */
	int32_t idle;      /* of the pixels that hang on it */
	uint32_t gain;     /* of its strips, k/65536 */
	uint64_t light;    /* numerator of what is shown, by a count that scales */
#if PG_WITH_SLEW
	int32_t limit;     /* that a slew sets to this refresh */
	uint32_t low, high; /* while a slew's gain is sought */
#endif
};

struct pg_player {
	/* what a machine may look at; the first 64 bytes are the cheapest to reach */
	uint32_t at;          /* microseconds: when the next refresh is due */
	uint16_t granted;     /* loads that may start; the machine clears their bits */
	uint8_t trouble, detail;
	uint8_t state;        /* as wished, or as the player moved by itself */
	uint8_t clip;         /* on show, PG_NONE before the first */
	uint8_t over;         /* 1: idle alone breaks the budget, the panel is dark */
	uint8_t climbing;     /* 1: the slew holds the light back */
	uint8_t holds;        /* 1: the strips keep what they show, for the clip was lost; nothing is sent */
	uint8_t supplies;

	/* what is shown */
	uint8_t phase, source, finishing, fresh, aimed, sub, per_frame, service;
	uint8_t how, to, wish, owing, news, started;
	uint8_t by;           /* who chose the state: 0 the machine, 1 a longest stay, 2 a silent host */
	uint8_t marked;       /* changes of the dead pixels so far */
	uint8_t rots, rotten; /* clips lost so far, and the last of them */
	uint16_t weight;      /* of a crossfade, 0..256 */
	uint32_t frame;       /* on show */
	uint32_t have;        /* in the decoder, whole or, if aimed, in the making; or none: on.frames */
	uint32_t took;        /* microseconds of this refresh */
	uint32_t step, rate;  /* of a refresh, rounded down; refreshes a second */
	struct pg_now now;    /* the state's record */
	uint32_t fade_at, fade_len;

	uint32_t base;
	struct pg_clip on;    /* the clip's record */
	uint8_t value, value_told, service_told, picture, silent;
	uint8_t drawn;        /* a lot is drawn for the frame in the making */
	uint8_t losses;       /* of the clip on show since it was begun or played through, at most 2 */
	uint8_t lost;         /* the clip that could not be unpacked, until its CRC is known again; or PG_NONE */
	uint8_t first;        /* the state after start */
	uint8_t day;
	uint16_t late;        /* times that refreshes were left out because the processor was kept busy */
	uint32_t gain;        /* the least of the supplies' */
	int32_t current;      /* microamperes of the last refresh, all supplies */
	uint32_t refreshes;   /* begun and ended, those of a still state that were not sent included */
	uint8_t verified[8];  /* clips whose CRC was found right since power-up, one bit each */
	uint8_t damaged[8];   /* clips that are broken for good: the rest or the built-in still stands in */
	uint8_t found[8];     /* verified since the last refresh began */

	/* what was told */
	uint32_t wished, host;
	struct pg_facts {
		uint16_t known, running, starting, pending; /* loads, one bit each */
	} facts, at_once; /* as told; as they were when this refresh began */
	uint32_t told, planned; /* levels, k/65536 */
	uint32_t second, micros;

	/* the table: first as the header has it, then where its records begin */
	uint32_t silence;
	uint8_t then, supply_count, load_count, states, levels, clips;
	uint16_t states_at, budgets_at, levels_at, clips_at;
	uint16_t loads, fps; /* loads: one bit each */

	/* time */
	uint32_t rest, remainder;
	uint32_t entered;
	uint32_t lot, service_at; /* refreshes since service began */

	/* the count in progress */
	uint8_t stage, rail, halving, plain, lit, capped;
	uint32_t level, panel_gain;
	uint64_t num[PG_SUPPLIES][PG_PARTS];
	struct pg_tally {
		uint32_t sums[4];   /* of codes, of the strip so far */
#if PG_WITH_LAWS > 1
		uint32_t low;       /* of products, pixel by pixel: 48 bits */
		uint16_t high;
#endif
	} scaled, whole;

	/* verification */
	struct pg_sum {
		uint32_t crc, left; /* so far; bytes to come */
		struct pg_cursor at;
	} sum;
	uint8_t crc_clip, crc_done; /* the clip that it is of; 1: all are known */

	/* walking over pixels */
	struct pg_walk {
		struct pg_strip strip;
		uint16_t pixel, offset, left;
		uint16_t from;   /* the strip's first pixel */
		uint16_t runner; /* of its pixels, the one that a test picture lights */
		uint16_t gap;
		uint8_t at, next, dies, order;
	} walk;
	uint16_t gaps[PG_GAPS + 1];

#if PG_STREAMS
	struct pg_stream stream;
#endif
	struct pg_rail rails[PG_SUPPLIES];
#if PG_WITH_FADES
	uint8_t frozen[PG_CHANNELS]; /* what a crossfade comes from */
#endif
	struct pg_decoder decoder;   /* with the pixel buffer and the work memory */
};

#define PG_NO_TABLE 0xfffffffful /* an address where nothing is read: there is no table */

/* Begins with the table at an address of the store; refreshes is how many go out
 * for one frame, first the state shown until another is wished, seed begins the
 * lots that are drawn for clips. The table's header is verified first, in steps of
 * pg_run; then black goes out, whatever the strips held. No pixel is dead: mark
 * those that are, after this call. */
void pg_start(struct pg_player *p, uint32_t base, uint8_t refreshes, uint8_t first, uint32_t seed);

/* Does one bounded piece of work. */
uint8_t pg_run(struct pg_player *p, uint32_t now);

/* The refresh that pg_run asked for has gone out and latched. */
void pg_sent(struct pg_player *p);

/* What only the machine knows. They return 0, or 1 when a number is out of range
 * and nothing was changed. Loads are facts, states are wishes. */
uint8_t pg_state(struct pg_player *p, uint8_t state, uint32_t now);
uint8_t pg_value(struct pg_player *p, uint8_t value);
uint8_t pg_ask(struct pg_player *p, uint8_t load);     /* may it start? then wait for granted */
uint8_t pg_running(struct pg_player *p, uint8_t load); /* it has started */
uint8_t pg_stopped(struct pg_player *p, uint8_t load);
uint8_t pg_loads(struct pg_player *p, uint16_t mask);  /* exactly these run */
uint8_t pg_level(struct pg_player *p, uint16_t lightness); /* per mille, downwards only */
uint8_t pg_clock(struct pg_player *p, uint8_t day, uint32_t second); /* 0 Monday; of the day */
void pg_host(struct pg_player *p, uint32_t now);       /* a sign of life */
uint8_t pg_service(struct pg_player *p, uint8_t mode);

/* The address of a pixel is gone, or back: the data closes up and the picture
 * stays in place. 0; 1 when there is no such pixel, no room for more than PG_DEAD,
 * or the panel was built without it; 2 while a refresh is being made: ask again. */
uint8_t pg_dead(struct pg_player *p, uint16_t pixel, uint8_t dead);

#include "output.h"

#endif
