package prove

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"paneglow/render/table"
)

const demo = "../../examples/umbrella"

func proved(t testing.TB, instead map[string][]byte, m *Memory) *Project {
	p := OpenWith(demo, "", instead)
	p.Memory = m
	p.Finish(Workers(), nil)
	p.Pack(table.Quick, Workers())
	p.Examine()
	require.NoError(t, p.Found.Err())
	return p
}

// A text is read instead of the file of its path, and changes what comes out.
func TestInstead(t *testing.T) {
	file := filepath.Join(demo, "show.toml")
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	same := proved(t, map[string][]byte{file: src}, nil)
	require.Equal(t, proved(t, nil, nil).Bytes, same.Bytes)
	other := proved(t, map[string][]byte{file: bytes.Replace(src, []byte(`length = "12 s"`), []byte(`length = "6 s"`), 1)}, nil)
	require.NotEqual(t, same.Bytes, other.Bytes)
	broken := OpenWith(demo, "", map[string][]byte{file: []byte("fps = \n")})
	require.Error(t, broken.Found.Err())
}

// With a memory a proof finds what it finds without one, also after a change, and
// keeps only what the last proof asked for.
func TestMemory(t *testing.T) {
	file := filepath.Join(demo, "show.toml")
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	change := map[string][]byte{file: bytes.Replace(src, []byte(`every = "4 s"`), []byte(`every = "2 s"`), 1)}
	require.NotEqual(t, src, change[file])
	m := &Memory{}
	for _, instead := range []map[string][]byte{nil, change, nil} {
		plain, kept := proved(t, instead, nil), proved(t, instead, m)
		require.Equal(t, plain.Flashes, kept.Flashes)
		require.Equal(t, plain.Found, kept.Found)
		require.LessOrEqual(t, len(m.loops), len(plain.Clips))
	}
	before := len(m.loops)
	proved(t, change, m)
	require.Equal(t, before, len(m.loops), "one clip is another, one is forgotten")
}

// A control's change to the whole demo proved again.
func BenchmarkReprove(b *testing.B) {
	file := filepath.Join(demo, "show.toml")
	src, err := os.ReadFile(file)
	require.NoError(b, err)
	m := &Memory{}
	proved(b, nil, m)
	best := time.Hour
	i := 0
	for b.Loop() {
		i++
		depth := []byte("depth = 0.4" + string(rune('0'+i%10)))
		start := time.Now()
		proved(b, map[string][]byte{file: bytes.Replace(src, []byte("depth = 0.4"), depth, 1)}, m)
		best = min(best, time.Since(start))
	}
	b.ReportMetric(float64(best.Microseconds())/1000, "window_reprove_ms")
}
