// Package ammeter finds from a few ammeter readings how a kind of strip draws
// its current: by which law, and how many microamperes a pixel.
//
// In: readings of a strip of a known number of pixels, each with the dies that
// shone and their code. Out: for each current law (sum, largest, ceiling; see
// package power) the currents per pixel that explain the readings best, how far
// each reading is off, and which law holds.
//
// Half white is code 128 of 255 on the wire to red, green and blue alike: not
// half of what a design calls half. It is the reading that tells the laws
// apart: against white it draws 128/255 under sum and largest, more under
// ceiling, and more, too, where the rails starve, but then not what the single
// dies together say.
//
// A reading is taken to be right within 1 % and half a unit of its last digit
// (common practice for hand-held meters); a law fits when no reading is off by
// more than twice that. Refused, never bent: readings that contradict
// each other, that are too few, or that are off by a unit.
//
// Not seen by an ammeter: how the current changes with temperature and supply
// voltage, and what other strips of the same kind draw.
package ammeter
