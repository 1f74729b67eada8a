package stream

import (
	"encoding/hex"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/controller/link"
)

// The worked bytes of docs/link.md, section 6.
func TestWorkedBytes(t *testing.T) {
	doc, err := os.ReadFile(filepath.Join("..", "..", "docs", "link.md"))
	require.NoError(t, err)
	e := NewEncoder(6)
	b := e.Append(nil, []uint8{8, 4, 0, 8, 4, 0}, 1)
	b = e.Append(b, []uint8{9, 4, 0, 8, 4, 0}, None)
	b = e.Same(b)
	for _, x := range [][]byte{
		b,
		link.Append(nil, link.Frame{Kind: link.Stream, Body: append([]byte{0, 0}, b...)}),
		link.Append(nil, link.Frame{Kind: link.Want, Body: []byte{1, 0, 0xee, 0x0d, 0, 0, 0, 0, 1, 0}}),
	} {
		s := hex.EncodeToString(x)
		var words []string
		for i := 0; i < len(s); i += 2 {
			words = append(words, s[i:i+2])
		}
		require.Contains(t, string(doc), strings.Join(words, " "))
	}
}
