//go:build display

package view

import (
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/hajimehoshi/ebiten/v2"
	"github.com/stretchr/testify/require"

	"paneglow/preview/model"
)

func grey(v uint8) color.NRGBA { return color.NRGBA{v, v, v, 255} }

// everything is a list with each kind of op.
func everything(w, h float64) *model.List {
	amber, mint := color.NRGBA{242, 177, 52, 255}, color.NRGBA{90, 200, 160, 255}
	ops := []model.Op{
		{Kind: model.Fill, W: w, H: h, Color: grey(20)},
		{Kind: model.Fill, X: 20, Y: 20, W: 120, H: 60, Radius: 10, Color: grey(52)},
		{Kind: model.Frame, X: 20, Y: 20, W: 120, H: 60, Radius: 10, Width: 2, Color: amber},
		{Kind: model.Frame, X: 160, Y: 20, W: 120, H: 60, Color: mint},
		{Kind: model.Hatch, X: 161, Y: 21, W: 118, H: 58, Color: mint},
		{Kind: model.Line, X: 300, Y: 20, W: 380, H: 80, Width: 1.5, Color: amber},
		{Kind: model.Line, X: 300, Y: 50, W: 380, H: 50, Color: grey(200)},
		{Kind: model.Line, X: 340, Y: 20, W: 340, H: 80, Color: grey(200)},
		{Kind: model.Disc, X: 420, Y: 50, Radius: 24, Color: mint},
		{Kind: model.Disc, X: 470, Y: 50, Radius: 4, Color: amber},
		{Kind: model.Disc, X: 490, Y: 50, Radius: 1.5, Color: amber},
		{Kind: model.Text, X: 20, Y: 110, Text: "left: drops fall 12.4 A °µ·—", Size: 14, Color: grey(230)},
		{Kind: model.Text, X: 300, Y: 130, Text: "centre", Size: 18, Align: model.Center, Bold: true, Color: amber},
		{Kind: model.Text, X: 500, Y: 110, Text: "right, clipped here", Size: 14, Align: model.Right, Color: grey(230), Clip: &model.Rect{X: 380, Y: 90, W: 90, H: 40}},
		{Kind: model.Glass, X: 20, Y: 140, W: 100, H: 160},
		{Kind: model.Fill, X: 60, Y: 180, W: 120, H: 40, Color: color.NRGBA{255, 80, 60, 128}},
	}
	var curve, star []model.Point
	for i := range 200 {
		x := float64(i)
		curve = append(curve, model.Point{X: 200 + x, Y: 220 + 40*math.Sin(x/9)*math.Exp(-x/150)})
	}
	under := append([]model.Point{{X: 200, Y: 290}}, curve...)
	under = append(under, model.Point{X: 399, Y: 290})
	for i := range 10 {
		r := 40.0
		if i%2 == 1 {
			r = 16
		}
		sin, cos := math.Sincos(float64(i) * math.Pi / 5)
		star = append(star, model.Point{X: 450 + r*sin, Y: 220 - r*cos})
	}
	saw := []model.Point{{X: 420, Y: 290}, {X: 430, Y: 270}, {X: 440, Y: 290}, {X: 442, Y: 268}, {X: 460, Y: 290}, {X: 500, Y: 290}, {X: 500, Y: 270}}
	pix := make([]uint8, 4*4*4)
	for i := range pix {
		pix[i] = uint8(37 * i)
		if i%4 == 3 {
			pix[i] = 255
		}
	}
	return &model.List{Ops: append(ops,
		model.Op{Kind: model.Area, Points: under, Color: color.NRGBA{90, 200, 160, 90}},
		model.Op{Kind: model.Path, Points: curve, Width: 2, Color: mint},
		model.Op{Kind: model.Area, Points: star, Color: amber},
		model.Op{Kind: model.Path, Points: saw, Width: 3, Color: grey(220)},
		model.Op{Kind: model.Picture, X: 130, Y: 230, W: 48, H: 60, Image: &model.Image{W: 4, H: 4, Pix: pix, Version: 1}},
	)}
}

