package show

import "paneglow/anim/finding"

// Pos is a place in a file; see finding.Pos.
type Pos = finding.Pos

// Keys holds the places of a table's values by key: "amps", "glass.scatter",
// "strips[1]". It is empty in data that was built in Go.
type Keys map[string]Pos

// At gives the place of a value, or the table's own place where it has none.
func (k Keys) At(key string, table Pos) Pos {
	if p, ok := k[key]; ok {
		return p
	}
	return table
}
