package picture

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/gif"
	"image/png"
	"io"
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"paneglow/anim"
	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/panel"
)

// machine is two strips of one part: a column of 6 pixels up, a row of 3.
func machine() (*show.Machine, *layout.Layout) {
	p := show.Part{Name: "p", Order: "RGB", LEDsPerPixel: 1, Pitch: 60, HalfAngle: 60}
	p.Light[0] = show.Die{Wavelength: 622, Intensity: 400}
	p.Light[1] = show.Die{Wavelength: 523, Intensity: 690}
	p.Light[2] = show.Die{Wavelength: 466, Intensity: 190}
	m := &show.Machine{Parts: []show.Part{p}}
	m.Panel.Depth, m.Panel.Glass.Scatter = 20, 40
	m.Panel.Glass.Transmittance = [3]float64{0.9, 0.9, 0.9}
	m.Panel.Glass.Reflectance, m.Panel.Glass.Haze = 0.15, 1
	l := &layout.Layout{Width: 100, Height: 150, Strips: []layout.Strip{{Name: "up", Count: 6, Dies: 3, LEDPitch: 16}, {Name: "across", First: 6, Count: 3, Dies: 3, LEDPitch: 16}}}
	for i := range 9 {
		px := layout.Pixel{Strip: i / 6, Index: i % 6, X: 20, Y: 30 + 16*float64(i), Offset: 3 * i}
		if i >= 6 {
			px.X, px.Y = 40+16*float64(i-6), 130
		}
		l.Pixels = append(l.Pixels, px)
		l.LEDs = append(l.LEDs, layout.LED{X: px.X, Y: px.Y, Pixel: int32(i)})
	}
	return m, l
}

func solid(c color.RGBA) *image.RGBA {
	img := image.NewRGBA(image.Rect(0, 0, 5, 4))
	for i := 0; i < len(img.Pix); i += 4 {
		img.Pix[i], img.Pix[i+1], img.Pix[i+2], img.Pix[i+3] = c.R, c.G, c.B, c.A
	}
	return img
}

// The PNG standard's own decoder reads the first frame; the animation chunks
// are walked by hand: order, checksums, sequence numbers, frame count.
func TestAPNG(t *testing.T) {
	var b bytes.Buffer
	frames := []*image.RGBA{solid(color.RGBA{255, 0, 0, 255}), solid(color.RGBA{0, 255, 0, 255}), solid(color.RGBA{0, 0, 255, 255})}
	require.NoError(t, APNG(&b, frames, 12.5))
	first, err := png.Decode(bytes.NewReader(b.Bytes()))
	require.NoError(t, err)
	require.Equal(t, color.RGBA{255, 0, 0, 255}, color.RGBAModel.Convert(first.At(2, 2)))
	var kinds []string
	var sequence []uint32
	for rest := b.Bytes()[8:]; len(rest) > 0; {
		n := binary.BigEndian.Uint32(rest)
		kind, data := string(rest[4:8]), rest[8:8+n]
		require.Equal(t, crc32.ChecksumIEEE(rest[4:8+n]), binary.BigEndian.Uint32(rest[8+n:]), kind)
		kinds = append(kinds, kind)
		switch kind {
		case "acTL":
			require.Equal(t, uint32(3), binary.BigEndian.Uint32(data))
		case "fcTL":
			sequence = append(sequence, binary.BigEndian.Uint32(data))
			require.Equal(t, []uint16{100, 1250}, []uint16{binary.BigEndian.Uint16(data[20:]), binary.BigEndian.Uint16(data[22:])})
		case "fdAT":
			sequence = append(sequence, binary.BigEndian.Uint32(data))
		}
		rest = rest[12+n:]
	}
	require.Equal(t, []string{"IHDR", "acTL", "fcTL", "IDAT", "fcTL", "fdAT", "fcTL", "fdAT", "IEND"}, kinds)
	require.Equal(t, []uint32{0, 1, 2, 3, 4}, sequence)
	require.Error(t, APNG(&b, nil, 10))
	require.ErrorContains(t, APNG(&b, []*image.RGBA{frames[0], image.NewRGBA(image.Rect(0, 0, 9, 9))}, 10), "frame 1")
}

