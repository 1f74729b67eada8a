package view

import (
	_ "embed"
	"image"
	"image/color"

	"github.com/hajimehoshi/ebiten/v2"

	"paneglow/preview/model"
)

//go:embed glass.kage
var glassSource []byte

// glass draws the panel's light with the shader: the coefficients go up as a
// picture of their high and one of their low bytes, because additive blending and
// 8-bit targets would lose faint light.
type glass struct {
	shader    *ebiten.Shader
	high, low *ebiten.Image
	bytes     [2][]byte
	light     *model.Light // that the pictures hold
	version   int
}

// draw fills a rectangle of a screen. Without light it is black, as the pane is.
func (g *glass) draw(dst *ebiten.Image, l *model.Light, at image.Rectangle) {
	if l == nil || l.W <= 0 || l.H <= 0 || len(l.Codes) < 3*l.W*l.H || !(l.Exposure > 0) || at.Empty() {
		dst.SubImage(at).(*ebiten.Image).Fill(color.Black)
		return
	}
	if g.shader == nil {
		s, err := ebiten.NewShader(glassSource)
		if err != nil {
			panic(err) // the source is part of the program, and a test compiles it
		}
		g.shader = s
	}
	g.upload(l)
	w, h := at.Dx(), at.Dy()
	x0, y0, x1, y1 := float32(at.Min.X), float32(at.Min.Y), float32(at.Max.X), float32(at.Max.Y)
	fw, fh := float32(w), float32(h)
	vs := []ebiten.Vertex{
		{DstX: x0, DstY: y0},
		{DstX: x1, DstY: y0, Custom0: fw},
		{DstX: x1, DstY: y1, Custom0: fw, Custom1: fh},
		{DstX: x0, DstY: y1, Custom1: fh},
	}
	o := &ebiten.DrawTrianglesShaderOptions{Uniforms: uniforms(l, w, h), Blend: ebiten.BlendCopy}
	o.Images[0], o.Images[1] = g.high, g.low
	dst.DrawTrianglesShader(vs, []uint16{0, 1, 2, 0, 2, 3}, g.shader, o)
}

// uniforms are what the shader is told of a light on w by h pixels.
func uniforms(l *model.Light, w, h int) map[string]any {
	base := make([]float32, 3)
	for i := range base {
		base[i] = (l.Room[i] - l.Least) / l.Exposure
	}
	return map[string]any{
		"Points": []float32{float32(l.W), float32(l.H)},
		"Start":  []float32{float32(l.X), float32(l.Y)},
		"Step":   []float32{float32(l.SpanX / float64(w)), float32(l.SpanY / float64(h))},
		"Scale":  l.Most / l.Exposure,
		"Base":   base,
	}
}

// upload brings the coefficients into graphics memory where they changed.
func (g *glass) upload(l *model.Light) {
	size := image.Rect(0, 0, l.W, l.H)
	if g.high == nil || g.high.Bounds() != size {
		if g.high != nil {
			g.high.Deallocate()
			g.low.Deallocate()
		}
		o := &ebiten.NewImageOptions{Unmanaged: true}
		g.high, g.low = ebiten.NewImageWithOptions(size, o), ebiten.NewImageWithOptions(size, o)
		g.light = nil
	}
	if g.light == l && g.version == l.Version {
		return
	}
	g.light, g.version = l, l.Version
	n := l.W * l.H
	for i := range g.bytes {
		if cap(g.bytes[i]) < 4*n {
			g.bytes[i] = make([]byte, 4*n)
		}
		g.bytes[i] = g.bytes[i][:4*n]
	}
	split(g.bytes[0], g.bytes[1], l.Codes[:3*n])
	g.high.WritePixels(g.bytes[0])
	g.low.WritePixels(g.bytes[1])
}

// split parts R, G, B codes into opaque pixels of high and of low bytes.
func split(high, low []byte, codes []uint16) {
	for i := 0; i*3 < len(codes); i++ {
		c, a, b := codes[3*i:3*i+3:3*i+3], high[4*i:4*i+4:4*i+4], low[4*i:4*i+4:4*i+4]
		a[0], a[1], a[2], a[3] = uint8(c[0]>>8), uint8(c[1]>>8), uint8(c[2]>>8), 255
		b[0], b[1], b[2], b[3] = uint8(c[0]), uint8(c[1]), uint8(c[2]), 255
	}
}
