// Package keeper owns the line to a controller, on the machine's own computer, for
// months: it finds the board by who it is, connects again when the line was lost,
// tells the board once more what it may have forgotten, gives signs of life, and
// writes down every drop-out with what the machine was doing.
//
// One program can hold a serial port. So that the machine's own program need not be
// that one, the keeper serves a local socket with lines of text (docs/service.md):
// states, loads, values, levels, and the machine's own bytes both ways. The socket
// is guarded by the permissions of its file. On the network nothing is served but
// to who holds a key, see Listen.
//
// The panel is told what the machine does, never the reverse: nothing that comes
// from the board starts anything here. A load that was granted is passed on as an
// answer to who asked.
package keeper