func TestGIF(t *testing.T) {
	var b bytes.Buffer
	frames := []*image.RGBA{solid(color.RGBA{250, 0, 0, 255}), solid(color.RGBA{0, 0, 250, 255}), solid(color.RGBA{0, 0, 0, 255})}
	require.NoError(t, GIF(&b, frames, 30))
	g, err := gif.DecodeAll(&b)
	require.NoError(t, err)
	require.Len(t, g.Image, 3)
	require.Equal(t, []int{3, 4, 3}, g.Delay, "three hundredths on average, no drift")
	r, _, bl, _ := g.Image[1].At(1, 1).RGBA()
	require.Less(t, r>>8, uint32(20))
	require.Greater(t, bl>>8, uint32(230))
}

// IEC 61966-2-1: linear 0.5 shows as 188; black and white are exact.
func TestScreen(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 4, 4))
	sum := 0
	for y := range 4 {
		for x := range 4 {
			screen(img, x, y, 0.5, 0, 2)
			sum += int(img.Pix[img.PixOffset(x, y)])
		}
	}
	for i, v := range []float32{0, 1} {
		for x := range 4 {
			screen(img, x, i, v, v, v)
			require.Equal(t, uint8(255*i), img.Pix[img.PixOffset(x, i)])
		}
	}
	sum = 0
	for y := range 4 {
		for x := range 4 {
			screen(img, x, y, 0.5, 0.5, 0.5)
			sum += int(img.Pix[img.PixOffset(x, y)])
		}
	}
	require.InDelta(t, 187.5, float64(sum)/16, 0.6, "dither keeps the mean")
}

// Light over white keeps its luminance as long as white itself is not passed.
func TestHighlights(t *testing.T) {
	img := image.NewRGBA(image.Rect(0, 0, 1, 1))
	screen(img, 0, 0, 2, 0.1, 0.1)
	lin := func(i int) float64 {
		v := float64(img.Pix[i]) / 255
		return math.Pow((v+0.055)/1.055, 2.4)
	}
	got := 0.2126*lin(0) + 0.7152*lin(1) + 0.0722*lin(2)
	require.InDelta(t, 0.2126*2+0.7152*0.1+0.0722*0.1, got, 0.02)
	require.Equal(t, uint8(255), img.Pix[0])
	require.Greater(t, img.Pix[1], uint8(90), "drawn towards white")
}

// A glass picture: lit below, dark above, captioned, its size as asked.
func TestCamera(t *testing.T) {
	m, l := machine()
	codes := make([]uint8, 27)
	for i := range 9 {
		codes[i] = 255 // the three lowest pixels of the column
	}
	cam, err := NewCamera(m, l, View{Height: 300, Room: 10, Clip: "rest"}, codes)
	require.NoError(t, err)
	img, err := cam.Draw(codes, "1.00 s")
	require.NoError(t, err)
	require.Contains(t, cam.Caption(), "simulated")
	at := func(x, y float64) int { // millimetres
		// 16, scaled by 0.8 for a small picture; a narrow panel stands in the middle of 240.
		c := img.RGBAAt(int(12+20+x*2), int(12+(150-y)*2))
		return int(c.R) + int(c.G) + int(c.B)
	}
	require.Greater(t, at(20, 46), 400)
	require.Less(t, at(80, 140), 60)
	require.Greater(t, at(20, 46), at(40, 46))

	// Another glass beside it, at the same exposure: wider spots, less bright.
	other := *m
	other.Panel.Glass.Lambertian = 1
	cam2, err := NewCamera(&other, l, View{Height: 300, Room: 10, Clip: "rest", Exposure: cam.Exposure(), Heading: "what if"}, codes)
	require.NoError(t, err)
	require.InDelta(t, cam.Exposure(), cam2.Exposure(), 1e-12)
	right, err := cam2.Draw(codes, "1.00 s")
	require.NoError(t, err)
	both := Beside(img, right)
	require.Equal(t, img.Bounds().Dx()+right.Bounds().Dx(), both.Bounds().Dx())
	shift := img.Bounds().Dx()
	sum := func(x, y int) int { c := both.RGBAAt(x, y); return int(c.R) + int(c.G) + int(c.B) }
	require.Greater(t, sum(32+40, 12+208), sum(32+40+shift, 12+208), "on the LEDs")
	require.Less(t, sum(32+140, 12+208), sum(32+140+shift, 12+208), "far from them")

	clear := *m
	clear.Panel.Glass.Haze = 0
	view := View{Height: 300, Clip: "rest", Adapted: true, Eye: &panel.Eye{X: 50, Y: 75, Z: 500}}
	cam, err = NewCamera(&clear, l, view, codes)
	require.NoError(t, err)
	require.Contains(t, cam.Caption(), "haze 0")
	require.Contains(t, cam.Caption(), "eye adapted")
	require.Contains(t, cam.Caption(), "seen from 50, 75, 500 mm")
	_, err = NewCamera(m, l, View{Height: 30000}, codes)
	require.ErrorContains(t, err, "100 to 4000")
}

