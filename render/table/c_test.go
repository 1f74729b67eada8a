package table

import (
	"bufio"
	"bytes"
	"encoding/binary"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// The verdicts of the controller's decoder.
const (
	cFrame = 1
	cBad   = 2
)

// jumping, with a kind, lets the decoder aim anew now and then.
const jumping Kind = 128

// cDecoder is the controller's decoder in a process of its own, built for one
// panel.
type cDecoder struct {
	in     io.WriteCloser
	out    *bufio.Reader
	pixels int
	size   int
}

const playerDir = "../../controller/player"

// startC builds the decoder for a show's strips with a work area, under the
// sanitisers, and starts it.
func startC(t testing.TB, s *Show, work int) *cDecoder {
	cc, err := exec.LookPath("cc")
	if err != nil {
		t.Skip("NOT TRIED: the controller's decoder beside the Go one, there is no C compiler (cc)")
	}
	dir := t.TempDir()
	var strips []string
	for i := range s.Strips {
		strips = append(strips, fmt.Sprintf("{%d,%d}", s.Strips[i].Pixels, s.Parts[s.Strips[i].Part].Dies))
	}
	config := fmt.Sprintf("#define PG_PIXELS %d\n#define PG_CHANNELS %d\n#define PG_DIES %d\n#define PG_WORK %d\n#define PG_TEST_STRIPS %s\n#define PG_TEST_SLICES %dul\n#define PG_KEYS_CLIPS 1\n",
		s.Pixels(), s.Channels(), s.mostDies(), work, strings.Join(strips, ","), 1_000_000)
	require.NoError(t, os.WriteFile(filepath.Join(dir, "panel_config.h"), []byte(config), 0o644))
	for _, pattern := range []string{"*.c", "*.h", "port/host/*.h", "testdata/*.c"} {
		files, err := filepath.Glob(filepath.Join(playerDir, pattern))
		require.NoError(t, err)
		require.NotEmpty(t, files)
		for _, f := range files {
			_, err := os.ReadFile(f) // so that go test sees a change
			require.NoError(t, err)
		}
	}
	bin := filepath.Join(dir, "decodehost")
	args := append(strings.Fields("-std=c99 -Wall -Wextra -Werror -pedantic -O1 -g -fsanitize=address,undefined -fno-sanitize-recover=all"),
		"-I"+dir, "-I"+playerDir, "-I"+playerDir+"/port/host", playerDir+"/decode.c", playerDir+"/keys.c", playerDir+"/blend.c", playerDir+"/testdata/decodehost.c", "-o", bin)
	out, err := exec.Command(cc, args...).CombinedOutput()
	require.NoError(t, err, "%s", out)
	cmd := exec.Command(bin)
	in, err := cmd.StdinPipe()
	require.NoError(t, err)
	stdout, err := cmd.StdoutPipe()
	require.NoError(t, err)
	var said bytes.Buffer
	cmd.Stderr = &said
	require.NoError(t, cmd.Start())
	t.Cleanup(func() {
		in.Close()
		if err := cmd.Wait(); err != nil {
			t.Errorf("the controller's decoder: %v\n%s", err, said.String())
		}
	})
	return &cDecoder{in, bufio.NewReaderSize(stdout, 1<<16), s.Pixels(), s.Channels()}
}

// decode gives frames from one on until want are there or the bytes are bad.
func (c *cDecoder) decode(kind Kind, payload []byte, frames, first, want int) (got [][]uint8, bad bool, err error) {
	ask := []byte{uint8(kind)}
	for _, v := range []int{frames, first, want, len(payload)} {
		ask = binary.LittleEndian.AppendUint32(ask, uint32(v))
	}
	sent := make(chan error, 1)
	go func() {
		_, err := c.in.Write(append(ask, payload...))
		sent <- err
	}()
	for len(got) < want && !bad {
		what, err := c.out.ReadByte()
		if err != nil {
			return got, false, err
		}
		switch what {
		case cFrame:
			frame := make([]uint8, c.size)
			if _, err := io.ReadFull(c.out, frame); err != nil {
				return got, false, err
			}
			got = append(got, frame)
		case cBad:
			bad = true
		default:
			return got, false, fmt.Errorf("the decoder says %d after %d frames: it does not come to an end", what, len(got))
		}
	}
	return got, bad, <-sent
}

// sameInC holds the controller's decoder against the Go one: every frame from
// one on, and the verdict. With jumps the controller aims anew now and then.
func sameInC(t require.TestingT, c *cDecoder, s *Show, info *ClipInfo, payload []byte, first, want int, jumps Kind) {
	got, bad, err := c.decode(info.Kind|jumps, payload, info.Frames, first, want)
	require.NoError(t, err)
	d, err := newDecoder(s, info, payload)
	if err == nil {
		err = d.Seek(first)
	}
	frame := make([]uint8, s.Channels())
	for f := range want {
		if err == nil && d.Frame() == info.Frames {
			err = d.Seek(0)
			require.NoError(t, err)
			if d.coded != nil {
				d.coded.fresh = true
			} // the controller begins afresh even where one frame is all
		}
		if err == nil {
			err = d.Next(frame)
		}
		if err != nil {
			require.True(t, bad, "frame %d of %d: Go says %v", f, want, err)
			require.Len(t, got, f, "Go says %v", err)
			return
		}
		require.Greater(t, len(got), f, "frame %d of %d: Go has one, the controller says it is bad", f, want)
		require.True(t, bytes.Equal(frame, got[f]), "frame %d of %d", f, want)
	}
	require.False(t, bad)
}

// Frames of drawn clips come out of the controller's decoder as they went in.
func TestControllerDecodesWhatIsPacked(t *testing.T) {
	shows := []*Show{cabinetFor(doorway()), cabinetFor(cabinet()), cabinetFor(doorway())}
	shows[2].Strips = shows[2].Strips[:1]
	shows[2].Strips[0].Pixels = 9
	var cs []*cDecoder
	for _, s := range shows {
		cs = append(cs, startC(t, s, 16<<10))
	}
	var one sync.Mutex
	rapid.Check(t, func(t *rapid.T) {
		one.Lock()
		defer one.Unlock()
		i := rapid.IntRange(0, len(shows)-1).Draw(t, "show")
		s, n := shows[i], shows[i].Channels()
		c := Clip{Name: "c", Channels: n, Frames: rapid.IntRange(1, 40).Draw(t, "frames")}
		c.Bytes = drawCodes(t, s, c.Frames)
		if rapid.Bool().Draw(t, "few colours") {
			for i, v := range c.Bytes {
				c.Bytes[i] = v & 0x40
			}
		}
		if rapid.Bool().Draw(t, "twice") {
			c.Bytes = append(c.Bytes, c.Bytes...)
			c.Frames *= 2
		}
		lim := codedLimits{work: rapid.IntRange(1200, 16<<10).Draw(t, "work"), best: rapid.Bool().Draw(t, "best"),
			cycles: rapid.SampledFrom([]int{0, 60_000, 220_000}).Draw(t, "cycles"), hop: rapid.Bool().Draw(t, "hop")}
		if rapid.Bool().Draw(t, "starts") {
			lim.every = rapid.IntRange(1, 9).Draw(t, "every")
		}
		x := packCoded(s, &c, lim)
		if x == nil {
			return
		}
		info := &ClipInfo{Name: "c", Frames: c.Frames, Kind: Coded}
		require.NoError(t, prove(s, info, x.payload, &c))
		first := rapid.IntRange(0, c.Frames-1).Draw(t, "first")
		sameInC(t, cs[i], s, info, x.payload, first, c.Frames+3, rapid.SampledFrom([]Kind{0, jumping}).Draw(t, "jumps"))
	})
}

// Whatever is done to a clip's bytes, both decoders say the same: the same
// frames and then the same verdict, in bounded time and without a step outside.
func TestControllerRefusesWhatGoRefuses(t *testing.T) {
	s := cabinetFor(doorway())
	s.Strips = []Strip{{Name: "a", Pixels: 30}, {Name: "b", Pixels: 10}}
	c := startC(t, s, 4096)
	n := s.Channels()
	refused := 0
	rapid.Check(t, func(t *rapid.T) {
		clip := Clip{Name: "c", Channels: n, Frames: rapid.IntRange(1, 20).Draw(t, "frames")}
		clip.Bytes = drawCodes(t, s, clip.Frames)
		if rapid.Bool().Draw(t, "few colours") {
			for i, v := range clip.Bytes {
				clip.Bytes[i] = v & 0x40
			}
		}
		lim := codedLimits{work: 4096, best: rapid.Bool().Draw(t, "best"), every: rapid.IntRange(0, 5).Draw(t, "every")}
		payload := packCoded(s, &clip, lim).payload
		for range rapid.IntRange(1, 4).Draw(t, "changes") {
			if rapid.IntRange(0, 9).Draw(t, "cut") == 0 {
				payload = payload[:rapid.IntRange(0, len(payload)).Draw(t, "to")]
			} else if len(payload) > 0 {
				at := min(rapid.IntRange(0, len(payload)-1).Draw(t, "at"), rapid.IntRange(0, len(payload)-1).Draw(t, "or at"))
				payload[at] = rapid.Byte().Draw(t, "byte")
			}
		}
		info := &ClipInfo{Name: "c", Frames: clip.Frames, Kind: Coded}
		if k, _, err := parseCoded(s, info, payload); err == nil && k.work() > 4096 {
			return
		}
		sameInC(t, c, s, info, payload, rapid.IntRange(0, clip.Frames-1).Draw(t, "first"), clip.Frames+3, 0)
		if _, bad, _ := c.decode(Coded, payload, clip.Frames, 0, clip.Frames); bad {
			refused++
		}
	})
	require.NotZero(t, refused, "nothing was refused: this test tries nothing")
}

// FuzzController is the same for any bytes at all.
func FuzzController(f *testing.F) {
	s := cabinetFor(doorway())
	s.Strips = []Strip{{Name: "a", Pixels: 30}, {Name: "b", Pixels: 10}}
	clip := Clip{Name: "c", Channels: s.Channels(), Frames: 12, Bytes: ramp(s, 12)}
	for _, lim := range []codedLimits{{work: 2000}, {work: 2000, best: true}, {work: 900, every: 3}, {work: 2000, cycles: 30_000, hop: true}} {
		if x := packCoded(s, &clip, lim); x != nil {
			f.Add(x.payload)
		}
	}
	f.Add([]byte{0, 0, 1, 30, 0x40, 0xff})
	f.Add([]byte("\x341\x01\x00\x00\x01(@\xff\xff\xff\x80\v\xf0")) // the number reaches the range
	c := startC(f, s, 4096)
	f.Fuzz(func(t *testing.T, payload []byte) {
		if len(payload) > 1<<16 {
			return
		}
		info := &ClipInfo{Name: "c", Frames: 12, Kind: Coded}
		if k, _, err := parseCoded(s, info, payload); err == nil && k.work() > 4096 {
			return
		}
		sameInC(t, c, s, info, payload, 0, 14, 0)
	})
}
