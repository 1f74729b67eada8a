package photo

import (
	"bytes"
	"encoding/binary"
	"errors"
	"hash/crc32"
	"image"
	"image/color"
	"image/jpeg"
	"image/png"
	"os"
	"path/filepath"
	"testing"

	"github.com/lucasb-eyer/go-colorful"
	"github.com/stretchr/testify/require"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// refused wants a finding of a code with a fix.
func refused(t *testing.T, err error, code, message string) {
	t.Helper()
	var f finding.Finding
	require.True(t, errors.As(err, &f), "%v", err)
	require.Equal(t, code, f.Code, err)
	require.Equal(t, finding.Error, f.Severity)
	require.NotEmpty(t, f.Fix)
	require.Contains(t, f.Message, message)
}

func TestRefusals(t *testing.T) {
	near := 16.7 // mm, the pitch of 60 LEDs a metre
	for name, c := range map[string]struct {
		code, message string
		change        func(*camera)
	}{
		"two pixels":           {"photo.several", "", func(c *camera) { c.more = [][3]float64{{c.x + near/c.scale, c.y, 1}} }},
		"two, one dim":         {"photo.several", "", func(c *camera) { c.more = [][3]float64{{c.x + near/c.scale, c.y, 0.3}} }},
		"two, far apart":       {"photo.several", "second light", func(c *camera) { c.more = [][3]float64{{c.x + 3*near/c.scale, c.y, 0.2}} }},
		"two, one on the edge": {"photo.several", "second light", func(c *camera) { c.more = [][3]float64{{2, 2, 0.5}} }},
		"three of one pixel":   {"photo.several", "", func(c *camera) { c.more = [][3]float64{{c.x - near/c.scale, c.y, 1}, {c.x + near/c.scale, c.y, 1}} }},
		"two, run together": {"photo.several", "longer than wide", func(c *camera) {
			c.depth, c.fwhm, c.scale = 60, 50, 0.8
			c.more = [][3]float64{{c.x + near/c.scale, c.y, 1}}
		}},
		"from the side":       {"photo.several", "longer than wide", func(c *camera) { c.stretch = 0.1 }},
		"at the edge":         {"photo.edge", "middle is", func(c *camera) { c.x = 20 }},
		"over the edge":       {"photo.edge", "leaves the picture", func(c *camera) { c.y = -8 }},
		"too near":            {"photo.edge", "leaves the picture", func(c *camera) { c.scale = 0.03 }},
		"nothing lit":         {"photo.no_spot", "no spot", func(c *camera) { c.peak = 0 }},
		"nothing at all":      {"photo.no_spot", "no spot", func(c *camera) { c.peak, c.noise, c.shot, c.deep = 0, 0, 0, false }},
		"dark":                {"photo.too_dark", "the least is 2 %", func(c *camera) { c.peak, c.deep = 0.01, false }},
		"all white":           {"photo.clipped", "% of the picture", func(c *camera) { c.peak, c.ambient = 5, 3 }},
		"clipped to the foot": {"photo.clipped", "at least 10 %", func(c *camera) { c.peak = 40 }},
		"coarse":              {"photo.too_coarse", "the least is 6", func(c *camera) { c.scale, c.w, c.h, c.x, c.y = 4, 120, 100, 60.2, 50.4 }},
		"one bright pixel":    {"photo.too_coarse", "the least is 6", func(c *camera) { c.scale, c.w, c.h, c.x, c.y = 40, 60, 50, 30, 25 }},
	} {
		t.Run(name, func(t *testing.T) {
			cam := still(25, 0.15)
			c.change(&cam)
			_, err := Fit(cam.shoot(t, 0), cam.settings())
			refused(t, err, c.code, c.message)
		})
	}
}

func TestSettingsAreChecked(t *testing.T) {
	c := still(25, 0.15)
	c.w, c.h, c.x, c.y = 400, 320, 200, 160
	p := c.shoot(t, 0)
	for code, change := range map[string]func(*Settings){
		"photo.depth":     func(s *Settings) { s.Depth = 0 },
		"photo.scale":     func(s *Settings) { s.Scale = -1 },
		"photo.emitter":   func(s *Settings) { s.Emitter = 500 },
		"photo.distance":  func(s *Settings) { s.Distance = 30 },
		"photo.dark_size": func(s *Settings) { s.Dark = &Picture{Name: "dark.png", W: 320, H: 400} },
	} {
		s := c.settings()
		change(&s)
		_, err := Fit(p, s)
		refused(t, err, code, "")
	}
	s := c.settings()
	s.HalfAngle = 90
	_, err := Fit(p, s)
	refused(t, err, "photo.emitter", "outside 0 to 90 deg")
}

func TestMarks(t *testing.T) {
	c := still(25, 0)
	c.w, c.h = 400, 300
	photo := c.shoot(t, 90)
	a, err := ParseMark("20, 120.5")
	require.NoError(t, err)
	got, err := photo.ScaleOf(a, Mark{320, 120.5}, 60)
	require.NoError(t, err)
	require.InDelta(t, 0.2, float64(got), 1e-12)
	// Read off a viewer that shows the photo upright: 300 wide and 400 high.
	got, err = photo.ScaleOf(Mark{100, 50}, Mark{100, 350}, 60)
	require.NoError(t, err)
	require.InDelta(t, 0.2, float64(got), 1e-12)

	_, err = photo.ScaleOf(a, Mark{420, 320}, 60)
	refused(t, err, "photo.scale", "outside the picture of 400 x 300")
	_, err = photo.ScaleOf(a, a, 60)
	refused(t, err, "photo.scale", "0 pixels apart")
	_, err = photo.ScaleOf(a, Mark{320, 120}, 0)
	refused(t, err, "photo.scale", "0 mm apart")
	for _, bad := range []string{"", "120", "a,b", "1,2,3", "NaN,1", "Inf,1"} {
		_, err := ParseMark(bad)
		require.ErrorContains(t, err, "is no point", bad)
	}
}

// The decoding agrees with go-colorful's on every code.
func TestEncoding(t *testing.T) {
	table := Encoding{}.table()
	for code := range 256 {
		want, _, _ := colorful.Color{R: float64(code) / 255}.LinearRgb()
		require.InDelta(t, want, float64(table[code*257]), 1e-6, code)
	}
	for text, want := range map[string]float64{"srgb": 0, " linear ": 1, "gamma 2.2": 2.2, "gamma 1": 1} {
		e, err := ParseEncoding(text)
		require.NoError(t, err)
		require.Equal(t, want, e.Gamma)
		again, err := ParseEncoding(e.String())
		require.NoError(t, err)
		require.Equal(t, e, again)
	}
	for _, bad := range []string{"", "gamma", "gamma 5", "gamma NaN", "rec"} {
		_, err := ParseEncoding(bad)
		require.ErrorContains(t, err, "is no encoding", bad)
	}
}

func encoded(t testing.TB, img image.Image) []byte {
	var b bytes.Buffer
	require.NoError(t, png.Encode(&b, img))
	return b.Bytes()
}

// huge is a PNG header that promises a picture of this size, and nothing else.
func huge(w, h uint32) []byte {
	b := []byte("\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR")
	b = binary.BigEndian.AppendUint32(b, w)
	b = binary.BigEndian.AppendUint32(b, h)
	b = append(b, 8, 0, 0, 0, 0)
	return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[12:]))
}

