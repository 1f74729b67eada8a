package table

import (
	"bufio"
	"fmt"
	"io"
)

// MostArray is the most bytes in one array of WriteC: compilers for 8-bit
// controllers, whose int has 16 bits, refuse objects over 32,767 bytes.
const MostArray = 32_000

// WriteC writes a table as a C header: constant arrays name_0, name_1 ... of at
// most MostArray bytes, in order, their lengths, and name_LENGTH and name_PARTS
// in capitals. The arrays go where the macro PANEGLOW_PLACE says, which the
// including file may define for its compiler (far flash, a section). name must
// be a C identifier.
func WriteC(w io.Writer, table []byte, name string) error {
	if !identifier(name) {
		return fmt.Errorf("table: %q is no C identifier: use letters, digits and _, a letter first: %w", name, ErrData)
	}
	out := bufio.NewWriter(w)
	parts := (len(table) + MostArray - 1) / MostArray
	fmt.Fprintf(out, "/* A frame table of %d bytes. Read the arrays one after the other. */\n", len(table))
	fmt.Fprintf(out, "#ifndef %s_H\n#define %[1]s_H\n#include <stdint.h>\n\n", upper(name))
	fmt.Fprint(out, "#ifndef PANEGLOW_PLACE\n#define PANEGLOW_PLACE\n#endif\n\n")
	fmt.Fprintf(out, "#define %s_LENGTH %dUL\n#define %[1]s_PARTS %[3]d\n", upper(name), len(table), parts)
	for p := range parts {
		b := table[p*MostArray : min((p+1)*MostArray, len(table))]
		fmt.Fprintf(out, "#define %s_LENGTH_%d %dU\n", upper(name), p, len(b))
		fmt.Fprintf(out, "\nstatic const uint8_t %s_%d[%d] PANEGLOW_PLACE = {", name, p, len(b))
		for i, v := range b {
			if i%16 == 0 {
				fmt.Fprint(out, "\n ")
			}
			fmt.Fprintf(out, " 0x%02x,", v)
		}
		fmt.Fprint(out, "\n};\n")
	}
	fmt.Fprint(out, "\n#endif\n")
	return out.Flush()
}

func identifier(s string) bool {
	for i, c := range []byte(s) {
		letter := c == '_' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
		if !letter && (i == 0 || c < '0' || c > '9') {
			return false
		}
	}
	return s != "" && len(s) <= 31 // C99 5.2.4.1: initial characters that count in an external name
}

func upper(s string) string {
	b := []byte(s)
	for i, c := range b {
		if c >= 'a' && c <= 'z' {
			b[i] = c - 'a' + 'A'
		}
	}
	return string(b)
}
