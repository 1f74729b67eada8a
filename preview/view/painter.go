package view

import (
	"image"
	"image/color"
	"math"
	"time"

	"github.com/hajimehoshi/ebiten/v2"

	"paneglow/preview/model"
)

// painter keeps a screen equal to the newest list with as little drawing as it can:
// what changed is found by comparing lists (damage.go), and only rectangles around
// changes are drawn again.
type painter struct {
	screen *ebiten.Image // that holds the list before
	scale  float64
	before []mark       // of the list before
	light  *model.Light // of the list before: held, so that its address means it
	now    []mark
	shown  time.Time
	pen    pen
	texts  texts
	images images
	glass  glass
}

// A screen that was covered by another window may come back without its picture,
// and ebiten shows nothing where nothing was drawn: so it is shown now and then.
const showAgain = time.Second

// frame draws a list at a scale of screen pixels to logical ones.
func (p *painter) frame(screen *ebiten.Image, list *model.List, light *model.Light, scale float64) {
	area := screen.Bounds()
	if p.screen != screen || p.scale != scale {
		p.screen, p.scale, p.before = screen, scale, nil
	}
	p.now = p.now[:0]
	for i := range list.Ops {
		p.now = append(p.now, markOf(&list.Ops[i], light, scale, area))
	}
	torn := changed(p.before, p.now, area)
	if p.before == nil {
		torn = []image.Rectangle{area}
	}
	if now := time.Now(); len(torn) == 0 && now.Sub(p.shown) > showAgain {
		torn = []image.Rectangle{image.Rect(0, 0, 1, 1)}
		p.shown = now
	} else if len(torn) > 0 {
		p.shown = now
	}
	for _, r := range torn {
		p.mend(r, list.Ops, light)
	}
	p.before, p.now = p.now, p.before
	p.light = light
	p.images.forget(list.Ops)
}

// mend draws everything that shows in a rectangle.
func (p *painter) mend(r image.Rectangle, ops []model.Op, light *model.Light) {
	first := 0
	for i := range p.now {
		if r.In(p.now[i].covers) {
			first = i
		}
	}
	if len(p.now) == 0 || !r.In(p.now[first].covers) {
		p.screen.SubImage(r).(*ebiten.Image).Clear()
	}
	for i := first; i < len(ops); i++ {
		part := p.now[i].bounds.Intersect(r)
		if part.Empty() {
			continue
		}
		p.draw(&ops[i], p.screen, part, light)
	}
	p.pen.flush()
}

// draw puts one thing on the screen, inside a rectangle.
func (p *painter) draw(op *model.Op, screen *ebiten.Image, inside image.Rectangle, light *model.Light) {
	s := p.scale
	x, y, w, h := op.X*s, op.Y*s, op.W*s, op.H*s
	p.pen.on(screen, inside)
	switch op.Kind {
	case model.Fill:
		p.pen.fill(x, y, w, h, op.Radius*s, op.Color)
	case model.Frame:
		p.pen.frame(x, y, w, h, op.Radius*s, lineWidth(op)*s, op.Color)
	case model.Hatch:
		p.pen.hatch(x, y, w, h, hatchGap*s, lineWidth(op)*s, op.Color)
	case model.Line:
		p.pen.line(x, y, w, h, lineWidth(op)*s, op.Color)
	case model.Path:
		p.pen.path(op.Points, s, lineWidth(op)*s, op.Color)
	case model.Area:
		p.pen.area(op.Points, s, op.Color)
	case model.Disc:
		p.pen.disc(x, y, op.Radius*s, op.Color)
	case model.Text:
		p.pen.flush()
		p.texts.draw(p.pen.dst, op, s)
	case model.Picture:
		if im := op.Image; im != nil && max(im.W, im.H) > model.MostImage {
			p.pen.frame(x, y, w, h, 0, s, crossed)
			p.pen.line(x, y, x+w, y+h, s, crossed)
			p.pen.line(x, y+h, x+w, y, s, crossed)
			return
		}
		p.pen.flush()
		p.images.draw(p.pen.dst, op, wholeRect(op, s))
	case model.Glass:
		p.pen.flush()
		p.glass.draw(p.pen.dst, light, wholeRect(op, s))
	}
}

// crossed is the colour of what cannot be shown.
var crossed = color.NRGBA{200, 60, 50, 255}

// hatchGap is the distance between the lines of a Hatch, in logical pixels.
const hatchGap = 6

// lineWidth is 1 where an op says nothing.
func lineWidth(op *model.Op) float64 {
	if op.Width > 0 {
		return op.Width
	}
	return 1
}

// wholeRect is the place of a Glass or a Picture in screen pixels: whole ones, so
// that the shader's pixels are the screen's and pictures are crisp.
func wholeRect(op *model.Op, scale float64) image.Rectangle {
	return image.Rect(round(op.X*scale), round(op.Y*scale), round((op.X+op.W)*scale), round((op.Y+op.H)*scale))
}

func round(v float64) int { return int(math.Round(v)) }