func painted(size image.Point, list *model.List, light *model.Light, scale float64) *image.RGBA {
	return shot(size, func(screen *ebiten.Image) {
		var p painter
		p.frame(screen, list, light, scale)
	})
}

// keep writes a picture for a person to look at.
func keep(t *testing.T, name string, img image.Image) {
	t.Helper()
	dir := os.Getenv("PICTURES")
	if dir == "" {
		return
	}
	require.NoError(t, os.MkdirAll(dir, 0o755))
	f, err := os.Create(filepath.Join(dir, name+".png"))
	require.NoError(t, err)
	require.NoError(t, png.Encode(f, img))
	require.NoError(t, f.Close())
}

func TestEveryKind(t *testing.T) {
	light := blobs(40, 60, 1)
	one := painted(image.Pt(520, 310), everything(520, 310), light, 1)
	keep(t, "kinds", one)
	two := painted(image.Pt(1040, 620), everything(520, 310), light, 2)
	keep(t, "kinds-2x", two)
	for _, c := range []struct {
		what string
		x, y int
		want color.RGBA
	}{
		{"the ground", 5, 5, color.RGBA{20, 20, 20, 255}},
		{"a fill", 60, 50, color.RGBA{52, 52, 52, 255}},
		{"a rounded corner", 20, 20, color.RGBA{20, 20, 20, 255}},
		{"a frame's left edge", 160, 50, color.RGBA{90, 200, 160, 255}},
		{"a frame's lower edge", 200, 79, color.RGBA{90, 200, 160, 255}},
		{"beyond a frame's lower edge", 200, 80, color.RGBA{20, 20, 20, 255}},
		{"a disc", 420, 50, color.RGBA{90, 200, 160, 255}},
		{"a star's middle", 450, 220, color.RGBA{242, 177, 52, 255}},
		{"between a star's tips", 478, 194, color.RGBA{20, 20, 20, 255}},
		{"half a colour over the ground", 150, 200, color.RGBA{138, 50, 40, 255}},
		{"a picture's first texel", 133, 233, color.RGBA{0, 37, 74, 255}},
		{"text that is clipped", 475, 105, color.RGBA{20, 20, 20, 255}},
	} {
		near(t, c.what, c.want, one.RGBAAt(c.x, c.y), 1)
		near(t, c.what+" at twice the scale", c.want, two.RGBAAt(2*c.x+1, 2*c.y+1), 1)
	}
	// The glass, where nothing lies over it, is the shader's alone.
	g := model.Twin(light, 100, 160)
	for y := 0; y < 160; y += 3 {
		for x := 0; x < 39; x += 3 {
			near(t, fmt.Sprintf("glass at %d, %d", x, y), g.RGBAAt(x, y), one.RGBAAt(x+20, y+140), mostApart)
		}
	}
}

func near(t *testing.T, what string, want, got color.RGBA, most int) {
	t.Helper()
	for _, d := range [4]int{int(want.R) - int(got.R), int(want.G) - int(got.G), int(want.B) - int(got.B), int(want.A) - int(got.A)} {
		if max(d, -d) > most {
			t.Errorf("%s: want %v, got %v", what, want, got)
			return
		}
	}
}

// Lengths cover as many pixels as they are long: a line's ink, summed across it, is
// its width, wherever it lies and whichever way it goes.
func TestLinesHaveTheirWidth(t *testing.T) {
	for _, width := range []float64{0.5, 1, 1.5, 2, 3.25} {
		for _, angle := range []float64{0.1, 0.4, 0.7853, 1.1, 1.5} {
			sin, cos := math.Sincos(angle)
			// 60 long, with its ends inside.
			list := &model.List{Ops: []model.Op{
				{Kind: model.Fill, W: 100, H: 100, Color: grey(0)},
				{Kind: model.Line, X: 50.3 - 30*cos, Y: 49.8 - 30*sin, W: 50.3 + 30*cos, H: 49.8 + 30*sin, Width: width, Color: grey(255)},
			}}
			img := painted(image.Pt(100, 100), list, nil, 1)
			ink := 0.0
			for i := 0; i < len(img.Pix); i += 4 {
				ink += float64(img.Pix[i]) / 255
			}
			// A pale line of half a pixel is a pixel wide ramp read at pixels' middles.
			require.InDelta(t, 60*width, ink, 60*width*0.1, "width %g at %g rad", width, angle)
		}
	}
}

