// Package show reads the two files that a person writes: show.toml, the
// design, and machine.toml, one panel as built.
//
// Place in the pipeline: after package unit, before everything else. One show
// exports to many machines, so the files are read apart (ParseShow,
// ParseMachine) and checked together (CheckShow).
//
// In: TOML 1.0, at most MaxFile bytes. Keys are strict: what is not known is
// refused with the nearest known key. Quantities carry their unit as text,
// "48 mm"; counts, factors and baud rates are bare numbers.
//
// Out: plain data (Show, Machine) and a finding.List that holds everything
// that is wrong, not only the first thing. The data is complete only when
// List.Err() is nil; where a value was refused its field is zero. Every struct
// carries the places of its values in Keys, so that a later stage can point at
// the text it complains about, and a tool can change it: Replace exchanges one
// value and leaves every other byte of the file as it was.
//
// Defaults, where a key may be left out, stand in the types' comments. There
// is no other default: a missing key is an error with an example to copy.
//
// Finding codes begin with "show." (the form of either file, and the show's
// own sense), "unit." (a quantity's text, see unit.ParseError), "machine."
// (names and values that cannot be) and "layout." (strips and their places).
package show
