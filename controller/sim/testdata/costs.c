/* What the player's work takes, refresh by refresh, with time that never waits:
 * every state for as many refreshes as its clip has frames (FRAMES). Sections are
 * calls of pg_run, numbered by the phase that they begin in, from 1 on. In GPIOR0 1
 * is a refresh that is ready, 2 one that was sent.
 */
#include "paneglow.h"

struct pg_player panel;
static const uint16_t frames[] PROGMEM = { FRAMES };

int main(void)
{
	uint32_t now = 0;
	uint16_t left, state = 0;
	pg_start(&panel, 0x10000ul, 1, 0, 1);
	left = pgm_read_word(&frames[0]);
	for (;;) {
		uint8_t r;
		GPIOR1 = panel.phase + 1;
		r = pg_run(&panel, now);
		GPIOR1 = 0;
		if (r == PG_IDLE) {
			if (panel.trouble)
				break;
			now = panel.started ? panel.at + panel.step : panel.at;
		} else if (r == PG_SEND) {
			GPIOR0 = 1;
			pg_sent(&panel);
			GPIOR0 = 2;
			if (--left == 0) {
				if (++state == sizeof frames / sizeof frames[0])
					break;
				left = pgm_read_word(&frames[state]);
				pg_state(&panel, (uint8_t)state, now);
			}
		}
	}
	GPIOR0 = 255;
	for (;;)
		;
}
