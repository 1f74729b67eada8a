/* Calls all of the player, so that the linker keeps it: for its size. */
#ifdef NOTHING
int main(void)
{
	for (;;)
		;
}
#else
#include "paneglow.h"

struct pg_player panel;
volatile uint32_t any;

int main(void)
{
	pg_start(&panel, 0x10000ul, 1, 0, 1);
	for (;;) {
		if (pg_run(&panel, any) == PG_SEND)
			pg_sent(&panel);
		pg_state(&panel, (uint8_t)any, any);
		pg_value(&panel, (uint8_t)any);
		pg_level(&panel, (uint16_t)any);
		pg_host(&panel, any);
		pg_dead(&panel, (uint16_t)any, 1);
#if PG_MOST_LOADS > 0
		pg_ask(&panel, (uint8_t)any);
		pg_running(&panel, (uint8_t)any);
		pg_stopped(&panel, (uint8_t)any);
		pg_loads(&panel, (uint16_t)any);
#endif
#if PG_WITH_TIMETABLE
		pg_clock(&panel, (uint8_t)any, any);
#endif
#if PG_WITH_SERVICE
		pg_service(&panel, (uint8_t)any);
#endif
	}
}
#endif
