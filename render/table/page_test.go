package table

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The page is enough to decode a clip by: tools/coded.py and tools/between.py were
// written from it alone.
func TestPageIsEnough(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		t.Skip("NOT TRIED: decoding from the page alone, there is no python3")
	}
	s := keysShow(12)
	meter, err := s.Meter()
	require.NoError(t, err)
	dir := t.TempDir()
	n, turned := 0, 0
	var script bytes.Buffer
	fmt.Fprintf(&script, "import sys\nsys.dont_write_bytecode = True\nsys.path.insert(0, '../../tools')\nimport between, coded\n")
	rapid.Check(t, func(t *rapid.T) {
		if n >= 24 && turned > 0 {
			return
		}
		c, _ := travelling(t, s)
		c.Loop = rapid.Bool().Draw(t, "loop")
		if n%3 > 0 {
			// Key frames and fields, a third each.
			c.Smooth = &Smooth{}
			for _, v := range c.Bytes {
				c.Smooth.Fine = append(c.Smooth.Fine, uint16(v)<<8)
			}
			var r *row
			if n%3 == 2 {
				r = drawRow(t, s)
			}
			s := *s
			s.FPS = []int{40, 200}[n/3%2]
			p := newKeysOf(&s, meter, &c, rapid.IntRange(1, 5).Draw(t, "hop"), r).pack(Options{Work: 8192})
			info := p.info(&c)
			d, err := newDecoder(&s, &info, p.payload)
			require.NoError(t, err)
			for f := range c.Frames {
				require.NoError(t, d.Next(c.Bytes[f*36:(f+1)*36]))
			}
			require.NoError(t, os.WriteFile(fmt.Sprintf("%s/%d.clip", dir, n), p.payload, 0o666))
			require.NoError(t, os.WriteFile(fmt.Sprintf("%s/%d.codes", dir, n), c.Bytes, 0o666))
			fmt.Fprintf(&script, "f = between.decode(%d, open('%s/%d.clip', 'rb').read(), %d, %d, 36, 12, 3)\n", info.Kind, dir, n, c.Frames, flag(c.Loop, 1))
			fmt.Fprintf(&script, "assert b''.join(f) == open('%s/%d.codes', 'rb').read(), %d\n", dir, n, n)
			n++
			return
		}
		x := packCoded(s, &c, codedLimits{work: 8192, best: n%2 == 0})
		require.NotNil(t, x)
		if x.k.turns != nil {
			turned++
		}
		require.NoError(t, os.WriteFile(fmt.Sprintf("%s/%d.clip", dir, n), x.payload, 0o666))
		require.NoError(t, os.WriteFile(fmt.Sprintf("%s/%d.codes", dir, n), c.Bytes, 0o666))
		fmt.Fprintf(&script, "f, p = coded.decode(open('%s/%d.clip', 'rb').read(), %d, 36, 12, 3)\n", dir, n, c.Frames)
		fmt.Fprintf(&script, "got = b''.join(p[3 * v:3 * v + 3] if p else bytes([v]) for x in f for v in x)\nassert got == open('%s/%d.codes', 'rb').read(), %d\n", dir, n, n)
		n++
	})
	require.Positive(t, turned)
	require.NoError(t, os.WriteFile(dir+"/check.py", script.Bytes(), 0o666))
	out, err := exec.Command(python, dir+"/check.py").CombinedOutput()
	require.NoError(t, err, "%s", out)
}
