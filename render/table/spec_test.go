package table

import (
	"bytes"
	"encoding/hex"
	"hash/crc32"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/render/power"
)

// worked is the example of docs/table-format.md, section 6.
func worked() (*Show, []Clip) {
	s := &Show{Title: "T", FPS: 40, Steady: 1_600_000, Surge: 2_000_000, Least: 1_600_000, Raise: 2000, Then: None,
		Lines: []string{"a"},
		Parts: []Part{{Name: "p", Part: power.Part{Dies: 3, Idle: 1000, Channel: [4]int64{12_000, 12_000, 12_000}},
			Order: "GRB", Bit: 1250, Latch: 280_000, Gap: 5000}},
		Strips: []Strip{{Name: "s", Pixels: 2}},
		States: []State{{Name: "r", Then: None, Budget: 1_600_000}},
	}
	return s, []Clip{{Name: "c", Frames: 3, Channels: 6, Loop: true,
		Bytes: []byte{8, 4, 0, 8, 4, 0, 9, 4, 0, 9, 4, 0, 9, 4, 0, 9, 4, 0}}}
}

// The worked bytes of the format's page are what Write writes and Read reads.
func TestWorkedBytesOfTheFormat(t *testing.T) {
	s, clips := worked()
	var out bytes.Buffer
	_, err := Write(&out, s, clips, Options{})
	require.NoError(t, err)

	page, err := os.ReadFile("../../docs/table-format.md")
	require.NoError(t, err)
	_, example, ok := strings.Cut(string(page), "## 6. Worked bytes")
	require.True(t, ok)
	var digits strings.Builder
	for _, line := range regexp.MustCompile(`(?m)^    ((?:[0-9a-f]{2} )*[0-9a-f]{2})(?:  |$)`).FindAllStringSubmatch(example, -1) {
		digits.WriteString(strings.ReplaceAll(line[1], " ", ""))
	}
	want, err := hex.DecodeString(digits.String())
	require.NoError(t, err)
	require.Equal(t, hex.Dump(want), hex.Dump(out.Bytes()))
	_, err = Read(want, Limits{})
	require.NoError(t, err)
}

// Source: the public CRC catalogue's row CRC-32/ISO-HDLC: check, empty, one
// zero byte, bytes 00 to FF.
func TestChecksumIsISOHDLC(t *testing.T) {
	all := make([]byte, 256)
	for i := range all {
		all[i] = byte(i)
	}
	for _, c := range []struct {
		data []byte
		want uint32
	}{{[]byte("123456789"), 0xCBF43926}, {nil, 0}, {[]byte{0}, 0xD202EF8D}, {all, 0x29058C73}} {
		require.Equal(t, c.want, crc32.ChecksumIEEE(c.data))
		// Bit by bit, as an 8-bit controller without a table does it.
		crc := ^uint32(0)
		for _, b := range c.data {
			crc ^= uint32(b)
			for range 8 {
				crc = crc>>1 ^ 0xEDB88320&-(crc&1)
			}
		}
		require.Equal(t, c.want, ^crc)
	}
	s := sealed([]byte("123456789"))
	require.Equal(t, []byte{0x26, 0x39, 0xF4, 0xCB}, s[9:])
}
