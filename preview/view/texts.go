package view

import (
	"math"

	"github.com/hajimehoshi/ebiten/v2"
	"github.com/hajimehoshi/ebiten/v2/text/v2"

	"paneglow/preview/model"
)

// texts draws lines of text with the faces that model.Measure measures with.
type texts struct {
	faces map[faceKey]*text.GoXFace
}

type faceKey struct {
	size float64 // in screen pixels
	bold bool
}

// Faces hold pictures of their glyphs; more sizes than a window has are no use.
const mostFaces = 64

func (t *texts) face(size float64, bold bool) *text.GoXFace {
	key := faceKey{size, bold}
	f := t.faces[key]
	if f == nil {
		face, err := model.Face(size, bold)
		if err != nil {
			panic(err) // the fonts are part of the program, and a test opens them
		}
		if t.faces == nil || len(t.faces) >= mostFaces {
			t.faces = map[faceKey]*text.GoXFace{}
		}
		f = text.NewGoXFace(face)
		t.faces[key] = f
	}
	return f
}

// draw puts a text's baseline on whole pixels: glyphs are made for them.
func (t *texts) draw(dst *ebiten.Image, op *model.Op, scale float64) {
	if op.Text == "" || !(op.Size > 0) {
		return
	}
	f := t.face(op.Size*scale, op.Bold)
	x := op.X*scale - text.Advance(op.Text, f)*anchor(op.Align)
	o := &text.DrawOptions{}
	o.GeoM.Translate(math.Round(x), math.Round(op.Y*scale)-math.Round(f.Metrics().HAscent))
	c := ink(op.Color, 1)
	o.ColorScale.Scale(c[0], c[1], c[2], c[3])
	text.Draw(dst, op.Text, f, o)
}

// anchor is the share of a text's width that stands left of its anchor.
func anchor(a model.Align) float64 {
	switch a {
	case model.Center:
		return 0.5
	case model.Right:
		return 1
	}
	return 0
}
