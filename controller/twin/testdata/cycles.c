/* The player on a simulated controller, without wires: every call stands in a
 * section of its own by what it goes on with. Time is made up, so that nothing is
 * ever late. See cycles_test.go.
 *
 *	section 1 header, 2 idle and background work, 3 to 6 what a refresh is made of
 *	(old frame, freezing, fetching, counting), 9 a refresh begins, 10 a pixel goes
 *	out, 11 what was told
 */
#include <avr/io.h>
#include <avr/pgmspace.h>
#include "paneglow.h"

extern const uint8_t panel_table[];
static struct pg_player p;
volatile uint16_t refreshes;
volatile uint8_t trouble;
volatile uint8_t gain_fell;

static void tell(uint16_t n)
{
	GPIOR1 = 11;
	switch (n) {
	case 2:
		pg_loads(&p, 0);
		break;
	case 30:
		pg_state(&p, 1, p.at);
		break;
	case 36: /* a crossfade breaks a crossfade */
		pg_state(&p, 0, p.at);
		break;
	case 50:
		pg_running(&p, 0);
		break;
	case 70:
		pg_level(&p, 700);
		break;
	case 80:
		pg_state(&p, 2, p.at);
		break;
	case 81:
	case 85:
	case 88:
		pg_value(&p, (uint8_t)(n * 37));
		break;
	case 90:
		pg_dead(&p, 17, 1);
		break;
	case 95:
		pg_service(&p, PG_SERVICE_TEST);
		break;
	case 110:
		pg_service(&p, PG_SERVICE_OFF);
		break;
	case 112:
		pg_clock(&p, 3, 86399ul);
		break;
	}
	GPIOR1 = 0;
}

int main(void)
{
	uint32_t now = 0;
	uint16_t told = 0;
	pg_start(&p, pgm_get_far_address(panel_table), 1, 0, 1);
	for (;;) {
		uint8_t r, section = p.phase;
		if (p.refreshes != told) {
			told = (uint16_t)p.refreshes;
			tell(told);
		}
		if (section == 2 && (!p.started || (int32_t)(now - p.at - p.step) >= 0))
			section = 9;
		GPIOR1 = section;
		r = pg_run(&p, now);
		GPIOR1 = 0;
		if (p.gain < PG_FULL)
			gain_fell = 1;
		if (r == PG_SEND) {
			struct pg_out o;
			uint8_t wire[4], n;
			pg_out_line(&p, &o, 0);
			do {
				GPIOR1 = 10;
				n = pg_out_pixel(&p, &o, wire);
				GPIOR1 = 0;
			} while (n > 0);
			pg_sent(&p);
		} else if (r == PG_IDLE) {
			if (p.trouble || p.refreshes >= 130)
				break;
			now = p.started ? p.at + p.step : p.at;
		}
	}
	trouble = p.trouble;
	refreshes = (uint16_t)p.refreshes;
	GPIOR0 = 255;
	for (;;)
		;
}