func TestBareAndTimeline(t *testing.T) {
	m, l := machine()
	p, err := NewPaint(m, l)
	require.NoError(t, err)
	full := bytes.Repeat([]byte{255}, 27)
	img, err := Bare(p, full, 300, "note", "")
	require.NoError(t, err)
	require.Greater(t, img.Bounds().Dy(), 300)
	_, err = Bare(p, full, 5, "", "")
	require.Error(t, err)

	c := Clip{Title: "clip x", FPS: 10, Budget: 500_000}
	for f := range 20 {
		codes := make([]uint8, 27)
		codes[3*(f%6)+1] = 255 // a green point climbs the column
		c.Frames = append(c.Frames, codes)
		c.Current = append(c.Current, int64(20_000*f))
	}
	tl, err := Timeline(p, c, 800)
	require.NoError(t, err)
	green := func(x, y int) bool { q := tl.RGBAAt(x, y); return q.G > 180 && q.R < 120 }
	// Frame 0 lights the lowest pixel: its band stands upright, 6 pixels of 12.
	require.True(t, green(95, 64+5*12+6), "first pixel at the bottom")
	require.False(t, green(95, 64+6))
	_, err = Timeline(p, Clip{}, 800)
	require.Error(t, err)
	_, err = Timeline(p, c, 100)
	require.ErrorContains(t, err, "480 to 6000")
}

// Notes of different lengths give pictures of one size.
func TestNotesKeepTheSize(t *testing.T) {
	m, l := machine()
	codes := make([]uint8, 27)
	const longest = "12.00 s, 1000 mA of 2000 mA, a state with a rather long name, everything running"
	cam, err := NewCamera(m, l, View{Height: 150, Clip: "x", Longest: longest}, codes)
	require.NoError(t, err)
	p, err := NewPaint(m, l)
	require.NoError(t, err)
	var sizes []image.Point
	for _, note := range []string{"0.00 s", longest} {
		a, err := cam.Draw(codes, note)
		require.NoError(t, err)
		b, err := Bare(p, codes, 150, note, longest)
		require.NoError(t, err)
		sizes = append(sizes, a.Bounds().Size(), b.Bounds().Size())
	}
	require.Equal(t, sizes[0], sizes[2])
	require.Equal(t, sizes[1], sizes[3])
}

// Amber where the glass is brighter than wanted, blue where it is darker, black
// where both are alike.
func TestDifference(t *testing.T) {
	gray := func(codes ...uint8) *image.RGBA {
		img := image.NewRGBA(image.Rect(0, 0, len(codes), 1))
		for i, v := range codes {
			img.SetRGBA(i, 0, color.RGBA{v, v, v, 255})
		}
		return img
	}
	d := difference(gray(10, 200, 120), gray(200, 10, 120))
	over, under, same := d.RGBAAt(0, 0), d.RGBAAt(1, 0), d.RGBAAt(2, 0)
	require.Greater(t, over.R, over.B+80)
	require.Greater(t, under.B, under.R+80)
	require.Zero(t, int(same.R)+int(same.G)+int(same.B))
}