func TestRead(t *testing.T) {
	_, err := Open(filepath.Join(t.TempDir(), "none.png"), Encoding{})
	refused(t, err, "photo.unreadable", "no such file")
	_, err = Open(t.TempDir(), Encoding{})
	refused(t, err, "photo.unreadable", "")
	for _, b := range [][]byte{nil, []byte("GIF89a"), []byte("[panel]\n"), huge(0, 5), huge(20, 30)} {
		_, err := Read("x", b, Encoding{})
		refused(t, err, "photo.unreadable", "")
	}
	_, err = Read("x", huge(60000, 60000), Encoding{})
	refused(t, err, "photo.too_large", "3600 million; the most is 64 million")
	glass := image.NewNRGBA(image.Rect(0, 0, 9, 9))
	_, err = Read("x", encoded(t, glass), Encoding{})
	refused(t, err, "photo.unreadable", "transparent")
	_, err = Read("x", encoded(t, image.NewNRGBA64(glass.Rect)), Encoding{})
	refused(t, err, "photo.unreadable", "transparent")

	// All kinds of pixels are read alike.
	rect := image.Rect(0, 0, 12, 10)
	gray, gray16 := image.NewGray(rect), image.NewGray16(rect)
	rgb, rgb16 := image.NewNRGBA(rect), image.NewNRGBA64(rect)
	var shades color.Palette
	for i := range 120 {
		shades = append(shades, color.Gray{uint8(2 * i)})
	}
	listed := image.NewPaletted(rect, shades)
	for i := range 120 {
		for _, img := range []interface {
			Set(x, y int, c color.Color)
		}{gray, gray16, rgb, rgb16, listed} {
			img.Set(i%12, i/12, color.Gray{uint8(2 * i)})
		}
	}
	for _, img := range []image.Image{gray, gray16, rgb, rgb16, listed} {
		p, err := Read("x", encoded(t, img), Encoding{})
		require.NoError(t, err)
		row := make([][3]uint16, p.W)
		for y := range p.H {
			p.row(y, row)
			for x, q := range row {
				want := uint16(2*(y*12+x)) * 257
				require.Equal(t, [3]uint16{want, want, want}, q, "%T", img)
			}
		}
	}
	var b bytes.Buffer
	require.NoError(t, jpeg.Encode(&b, gray, nil))
	path := filepath.Join(t.TempDir(), "gray.jpg")
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	p, err := Open(path, Encoding{})
	require.NoError(t, err)
	require.Equal(t, "jpeg", p.Format)
}

// A small picture of anything is refused or fitted, without a panic.
func FuzzFit(f *testing.F) {
	c := still(25, 0.15)
	c.scale, c.w, c.h, c.x, c.y, c.deep = 2, 40, 32, 20.3, 15.8, false
	f.Add(c.jpeg(f, 60), 30.0, 2.0)
	f.Add(c.png(f), 10.0, 0.1)
	f.Add(encoded(f, image.NewGray(image.Rect(0, 0, 1, 1))), 1.0, 1.0)
	f.Add(encoded(f, image.NewGray16(image.Rect(0, 0, 300, 1))), 1.0, 1.0)
	f.Add(huge(3, 3), 1.0, 1.0)
	f.Fuzz(func(t *testing.T, b []byte, depth, scale float64) {
		if conf, _, err := image.DecodeConfig(bytes.NewReader(b)); err == nil && conf.Width*conf.Height > 1<<16 {
			return // slow, and no other code
		}
		p, err := Read("x", b, Encoding{})
		if err != nil {
			return
		}
		r, err := Fit(p, Settings{Depth: unit.Length(depth), Scale: unit.Length(scale)})
		if err == nil && !(r.Scatter.Low <= r.Scatter.Value && r.Scatter.Value <= r.Scatter.High && r.Lambertian.Low <= r.Lambertian.Value && r.Lambertian.Value <= r.Lambertian.High) {
			t.Fatalf("%+v %+v", r.Scatter, r.Lambertian)
		}
	})
}
