// Package sheet draws what hangs beside the open cabinet: the wiring of a panel, on
// A4 pages to print.
//
// Place in the pipeline: last. In: a panel's copper with what surveys of its frames
// found (package wiring). Out: pages as SVG 1.1, in millimetres, 210 x 297, black on
// white with thin colours that a grey printer keeps apart by their dashes. The same
// panel gives the same bytes.
//
// Text is set in whatever sans serif font the reader has: its width is taken from Go
// Regular with a fifth to spare, which the usual ones (Arial, Helvetica, Liberation
// Sans, DejaVu Sans) stay within, so nothing runs into its neighbour.
//
// What the machine file does not know is drawn as common practice and says so: the
// level shifter and series resistor of a data line, a capacitor at each feed, diodes
// and snubbers at coils.
package sheet
