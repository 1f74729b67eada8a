package patterns

import (
	"bytes"
	"encoding/csv"
	"flag"
	"fmt"
	"image"
	imagecolor "image/color"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim/color"
	"paneglow/anim/layout"
	"paneglow/anim/script"
)

var update = flag.Bool("update", false, "write the goldens anew and print what changed")

// cabinet is the frame the patterns are made for: 560 x 1420 mm, strips at the
// left (upwards), top (to the right) and right (downwards), 180 pixels.
func cabinet() *layout.Layout {
	l := &layout.Layout{Width: 560, Height: 1420}
	strip := func(name string, n int, x0, y0, x1, y1 float64) {
		s := len(l.Strips)
		l.Strips = append(l.Strips, layout.Strip{Name: name, First: len(l.Pixels), Count: n, Dies: 3, Order: "GRB"})
		for i := range n {
			f := float64(i) / float64(n-1)
			x, y := x0+f*(x1-x0), y0+f*(y1-y0)
			l.Pixels = append(l.Pixels, layout.Pixel{Strip: s, Index: i, Place: i, X: x, Y: y, U: x / l.Width, V: y / l.Height, Along: f})
		}
	}
	strip("left", 77, 70, 60, 70, 1326)
	strip("top", 26, 72, 1360, 488, 1360)
	strip("right", 77, 490, 1326, 490, 60)
	return l
}

// play renders all frames of a pattern in a clip of 12 s at 10 frames a second,
// or of a value.
func play(t *testing.T, name string) [][]color.Light {
	t.Helper()
	src, ok := Source(name)
	require.True(t, ok)
	p, err := script.Load(name+".star", src)
	require.NoError(t, err)
	o := script.Options{Layout: cabinet(), Frames: 120, FPS: 10, Loop: name != "daybreak", Seed: 1, Value: name == "tidemark"}
	g, err := p.Trace(o)
	require.NoError(t, err)
	prog, err := g.Compile()
	require.NoError(t, err)
	for _, n := range prog.Notes() {
		require.NotEqual(t, "script.seam", n.Code, "%s", n.Error())
		require.NotEqual(t, "script.hash_fraction", n.Code, "%s", n.Error())
	}
	r := prog.Start()
	out := make([][]color.Light, prog.Frames())
	for f := range out {
		out[f] = make([]color.Light, len(o.Layout.Pixels))
		require.NoError(t, r.Next(out[f]))
	}
	return out
}

func TestEachPatternTellsWhatItIs(t *testing.T) {
	require.GreaterOrEqual(t, len(Names()), 8)
	for _, name := range Names() {
		src, _ := Source(name)
		p, err := script.Load(name+".star", src)
		require.NoError(t, err, name)
		require.Contains(t, p.Doc(), "Turn `", "%s says which number to turn", name)
		turn := strings.SplitN(strings.SplitN(p.Doc(), "Turn `", 2)[1], "`", 2)[0]
		known := false
		for _, c := range p.Controls() {
			known = known || c.Name == turn
			require.NotEmpty(t, c.Help, "%s.%s", name, c.Name)
		}
		require.True(t, known, "%s: %s is a control", name, turn)
		require.Less(t, len(src), 2048, "%s holds one idea", name)
	}
	_, ok := Source("nothing")
	require.False(t, ok)
}

// Light that the eye sees as one: no pixel jumps up and down more than three
// times a second, and no pattern is dark or beyond the LEDs' white.
func TestPatternsAreCalmAndVisible(t *testing.T) {
	for _, name := range Names() {
		frames := play(t, name)
		most, mean := 0.0, 0.0
		for _, f := range frames {
			sum := 0.0
			for _, l := range f {
				y := 0.2126*float64(l[0]) + 0.7152*float64(l[1]) + 0.0722*float64(l[2]) // IEC 61966-2-1
				most = math.Max(most, y)
				sum += y
			}
			mean += sum / float64(len(f)) / float64(len(frames))
		}
		t.Logf("%-10s brightest %.2f, mean %.3f of white", name, most, mean)
		require.Greater(t, most, 0.05, name)
		require.Less(t, most, 1.3, name)
		require.Less(t, mean, 0.8, name)
		if name == "tidemark" || name == "daybreak" {
			continue
		}
		// Turns of luminance by a tenth of white, averaged over the frame:
		// a pair of turns is a flash (ITU-R BT.1702: not more than 3 a second).
		dir, turns, last := 0, 0, mean
		for i, f := range append(frames, frames[0]) {
			sum := 0.0
			for _, l := range f {
				sum += 0.2126*float64(l[0]) + 0.7152*float64(l[1]) + 0.0722*float64(l[2])
			}
			y := sum / float64(len(f))
			if i == 0 {
				last = y
			}
			if d := y - last; math.Abs(d) >= 0.1 {
				now := 1
				if d < 0 {
					now = -1
				}
				if now != dir {
					turns++
					dir = now
				}
				last = y
			}
		}
		require.LessOrEqual(t, turns, 12*2*1, "%s: at most one flash a second", name)
	}
}

