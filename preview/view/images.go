package view

import (
	"image"

	"github.com/hajimehoshi/ebiten/v2"

	"paneglow/preview/model"
)

// images are the pictures that the graphics memory holds.
type images struct {
	of map[*model.Image]*held
}

type held struct {
	picture *ebiten.Image
	version int
	w, h    int
}

// draw stretches a picture over a rectangle.
func (s *images) draw(dst *ebiten.Image, op *model.Op, at image.Rectangle) {
	im := op.Image
	if im == nil || im.W <= 0 || im.H <= 0 || len(im.Pix) < 4*im.W*im.H || at.Empty() {
		return
	}
	if s.of == nil {
		s.of = map[*model.Image]*held{}
	}
	k := s.of[im]
	if k != nil && (k.w != im.W || k.h != im.H) {
		k.picture.Deallocate()
		k = nil
	}
	if k == nil {
		// Its own texture: it is changed in every frame, and smoothing must not
		// reach into another picture.
		k = &held{picture: ebiten.NewImageWithOptions(image.Rect(0, 0, im.W, im.H), &ebiten.NewImageOptions{Unmanaged: true}), w: im.W, h: im.H, version: im.Version - 1}
		s.of[im] = k
	}
	if k.version != im.Version {
		k.picture.WritePixels(im.Pix[:4*im.W*im.H])
		k.version = im.Version
	}
	o := &ebiten.DrawImageOptions{}
	o.GeoM.Scale(float64(at.Dx())/float64(im.W), float64(at.Dy())/float64(im.H))
	o.GeoM.Translate(float64(at.Min.X), float64(at.Min.Y))
	if im.Smooth {
		o.Filter = ebiten.FilterLinear
	}
	if c := op.Color; c.A > 0 {
		o.ColorScale.ScaleAlpha(float32(c.A) / 255)
	}
	dst.DrawImage(k.picture, o)
}

// forget frees pictures that a list no longer shows.
func (s *images) forget(ops []model.Op) {
	if len(s.of) == 0 {
		return
	}
	shown := 0
	for i := range ops {
		if ops[i].Kind == model.Picture && s.of[ops[i].Image] != nil {
			shown++
		}
	}
	if shown >= len(s.of) {
		return
	}
	still := make(map[*model.Image]bool, shown)
	for i := range ops {
		if ops[i].Kind == model.Picture {
			still[ops[i].Image] = true
		}
	}
	for im, k := range s.of {
		if !still[im] {
			k.picture.Deallocate()
			delete(s.of, im)
		}
	}
}
