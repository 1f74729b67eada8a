// Package examples holds two shows as files: what `paneglow demo` plays and
// what `paneglow new` writes.
//
// Each is a folder of show.toml and machine.toml; the patterns they name ship
// with the tool. All values of the machines are invented and marked so.
package examples

import (
	"embed"
	"io/fs"
)

//go:embed umbrella starter
var files embed.FS

// Umbrella is the demo: an umbrella-lending cabinet at a tram stop, three
// strips around a tall pane, nine states.
func Umbrella() fs.FS { return folder("umbrella") }

// Starter is a small show to begin with: one strip, three states.
func Starter() fs.FS { return folder("starter") }

func folder(name string) fs.FS {
	sub, err := fs.Sub(files, name)
	if err != nil {
		// Only an invalid name can fail, and both names stand above.
		panic(err)
	}
	return sub
}
