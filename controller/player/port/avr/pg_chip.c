#include "pg_chip.h"

#include <avr/boot.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/wdt.h>

uint8_t pg_chip_reset(void)
{
	uint8_t cause = MCUSR & 31;
	MCUSR = 0;
	wdt_disable();
	return cause;
}

/* BODLEVEL of the extended fuse byte, by the data sheet of the ATmega2560. */
uint8_t pg_chip_brown_out(void)
{
	uint8_t sreg = SREG, fuse;
	cli();
	fuse = boot_lock_fuse_bits_get(GET_EXTENDED_FUSE_BITS);
	SREG = sreg;
	switch (fuse & 7) {
	case 7:
		return 0;
	case 6:
		return 18;
	case 5:
		return 27;
	case 4:
		return 43;
	default:
		return 255;
	}
}
