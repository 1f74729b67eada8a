// Package table packs final codes into frame tables: compact bytes that an
// 8-bit controller unpacks frame by frame, forwards only, in little RAM.
//
// Place in the pipeline: between drive and power (which make final codes) and
// play (which latches them). In: the plain data of a show on one machine
// (NewShow) and clips of final codes, one byte a channel, R G B [W] per pixel
// in data order, hidden and missing pixels 0. Out: one table (Write), read
// back by Read; the same bytes for the controller as Intel HEX (WriteHex) or a
// C header (WriteC); and plain data for other tools (WriteCodes, WriteCSV).
//
// The format is docs/table-format.md, one page with worked bytes. Numbers are
// little-endian; currents are microamperes, times microseconds, milliseconds
// or seconds as the field says. Every block ends in its CRC-32/ISO-HDLC
// (check value 0xCBF43926).
//
// Refused, always with an error and never with a panic: anything cut, changed,
// too long, of another version, of a kind not known here, or over the limits
// of the reader (Limits). A reader of one version refuses every other by its
// number; a new kind of clip gets a new kind byte.
//
// Everything written is deterministic: the same show and clips give the same
// bytes on every machine, for any number of workers.
package table
