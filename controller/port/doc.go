// Package port opens the line to a controller: a serial device or
// pseudo-terminal, a TCP address, or a command's standard streams, so that ssh
// can do the security.
//
// A line is given back as it is, bytes in and bytes out; package link speaks on
// it. Opening a serial device can restart the board behind it: many boards are
// wired so that the rising of the line "data terminal ready" is a reset. The
// system raises it when a device is opened and, unless told otherwise, lowers it
// when the last program closes it. Open tells it otherwise, so that at most the
// first opening after the cable was plugged in is a restart; what wiring there
// is beyond that no program can see.
package port
