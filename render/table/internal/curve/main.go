// Command curve makes controller/player/curve.h: the light of every sample of a
// clip of kind keys, as package table has it.
package main

import (
	"bytes"
	"fmt"
	"os"

	"paneglow/render/table"
)

func main() {
	if err := os.WriteFile("../../controller/player/curve.h", header(), 0o644); err != nil {
		fmt.Fprintln(os.Stderr, "error:", err)
		os.Exit(1)
	}
}

func header() []byte {
	var b bytes.Buffer
	b.WriteString("/* Made by render/table/internal/curve; do not edit.\n * The light of a sample, 65535 full (docs/table-format.md, section 4.4): the low\n * bytes, then the high ones. */\n")
	b.WriteString("const uint8_t pg_curve[2][256] PG_PAGE = {\n")
	for shift := 0; shift <= 8; shift += 8 {
		b.WriteString("	{")
		for i, v := range table.KeyCurve() {
			if i%16 == 0 {
				b.WriteString("\n\t")
			} else {
				b.WriteString(" ")
			}
			fmt.Fprintf(&b, "%d,", v>>shift&255)
		}
		b.WriteString("\n	},\n")
	}
	b.WriteString("};\n")
	return b.Bytes()
}
