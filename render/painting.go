package render

import (
	"paneglow/anim"
	"paneglow/render/seen"
)

// canvasFor is the glass to paint on, or nil when no clip is a target on it.
func canvasFor(clips []Item, on *Hardware) (*seen.Canvas, error) {
	for i := range clips {
		c := &clips[i]
		if c.Seen == nil {
			continue
		}
		canvas, err := on.Canvas()
		if err != nil {
			return nil, &ClipError{Clip: c.Name, Err: err}
		}
		return canvas, nil
	}
	return nil, nil
}

// Canvas is the machine's glass to paint on. It is made at the first call.
func (h *Hardware) Canvas() (*seen.Canvas, error) {
	h.canvas.once.Do(func() { h.canvas.c, h.canvas.err = seen.New(h.Machine, h.Layout, h.Meter, h.Drive) })
	return h.canvas.c, h.canvas.err
}

// painting is a clip whose pictures are targets on the glass: one solution a
// target, held for all frames that show it.
type painting struct {
	of     *anim.Seen
	canvas *seen.Canvas
	limit  int64
	hand   *seen.Painter
	shown  int // target that duties belong to, -1 for none
	duties []float32
}

func newPainting(of *anim.Seen, c *seen.Canvas, limit int64) *painting {
	p := &painting{of: of, canvas: c, limit: limit}
	p.again()
	return p
}

// again starts over: a solution depends on the one before it.
func (p *painting) again() {
	p.hand, p.shown = p.canvas.NewPainter(p.limit), -1
	p.duties = make([]float32, p.canvas.Channels())
}

// frame sets d to the duties of a frame; frames are asked for in order.
func (p *painting) frame(d []float32, f int) {
	if t := p.of.Of(f); t != p.shown {
		p.hand.Paint(p.duties, p.canvas.Target(p.of.Target(t), p.of.W, p.of.H))
		p.shown = t
	}
	copy(d, p.duties)
}

// misses measures every target against the final codes.
func (p *painting) misses(c *Codes) []Miss {
	var out []Miss
	duties := make([]float32, c.Channels)
	for f := range c.Frames {
		t := p.of.Of(f)
		if t < len(out) {
			continue
		}
		for i, code := range c.Frame(f) {
			duties[i] = float32(code) / 255
		}
		m := seen.Compare(p.canvas.Light(duties), p.canvas.Target(p.of.Target(t), p.of.W, p.of.H))
		out = append(out, Miss{m, f})
	}
	return out
}
