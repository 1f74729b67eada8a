package table

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// record gives one record with its sum, by WriteHex's own means.
func record(kind uint8, address uint16, data ...byte) string {
	sum := byte(len(data)) + byte(address>>8) + byte(address) + kind
	const digits = "0123456789ABCDEF"
	out := []byte{':'}
	put := func(b byte) { out = append(out, digits[b>>4], digits[b&15]) }
	put(byte(len(data)))
	put(byte(address >> 8))
	put(byte(address))
	put(kind)
	for _, b := range data {
		put(b)
		sum += b
	}
	put(-sum)
	return string(out) + "\n"
}

func TestReadHexRecords(t *testing.T) {
	end := record(1, 0)
	got, err := ReadHex(strings.NewReader(record(0, 2, 1, 2) + record(0, 4, 3) + record(4, 0, 0, 1) + record(0, 0, 9) +
		record(2, 0, 0x10, 0x01) + record(0, 1, 7) + record(3, 0, 0, 0, 0, 0) + record(5, 0, 0, 0, 0, 0) + end))
	require.NoError(t, err)
	// 0x1001 times 16 bytes, and one: 0x10011.
	require.Equal(t, Image{{2, []byte{1, 2, 3}}, {0x10000, []byte{9}}, {0x10011, []byte{7}}}, got)

	for name, c := range map[string]struct {
		text string
		want error
	}{
		"nothing":               {"", ErrCut},
		"no end":                {record(0, 0, 1), ErrCut},
		"after the end":         {end + record(0, 0, 1), ErrData},
		"no record":             {"hello\n" + end, ErrData},
		"an odd digit":          {":0\n" + end, ErrData},
		"a short record":        {":0200000001FD\n" + end, ErrData},
		"a wrong sum":           {strings.Replace(record(0, 0, 1), "01FE", "02FE", 1) + end, ErrData},
		"an unknown type":       {record(6, 0) + end, ErrData},
		"an address of one":     {record(4, 0, 1) + end, ErrData},
		"past 64 KiB":           {record(0, 0xffff, 1, 2) + end, ErrData},
		"a byte defined twice":  {record(0, 0, 1, 2) + record(0, 9, 1) + record(0, 1, 2) + end, ErrData},
		"twice and out of turn": {record(0, 8, 1, 2) + record(0, 7, 1, 2) + end, ErrData},
	} {
		_, err := ReadHex(strings.NewReader(c.text))
		require.ErrorIs(t, err, c.want, name)
	}
}

// Any runs written are read back, and a table put beside them is where it was
// put, with every other byte as it was.
func TestImageReadsBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var m Image
		at := uint32(0)
		for range rapid.IntRange(0, 4).Draw(t, "runs") {
			at += uint32(rapid.IntRange(1, 70_000).Draw(t, "gap"))
			b := rapid.SliceOfN(rapid.Byte(), 1, 40).Draw(t, "bytes")
			m = append(m, Run{at, b})
			at += uint32(len(b))
		}
		var out bytes.Buffer
		require.NoError(t, m.WriteHex(&out))
		back, err := ReadHex(&out)
		require.NoError(t, err)
		require.Equal(t, m, back)

		tab := rapid.SliceOfN(rapid.Byte(), 1, 600).Draw(t, "table")
		to := rapid.Int64Range(-1, 300_000).Draw(t, "to")
		const flash = 262_144
		placed, where, err := m.Place(tab, to, flash)
		lies := to
		if to < 0 {
			lies = (flash - int64(len(tab))) / 256 * 256
		}
		free := lies+int64(len(tab)) <= flash
		for _, r := range m {
			free = free && int64(r.End()) <= flash && (int64(r.End()) <= lies || int64(r.At) >= lies+int64(len(tab)))
		}
		if !free {
			require.ErrorIs(t, err, ErrLimit)
			return
		}
		require.NoError(t, err)
		require.EqualValues(t, lies, where)
		bytesOf := func(m Image) map[uint32]byte {
			all := map[uint32]byte{}
			for _, r := range m {
				for i, b := range r.Bytes {
					all[r.At+uint32(i)] = b
				}
			}
			return all
		}
		want := bytesOf(append(append(Image{}, m...), Run{where, tab}))
		require.Equal(t, want, bytesOf(placed))
	})
}

// Whatever the text, reading it ends with an image or with a known error.
func FuzzReadHex(f *testing.F) {
	f.Add(record(0, 2, 1, 2) + record(4, 0, 0, 1) + record(1, 0))
	f.Add(":00000001FF\n:")
	f.Add(":\n")
	f.Fuzz(func(t *testing.T, text string) {
		if _, err := ReadHex(strings.NewReader(text)); err != nil && !known(err) && !strings.Contains(err.Error(), "token too long") {
			t.Fatalf("an error of no known kind: %v", err)
		}
	})
}