// Discs have their area, pi r^2, to within a tenth even where they are but dots.
func TestDiscsHaveTheirArea(t *testing.T) {
	for _, r := range []float64{1.5, 2, 3.7, 8, 20, 40} {
		list := &model.List{Ops: []model.Op{
			{Kind: model.Fill, W: 100, H: 100, Color: grey(0)},
			{Kind: model.Disc, X: 50.2, Y: 49.6, Radius: r, Color: grey(255)},
		}}
		img := painted(image.Pt(100, 100), list, nil, 1)
		ink := 0.0
		for i := 0; i < len(img.Pix); i += 4 {
			ink += float64(img.Pix[i]) / 255
		}
		require.InEpsilon(t, math.Pi*r*r, ink, 0.1, "radius %g", r)
	}
}

// A screen that was mended from list to list holds the same picture as one that was
// drawn at once. Lists change as windows do: things move, come, go, change colour,
// change places.
func TestMendedEqualsDrawnAtOnce(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	size := image.Pt(520, 310)
	light := blobs(40, 60, 1)
	list := everything(520, 310)
	mended := ebiten.NewImage(size.X, size.Y)
	defer mended.Deallocate()
	var p painter
	for step := range 60 {
		ops := append([]model.Op(nil), list.Ops...)
		for range 1 + r.IntN(3) {
			i := 1 + r.IntN(len(ops)-1)
			switch r.IntN(6) {
			case 0:
				ops[i].X += float64(r.IntN(31) - 15)
				ops[i].Y += float64(r.IntN(31)-15) / 2
			case 1:
				ops[i].Color.G ^= 0x40
			case 2:
				ops = append(ops[:i], ops[i+1:]...)
			case 3:
				ops = append(ops, ops[i])
				ops[len(ops)-1].X += 17
			case 4:
				j := 1 + r.IntN(len(ops)-1)
				ops[i], ops[j] = ops[j], ops[i]
			case 5:
				for k := range light.Codes {
					light.Codes[k] += 4096
				}
				light.Version++
			}
		}
		list = &model.List{Ops: ops}
		p.frame(mended, list, light, 1)
		got := image.NewRGBA(mended.Bounds())
		mended.ReadPixels(got.Pix)
		want := painted(size, list, light, 1)
		for i := range want.Pix {
			// Edges may come out a code or two apart: the driver cuts triangles
			// elsewhere before it goes over their pixels.
			if d := int(want.Pix[i]) - int(got.Pix[i]); d < -2 || d > 2 {
				at := image.Pt(i/4%size.X, i/4/size.X)
				keep(t, "want", want)
				keep(t, "got", got)
				require.Equal(t, want.RGBAAt(at.X, at.Y), got.RGBAAt(at.X, at.Y), "step %d, at %v", step, at)
			}
		}
	}
}

// What does not change is not drawn.
func TestStillWindowDrawsNothing(t *testing.T) {
	light, list := blobs(40, 60, 1), everything(520, 310)
	screen := ebiten.NewImage(520, 310)
	defer screen.Deallocate()
	var p painter
	p.frame(screen, list, light, 1)
	screen.Fill(color.RGBA{1, 2, 3, 255})
	p.frame(screen, list, light, 1)
	require.Equal(t, color.RGBA{1, 2, 3, 255}, screen.At(100, 100))
	// A change is drawn around itself only.
	list.Ops[8].Color.R++
	p.frame(screen, list, light, 1)
	require.Equal(t, color.RGBA{91, 200, 160, 255}, screen.At(420, 50))
	require.Equal(t, color.RGBA{1, 2, 3, 255}, screen.At(100, 100))
	require.Equal(t, color.RGBA{1, 2, 3, 255}, screen.At(420, 100))
}

