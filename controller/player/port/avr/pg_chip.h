/* What the chip says of itself, for struct pg_identity. */
#ifndef PG_CHIP_H
#define PG_CHIP_H

#include <stdint.h>

/* Why it started, once: bits 1 power, 2 reset line, 4 brown-out, 8 watchdog, 16
 * programmer; and the watchdog off, should it have been the cause. A boot loader
 * that has looked before leaves 0. */
uint8_t pg_chip_reset(void);

/* The supply voltage in tenths below which its fuse makes it stop; 0: never, which
 * no machine should be built with; 255: unknown. */
uint8_t pg_chip_brown_out(void);

#endif
