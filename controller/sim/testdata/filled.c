/* What it costs to work out the rows of lines side by side: sections 1 to 4 for a clip
 * at full gain, held back, in a crossfade, and with a palette; 5 turns the rows.
 */
#include "../../player/port/avr/pg_together.c"
#include "table.h"

struct pg_player panel;

static void measure(uint8_t section)
{
	uint16_t length[PG_LINES];
	GPIOR1 = section;
	fill(&panel, length);
	GPIOR1 = 0;
}

int main(void)
{
	uint16_t i, n, length[PG_LINES];
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
	measure(1);
	for (s = 0; s < PG_SUPPLIES; s++)
		panel.rails[s].gain = 40000;
	measure(2);
	panel.weight = 100;
	measure(3);
	panel.weight = 256;
	panel.decoder.palette = panel.frozen;
	measure(4);
	n = fill(&panel, length);
	GPIOR1 = 5;
	pg_together_turn(rows, n);
	GPIOR1 = 0;
	GPIOR0 = 255;
	for (;;)
		;
}
