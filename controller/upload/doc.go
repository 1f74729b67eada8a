// Package upload brings a frame table into a controller's memory, so that at
// every moment either the old show plays or the new one, and never a mix.
//
// Place: above link, beside stream. In: a verified table and a line to a
// controller. The controller holds two slots for tables and appends a record
// that names the one which plays (controller/player/slots.h); an upload fills the
// other slot, has it read back and checked, and only then asks for the record.
// Whatever breaks on the way leaves the record, and so the old show, as it was.
//
// Nothing is erased before the table's size, layout and version were held
// against what the controller says of itself, and the firmware has said that all
// loads stand still. An upload that broke off is resumed: units of memory that
// already hold what they should are not sent again; and what the show in force
// holds, at whatever place, is copied from there by the controller itself.
//
// docs/link.md section 5 has the messages.
package upload
