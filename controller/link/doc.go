// Package link carries messages between a computer and the controller over the
// serial line that the machine already talks on.
//
// Place: beside everything else. It knows bytes, frames and messages; it opens
// no port (package controller/port does) and reads no show. The C side is
// controller/player/link.c; docs/link.md is the specification of both, with
// worked bytes that the tests of this package write.
//
// A frame is 0x00, the message and its CRC-16/IBM-3740 stuffed by COBS
// (Cheshire and Baker, IEEE/ACM Transactions on Networking 7(2), 1999), 0x00.
// Text never contains 0x00, so the machine's own text protocol passes between
// frames untouched and at once: Splitter takes the line apart, in both
// directions alike. Traffic that may contain 0x00 travels in a pass message.
//
// What stays compatible: the frame, hello with its version, and refusing what
// is not known by Status rather than guessing at it.
package link