// Golden frames: numbers in testdata/NAME.csv, frame, pixel and linear light.
// A failure leaves testdata/failed-NAME.png, wanted above, got below: a column
// a pixel, a row a frame.
func TestGoldens(t *testing.T) {
	for _, name := range Names() {
		t.Run(name, func(t *testing.T) {
			frames := play(t, name)
			pick := []int{0, len(frames) / 7, len(frames) / 2, len(frames) - 1}
			var got bytes.Buffer
			for _, f := range pick {
				for p := 0; p < len(frames[f]); p += 4 { // every fourth pixel tells enough
					l := frames[f][p]
					fmt.Fprintf(&got, "%d,%d,%s,%s,%s\n", f, p, short(l[0]), short(l[1]), short(l[2]))
				}
			}
			file := filepath.Join("testdata", name+".csv")
			want, err := os.ReadFile(file)
			if *update {
				if err == nil && !bytes.Equal(want, got.Bytes()) {
					t.Logf("%s changes: %s", file, firstChange(want, got.Bytes()))
				}
				require.NoError(t, os.MkdirAll("testdata", 0o755))
				require.NoError(t, os.WriteFile(file, got.Bytes(), 0o644))
				return
			}
			require.NoError(t, err, "run the test with -update")
			if !bytes.Equal(want, got.Bytes()) {
				picture := filepath.Join("testdata", "failed-"+name+".png")
				draw(t, picture, want, got.Bytes())
				t.Fatalf("%s; see %s", firstChange(want, got.Bytes()), picture)
			}
		})
	}
}

// short prints a float32 so that it reads back as the same number.
func short(x float32) string { return strconv.FormatFloat(float64(x), 'g', -1, 32) }

func firstChange(want, got []byte) string {
	w, g := strings.Split(string(want), "\n"), strings.Split(string(got), "\n")
	for i := range w {
		if i >= len(g) || w[i] != g[i] {
			line := "nothing"
			if i < len(g) {
				line = g[i]
			}
			return fmt.Sprintf("frame, pixel, red, green, blue: got %s, want %s (to the bit)", line, w[i])
		}
	}
	return "more lines than wanted"
}

// draw puts wanted frames above those got.
func draw(t *testing.T, file string, halves ...[]byte) {
	const cell = 8
	img := image.NewRGBA(image.Rect(0, 0, 45*cell, cell*(4*len(halves)+1)))
	for h, half := range halves {
		rows, err := csv.NewReader(bytes.NewReader(half)).ReadAll()
		require.NoError(t, err)
		row, frame := -1, ""
		for _, r := range rows {
			if r[0] != frame {
				row, frame = row+1, r[0]
			}
			px, _ := strconv.Atoi(r[1])
			var c [3]uint8
			for k := range c {
				v, _ := strconv.ParseFloat(r[2+k], 32)
				c[k] = uint8(math.Round(255 * color.Encode(math.Min(math.Max(v, 0), 1))))
			}
			for y := range cell {
				for x := range cell {
					img.SetRGBA(px/4*cell+x, (row+h*5)*cell+y, imagecolor.RGBA{c[0], c[1], c[2], 255})
				}
			}
		}
	}
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	require.NoError(t, os.WriteFile(file, b.Bytes(), 0o644))
}

// Every pattern lights something and stays near 0..1. With -update a picture of
// each over time, for a person to look at (a row a frame, a column a pixel), goes
// to paneglow-patterns in the temporary directory.
func TestPictures(t *testing.T) {
	for _, name := range Names() {
		frames := play(t, name)
		most, least := float32(0), float32(0)
		for _, f := range frames {
			for _, l := range f {
				most, least = max(most, l[0], l[1], l[2]), min(least, l[0], l[1], l[2])
			}
		}
		require.Greater(t, most, float32(0.1), "%s lights something", name)
		require.Less(t, most, float32(1.3), "%s stays near the show's white", name)
		require.Greater(t, least, float32(-0.3), "%s stays near what LEDs can make", name)
		if !*update {
			continue
		}
		img := image.NewRGBA(image.Rect(0, 0, len(frames[0])*3, len(frames)*3))
		for y := range img.Rect.Max.Y {
			for x := range img.Rect.Max.X {
				var c [3]uint8
				for k := range c {
					c[k] = uint8(math.Round(255 * color.Encode(math.Min(math.Max(float64(frames[y/3][x/3][k]), 0), 1))))
				}
				img.SetRGBA(x, y, imagecolor.RGBA{c[0], c[1], c[2], 255})
			}
		}
		dir := filepath.Join(os.TempDir(), "paneglow-patterns")
		require.NoError(t, os.MkdirAll(dir, 0o755))
		var b bytes.Buffer
		require.NoError(t, png.Encode(&b, img))
		require.NoError(t, os.WriteFile(filepath.Join(dir, name+".png"), b.Bytes(), 0o644))
	}
}
