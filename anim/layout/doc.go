// Package layout lays the strips of a machine out in millimetres.
//
// Place in the pipeline: after package show, before patterns (which are
// functions of a pixel's place), packing (which needs each pixel's offset in a
// frame) and the glass (which needs every lit LED).
//
// In: a machine that show.ParseMachine accepted. Out: a Layout: strips,
// pixels, LEDs and lines in data order. Lengths are millimetres, x to the
// right and y upwards from the panel's lower left corner.
//
// A strip's path is a polyline from the centre of its first LED to that of its
// last. LEDs stand on it evenly by arc length. A pixel is what one driver chip
// lights: with three LEDs in series its place is that of the middle one.
// Hidden pixels have an address and no place; missing pixels have a place and
// no address.
//
// Refused, as an error: a machine that breaks what ParseMachine checks, such
// as a strip on no line. Nothing panics.
package layout
