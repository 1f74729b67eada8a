package table

import (
	"bufio"
	"fmt"
	"io"
)

// WriteHex writes bytes as Intel HEX (Intel Hexadecimal Object File Format
// Specification, revision A, 1988): data records of up to 16 bytes from
// address base on, a type 04 record before the first byte and wherever the
// upper 16 bits of the address change, and the end record. No record crosses
// a 64 KiB border. Tables that would pass 4 GiB are refused.
func WriteHex(w io.Writer, table []byte, base uint32) error {
	if int64(base)+int64(len(table)) > 1<<32 {
		return fmt.Errorf("table: %d bytes from address %08x on pass 4 GiB; choose a lower address: %w", len(table), base, ErrLimit)
	}
	out := bufio.NewWriter(w)
	hexRun(out, table, base, -1)
	hexRecord(out, 1, 0, nil)
	return out.Flush()
}

// PageBytes is what flash of 8-bit controllers is written by.
const PageBytes = 256

// Pages fills a table's last page with ones, as erased flash holds them: a boot
// loader that is given a part of a page may keep the rest of the one before.
func Pages(b []byte) []byte {
	out := append([]byte(nil), b...)
	for len(out)%PageBytes != 0 {
		out = append(out, 0xff)
	}
	return out
}

// hexRun writes the records of bytes from an address on. upper is the half of the
// address that the reader has already, or -1; it gives the one that it has after.
func hexRun(out *bufio.Writer, b []byte, base uint32, upper int) int {
	for at := 0; at < len(b); {
		address := base + uint32(at)
		if int(address>>16) != upper {
			upper = int(address >> 16)
			hexRecord(out, 4, 0, []byte{byte(upper >> 8), byte(upper)})
		}
		// Up to the next multiple of 16, which no 64 KiB border divides.
		n := min(16-int(address&15), len(b)-at)
		hexRecord(out, 0, uint16(address), b[at:at+n])
		at += n
	}
	return upper
}

// hexRecord writes one record; its bytes add up to 0 modulo 256. An error of
// the writer stays with it until Flush.
func hexRecord(w *bufio.Writer, kind uint8, address uint16, data []byte) {
	record := append([]byte{byte(len(data)), byte(address >> 8), byte(address), kind}, data...)
	sum := byte(0)
	for _, b := range record {
		sum += b
	}
	fmt.Fprintf(w, ":%X%02X\n", record, -sum)
}
