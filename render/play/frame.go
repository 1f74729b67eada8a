package play

import (
	"errors"
	"io"

	"paneglow/render/table"
)

// pick brings the frame of this refresh into codes: the clip's, or the built-in
// still while the clip is not known to be whole.
func (p *Player) pick() {
	if p.stream.on {
		if p.pickStream(); p.stream.on {
			return
		}
	}
	if p.clip == table.None {
		clear(p.codes)
		return
	}
	if !p.ready() && p.finishing {
		p.begin(p.clipOf(p.state)) // its end will not come
	}
	if p.ready() {
		p.holding = false
		if p.sub >= p.perFrame {
			p.sub = 0
			p.step()
		}
	}
	if !p.ready() { // it, or the one that came after it
		p.fresh, p.frame, p.sub = true, -1, p.perFrame
		p.fill(p.codes, p.still)
		return
	}
	p.sub++
}

// fill gives every pixel the same codes.
func (p *Player) fill(dst []uint8, codes [4]uint8) {
	at := 0
	for i := range p.t.Strips {
		st := &p.t.Strips[i]
		dies := p.t.Parts[st.Part].Dies
		for range st.Pixels {
			copy(dst[at:at+dies], codes[:])
			at += dies
		}
	}
}

// step decodes the next frame of the clip.
func (p *Player) step() {
	c := &p.t.Clips[p.clip]
	if c.Value {
		if p.fresh || p.frame != p.value {
			p.take(p.value)
		}
		return
	}
	if p.fresh {
		p.take(p.firstFrame())
		return
	}
	st := &p.t.States[p.state]
	next := p.frame + 1
	if next >= c.Frames {
		if p.finishing {
			p.begin(p.clipOf(p.state))
			p.sub = 0
			if p.ready() {
				p.step()
			}
			return
		}
		if !c.Loop {
			return
		}
		next = 0
	}
	if st.Still && !p.finishing {
		return
	}
	p.take(next)
}

// firstFrame is the frame that the clip begins with: its first, or one of its
// start points drawn by lot.
func (p *Player) firstFrame() int {
	if !p.t.Clips[p.clip].Random {
		return 0
	}
	c := p.t.Clip(p.clip)
	return c.StartFrame(p.draw(c.Starts()))
}

// draw gives a number below n, at most 65536: the upper half of the next word of
// Marsaglia's 32-bit xorshift generator (13, 17, 5), scaled.
// Source: G. Marsaglia, Xorshift RNGs, Journal of Statistical Software 8 (14), 2003.
func (p *Player) draw(n int) int {
	p.lot ^= p.lot << 13
	p.lot ^= p.lot >> 17
	p.lot ^= p.lot << 5
	return int(p.lot >> 16 * uint32(n) >> 16)
}

// take decodes a frame of the clip; a frame behind the last one starts again
// from the clip's beginning or its nearest key.
func (p *Player) take(frame int) {
	err := p.decoder.Seek(frame)
	if err == nil {
		err = p.decoder.Next(p.codes)
	}
	if err != nil && !errors.Is(err, io.EOF) {
		// Read has decoded every frame: this is a fault of this program. Dark
		// is safe, and Err tells.
		p.err = err
		clear(p.codes)
	}
	p.frame, p.fresh = frame, false
}
