package anim

import (
	"fmt"
	"image"
	"math"

	"paneglow/anim/blend"
	"paneglow/anim/easing"
	"paneglow/anim/show"
)

// ValueFrames is the length of a clip that follows a value: one frame a value.
const ValueFrames = 256

// Clip is one clip of a show, ready to play. It is a Source.
type Clip struct {
	Name   string
	FPS    int
	Follow bool            // frame = value
	Smooth bool            // may be kept as key frames
	Random bool            // begins at one of a few frames, drawn each time
	Exact  *image.NRGBA    // codes to be taken as they are; then it has no layers
	Seen   *Seen           // what is to be seen on the glass; then its light is only a first guess
	Notes  []string        // snapped cycles, seams
	Uses   map[string]bool // strips that some layer lights

	layers []layer
	once   int // frames of one iteration
	count  int // iterations
	dir    show.Direction
	ease   easing.Func // nil for linear
	pixels int
}

// layer is a source with how it is laid over what is below.
type layer struct {
	src     Source
	mask    []bool // by pixel; nil: all
	opacity float32
	mode    blend.Mode
}

// Frames is the clip's length, iterations included.
func (c *Clip) Frames() int { return c.once * c.count }

// Start gives a cursor of the clip's own light.
func (c *Clip) Start() Cursor {
	k := &clipCursor{clip: c, shown: -1}
	for i := range c.layers {
		k.cursors = append(k.cursors, c.layers[i].src.Start())
		k.at = append(k.at, 0)
	}
	k.buf = make([]Light, c.pixels)
	if c.ease != nil {
		k.early, k.late = make([]Light, c.pixels), make([]Light, c.pixels)
		k.earlyAt, k.lateAt = -1, -1
	}
	return k
}

type clipCursor struct {
	clip    *Clip
	cursors []Cursor
	at      []int // next frame of each layer's cursor
	frame   int
	shown   int
	buf     []Light

	// for easing: two neighbouring frames of the unbent iteration
	early, late     []Light
	earlyAt, lateAt int
}

func (k *clipCursor) Seek(frame int) error {
	if frame < 0 || frame >= k.clip.Frames() {
		return fmt.Errorf("clip %q has frames 0 to %d, not %d", k.clip.Name, k.clip.Frames()-1, frame)
	}
	k.frame = frame
	return nil
}

func (k *clipCursor) Next(dst []Light) error {
	c := k.clip
	if len(dst) != c.pixels {
		panic("anim: Next wants one Light a pixel")
	}
	iteration, f := k.frame/c.once, k.frame%c.once
	k.frame = (k.frame + 1) % c.Frames()
	if backwards(c.dir, iteration) {
		f = c.once - 1 - f
	}
	if c.ease == nil {
		return k.draw(dst, f)
	}
	// An eased position falls between two frames: mix their light.
	pos := float64(c.ease.At(float64(f)/float64(c.once), false) * float64(c.once))
	pos = math.Min(math.Max(pos, 0), float64(c.once-1))
	a := int(pos)
	u := float32(pos - float64(a))
	if err := k.keep(k.early, &k.earlyAt, a); err != nil {
		return err
	}
	if u == 0 {
		copy(dst, k.early)
		return nil
	}
	if err := k.keep(k.late, &k.lateAt, a+1); err != nil {
		return err
	}
	for i := range dst {
		for j := range dst[i] {
			dst[i][j] = float32((1-u)*k.early[i][j]) + float32(u*k.late[i][j])
		}
	}
	return nil
}

func (k *clipCursor) keep(dst []Light, at *int, f int) error {
	if *at == f {
		return nil
	}
	*at = f
	return k.draw(dst, f)
}

func backwards(d show.Direction, iteration int) bool {
	odd := iteration%2 == 1
	switch d {
	case show.Reverse:
		return true
	case show.Alternate:
		return odd
	case show.AlternateReverse:
		return !odd
	}
	return false
}

// draw composes frame f of one iteration.
func (k *clipCursor) draw(dst []Light, f int) error {
	c := k.clip
	for i := range c.layers {
		l := &c.layers[i]
		if k.at[i] != f {
			if err := k.cursors[i].Seek(f); err != nil {
				return err
			}
		}
		k.at[i] = f + 1
		if k.at[i] == c.once {
			k.at[i] = 0
		}
		if i == 0 && l.mask == nil && l.opacity == 1 && (l.mode == blend.Normal || l.mode == blend.PlusLighter) {
			if err := k.cursors[i].Next(dst); err != nil {
				return err
			}
			continue
		}
		if i == 0 {
			clear(dst)
		}
		if err := k.cursors[i].Next(k.buf); err != nil {
			return err
		}
		for p := range dst {
			if l.mask == nil || l.mask[p] {
				blend.Over(&dst[p], k.buf[p], l.opacity, l.mode)
			}
		}
	}
	return nil
}
