// Package stream shows frames on a panel as they come over the serial line, instead
// of out of the table that the controller keeps.
//
// Place: towards the machine, beside upload. In: frames of final codes, in data order
// as a table's clips hold them, and the states of the show. Out: blocks on a
// link.Conn, as many as the controller grants, and again what was lost on the way.
// docs/link.md section 6 is the specification; the controller's side is
// controller/player/stream.c, held against this one by tests.
//
// States, hand-overs, budgets, levels and dead pixels stay those of the stored table,
// so the controller must hold the table whose states the stream knows. Every refresh is
// counted and held inside the budget like one of a stored clip.
package stream
