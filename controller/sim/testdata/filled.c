/* Works out the rows of lines side by side: sections 1 to 4 for a clip at full gain,
 * held back, in a crossfade, and with a palette (not where dies are mixed); 5 turns the
 * rows. All are held against pg_out_pixel, byte by byte, with pixels that died.
 */
#include "../../player/port/avr/pg_together.c"
#include "table.h"

struct pg_player panel;
uint16_t differ;

static void compare(const uint16_t length[PG_LINES])
{
	struct pg_out out;
	uint8_t line, d, n, wire[4];
	for (line = 0; line < PG_LINES; line++) {
		uint16_t k = 0;
		const uint8_t *at = rows;
		uint8_t mask = pg_avr_mask(line);
		while (mask >>= 1)
			at++;
		pg_out_line(&panel, &out, line);
		while ((n = pg_out_pixel(&panel, &out, wire)) > 0)
			for (d = 0; d < n; d++, k++)
				differ += at[k * PG_ROW_MASKS] != wire[d];
		differ += k != length[line];
	}
}

static void measure(uint8_t section)
{
	uint16_t length[PG_LINES];
	GPIOR1 = section;
	fill(&panel, length);
	GPIOR1 = 0;
	compare(length);
}

int main(void)
{
	uint16_t i, length[PG_LINES];
	struct pg_run runs[PG_LINES + 1];
	uint8_t s;
	pg_walk_missing(&panel);
	panel.source = PG_FROM_CLIP;
	panel.weight = 256;
	for (i = 0; i < PG_CHANNELS; i++) {
		panel.decoder.frame[i] = (uint8_t)(i * 7);
		panel.frozen[i] = (uint8_t)(i * 13);
	}
	for (s = 0; s < PG_SUPPLIES; s++)
		panel.rails[s].gain = PG_FULL;
#ifdef T_DEAD
	{
		static const uint16_t dead[] = { T_DEAD };
		for (i = 0; i < sizeof dead / sizeof *dead; i++)
			pg_dead(&panel, dead[i], 1);
	}
#endif
	measure(1);
	for (s = 0; s < PG_SUPPLIES; s++)
		panel.rails[s].gain = 40000;
	measure(2);
	panel.weight = 100;
	measure(3);
	panel.weight = 256;
#ifndef T_MIXED
	panel.decoder.palette = panel.frozen;
	measure(4);
#endif
	panel.source = PG_FROM_SERVICE;
	panel.service = PG_SERVICE_TEST;
	panel.rate = 40;
	for (i = 0; i < 6; i++) {
		panel.picture = (uint8_t)i;
		measure(6);
	}
	fill(&panel, length);
	GPIOR1 = 5;
	plan(length, runs);
	turn(runs);
	GPIOR1 = 0;
	GPIOR0 = 255;
	for (;;)
		;
}
