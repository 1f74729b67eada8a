// Package sim runs firmware on a simulated controller, for tests: an ATmega2560
// of 16 MHz with strips of pixels on its pins, a computer on its serial line,
// sensors and relays. Nothing here was measured on silicon. docs/simulator.md
// says what is simulated and what is not.
//
// Place in the pipeline: beside everything. The product imports nothing of it.
// The simulator proper is the folder harness, a C program of its own around
// libsimavr, which is under the GNU GPL 3 and so is started, never linked. In: a
// firmware as ELF, and a Script. Out: a Result with every refresh as the strip
// decoded it, bit times and pauses against the limits of data sheets, bytes lost
// on the serial line, interrupts, cycles of marked sections, the stack's depth.
//
// Runs are exact: the same firmware and script give the same result, to the
// cycle.
//
// Needed are avr-gcc, avr-libc, a C compiler, libsimavr and libelf (on Debian
// gcc-avr, avr-libc, libsimavr-dev, libelf-dev); Ready tells what is missing.
package sim