// Texts end where model.Measure says, at both scales.
func TestTextIsAsWideAsMeasured(t *testing.T) {
	for _, s := range []string{"WAVE To 12.4 A", "ripple 9 %", "lll", "M"} {
		for _, bold := range []bool{false, true} {
			for _, scale := range []float64{1, 2} {
				list := &model.List{Ops: []model.Op{
					{Kind: model.Fill, W: 300, H: 60, Color: grey(0)},
					{Kind: model.Text, X: 20, Y: 40, Text: s, Size: 22, Bold: bold, Color: grey(255)},
				}}
				img := painted(image.Pt(int(300*scale), int(60*scale)), list, nil, scale)
				first, last := inked(img)
				w := model.Measure(s, 22, bold)
				// Letters keep up to two pixels clear of both ends of their widths.
				require.InDelta(t, 20, float64(first)/scale, 3, "%q begins", s)
				require.InDelta(t, 20+w, float64(last+1)/scale, 3, "%q ends", s)
			}
		}
	}
}

// inked is the first and the last column with ink in them.
func inked(img *image.RGBA) (first, last int) {
	first, last = img.Rect.Dx(), -1
	for x := range img.Rect.Dx() {
		for y := range img.Rect.Dy() {
			if img.RGBAAt(x, y).R > 40 {
				first, last = min(first, x), max(last, x)
			}
		}
	}
	return first, last
}

// A picture that no driver takes is crossed out, and the window goes on.
func TestTooLargePictureIsCrossedOut(t *testing.T) {
	w := model.MostImage + 1
	list := &model.List{Ops: []model.Op{
		{Kind: model.Fill, W: 40, H: 40, Color: grey(0)},
		{Kind: model.Picture, X: 4, Y: 4, W: 32, H: 32, Image: &model.Image{W: w, H: 1, Pix: make([]uint8, 4*w), Version: 1}},
	}}
	img := painted(image.Pt(40, 40), list, nil, 1)
	near(t, "the cross", color.RGBA{200, 60, 50, 255}, img.RGBAAt(20, 20), 80)
	near(t, "beside it", color.RGBA{0, 0, 0, 255}, img.RGBAAt(20, 10), 1)
	list.Ops[1].Image = &model.Image{W: model.MostImage, H: 1, Pix: make([]uint8, 4*model.MostImage), Version: 1, Smooth: true}
	require.NotNil(t, painted(image.Pt(40, 40), list, nil, 1))
}

// Nothing that a list may hold by mistake ends the program.
func TestOddOps(t *testing.T) {
	nan, inf := math.NaN(), math.Inf(1)
	var ops []model.Op
	for k := model.Fill; k <= model.Picture+1; k++ {
		for _, v := range []float64{0, -5, nan, inf, 1e9} {
			ops = append(ops,
				model.Op{Kind: k, X: v, Y: 3, W: 10, H: v, Radius: v, Size: v, Width: v, Text: "x", Color: grey(200)},
				model.Op{Kind: k, X: 3, Y: v, W: v, H: 8, Radius: 3, Size: 12, Text: "é", Color: grey(200), Points: []model.Point{{X: v, Y: 1}, {X: 2, Y: v}, {X: 9, Y: 9}}, Clip: &model.Rect{X: v, W: v, H: 5}},
				model.Op{Kind: k, W: 9, H: 9, Points: []model.Point{{X: 1, Y: 1}}, Image: &model.Image{W: 3, H: 3, Pix: []uint8{1}}})
		}
	}
	img := painted(image.Pt(40, 40), &model.List{Ops: ops}, &model.Light{W: 9, H: 9}, 1)
	require.NotNil(t, img)
	require.NotNil(t, painted(image.Pt(40, 40), &model.List{}, nil, 1.25))
}