// What is wanted, what is seen and the difference stand side by side, and a lit
// column appears where the target has one.
func TestTargeted(t *testing.T) {
	m, l := machine()
	s := &anim.Seen{W: 10, H: 15, N: 1, Light: make([]anim.Light, 150)}
	for y := range 15 {
		s.Light[10*y+2] = anim.Light{1, 1, 1}
	}
	white, err := WhiteCodes(m, l)
	require.NoError(t, err)
	img, err := Targeted(m, l, s, 0, white, 300, []string{"a note"})
	require.NoError(t, err)
	sum := func(x, y int) int { c := img.RGBAAt(x, y); return int(c.R) + int(c.G) + int(c.B) }
	const gap, head, w = 12, 24, 200
	require.Equal(t, 3*w+4*gap, img.Bounds().Dx())
	require.Greater(t, sum(gap+50, head+150), 700, "wanted: the third of ten columns")
	require.Zero(t, sum(gap+150, head+150))
	require.Greater(t, sum(2*gap+w+40, head+208), 500, "seen: the LEDs' column, 20 mm from the left")
	require.Greater(t, sum(2*gap+w+40, head+208), sum(2*gap+w+150, head+208)+200)
	_, err = Targeted(m, l, s, 0, white, 20, nil)
	require.ErrorContains(t, err, "100 to 4000")
}

// Frames that are drawn one by one make the same file as frames that are there, and
// an error of one ends the animation with it.
func TestAnimationsFrameByFrame(t *testing.T) {
	var frames []*image.RGBA
	for i := range 11 {
		img := image.NewRGBA(image.Rect(0, 0, 9, 7))
		for k := range img.Pix {
			img.Pix[k] = uint8(k*i + 40)
		}
		frames = append(frames, img)
	}
	broken := errors.New("no more light")
	for name, w := range map[string]struct {
		all func(io.Writer, []*image.RGBA, float64) error
		of  func(io.Writer, int, float64, Frames) error
	}{"gif": {GIF, GIFOf}, "apng": {APNG, APNGOf}} {
		var a, b bytes.Buffer
		require.NoError(t, w.all(&a, frames, 20), name)
		require.NoError(t, w.of(&b, len(frames), 20, func(i int) (*image.RGBA, error) { return frames[i], nil }), name)
		require.Equal(t, a.Bytes(), b.Bytes(), name)
		err := w.of(&b, len(frames), 20, func(i int) (*image.RGBA, error) {
			if i == 4 {
				return nil, broken
			}
			return frames[i], nil
		})
		require.ErrorIs(t, err, broken, name)
		require.Error(t, w.of(&b, 0, 20, nil), name)
		asked := 0
		err = w.of(refuses{}, len(frames), 20, func(i int) (*image.RGBA, error) { asked++; return frames[i], nil })
		require.Error(t, err, "%s: a file that cannot be written", name)
		if name == "apng" {
			require.Equal(t, 1, asked, "nothing is drawn for a file that cannot be written")
		}
	}
}

type refuses struct{}

func (refuses) Write([]byte) (int, error) { return 0, errors.New("the disk is full") }

// What is driven is shown as it is: half a code is half a code, whatever light the
// die gives.
func TestDriven(t *testing.T) {
	_, l := machine()
	codes := make([]uint8, 27)
	for i := range l.Pixels {
		o := l.Pixels[i].Offset
		codes[o], codes[o+1], codes[o+2] = 10, 200, 90
	}
	img, err := Driven(l, codes, 600, "", "")
	require.NoError(t, err)
	n := 0
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			if img.RGBAAt(x, y) == (color.RGBA{10, 200, 90, 255}) {
				n++
			}
		}
	}
	require.Greater(t, n, 20*len(l.Pixels), "every LED has a heart of its codes")
	_, err = Driven(l, codes, 50, "", "")
	require.Error(t, err)
}
