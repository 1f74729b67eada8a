// Package patterns holds the pattern scripts that ship with Paneglow, one idea
// a file. Each opens with what one sees and which number to turn; package
// anim/script reads them. A show names one without its ending: pattern =
// "eaves". A show's own script is a path that ends in .star.
package patterns

import (
	"embed"
	"sort"
	"strings"
)

//go:embed *.star
var files embed.FS

// Names lists the patterns in alphabetical order.
func Names() []string {
	var out []string
	entries, err := files.ReadDir(".")
	if err != nil {
		return nil // an embedded directory is always there
	}
	for _, e := range entries {
		out = append(out, strings.TrimSuffix(e.Name(), ".star"))
	}
	sort.Strings(out)
	return out
}

// Source is the text of a pattern; false when there is none of that name.
func Source(name string) ([]byte, bool) {
	b, err := files.ReadFile(name + ".star")
	return b, err == nil
}
