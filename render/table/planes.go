package table

import (
	"bytes"
	"slices"
)

// planes is a clip as it will be coded: indices of a palette, or its codes.
type planes struct {
	bytes   int     // of a frame
	frames  int     // stored
	period  int     // 0: all are stored
	data    []uint8 // frames*bytes
	turns   []turn  // what a period moves
	colours []uint8 // of the palette, nil without
	count   int     // colours
	twin    []int   // of every pixel, the first that equals it in every frame
	spans   []span  // strips, in data
	ends    []bool  // whether a new run of one stride begins at pixel i
	where   []int   // byte of pixel i in data, and the end
}

// periodOf finds after how many frames a clip repeats exactly, to its end.
func periodOf(b []byte, size int) int {
	frames := len(b) / max(size, 1)
	for p := 1; p < frames; p++ {
		if bytes.Equal(b[p*size:], b[:len(b)-p*size]) {
			return p
		}
	}
	return frames
}

// planesOf prepares a clip, with a palette or without; nil if it has more than
// 256 colours. r orders them, where it is there.
func planesOf(t *Show, c *Clip, palette bool, r *row) *planes {
	p := &planes{bytes: c.Channels, frames: periodOf(c.Bytes, c.Channels), data: c.Bytes}
	switch {
	case p.frames == 1:
		p.frames = c.Frames // repeated frames cost next to nothing
	case p.frames < c.Frames:
		p.period = p.frames
	}
	p.data = c.Bytes[:p.frames*c.Channels]
	p.spans = spans(t)
	if palette {
		if !p.index(t.mostDies(), r) {
			return nil
		}
	}
	at := 0
	stride := -1
	for _, s := range p.spans {
		for i := range s.bytes / s.dies {
			p.where = append(p.where, s.first+i*s.dies)
			p.ends = append(p.ends, s.dies != stride)
			stride = s.dies
		}
		at = s.first + s.bytes
	}
	p.where = append(p.where, at)
	p.findTwins()
	return p
}

// index replaces codes by indices of a palette.
func (p *planes) index(dies int, r *row) bool {
	pixels := 0
	for _, s := range p.spans {
		pixels += s.bytes / s.dies
	}
	seen := map[[4]uint8]uint8{}
	var cols [][4]uint8
	out := make([]uint8, 0, pixels*p.frames)
	for f := range p.frames {
		frame := p.data[f*p.bytes : (f+1)*p.bytes]
		for _, s := range p.spans {
			for at := s.first; at < s.first+s.bytes; at += s.dies {
				var c [4]uint8
				copy(c[:], frame[at:at+s.dies])
				i, ok := seen[c]
				if !ok {
					if len(cols) == 256 {
						return false
					}
					i = uint8(len(cols))
					seen[c] = i
					cols = append(cols, c)
				}
				out = append(out, i)
			}
		}
	}
	if len(cols) == 0 {
		return false
	}
	var place [256]uint8
	if r != nil && !r.loose {
		slices.SortFunc(cols, func(a, b [4]uint8) int { return int(r.nearest(a)) - int(r.nearest(b)) })
	} else {
		cols = chain(cols)
	}
	for i, c := range cols {
		place[seen[c]] = uint8(i)
		p.colours = append(p.colours, c[:dies]...)
	}
	for i, v := range out {
		out[i] = place[v]
	}
	p.data, p.bytes, p.count = out, pixels, len(cols)
	at := 0
	p.spans = slices.Clone(p.spans)
	for i := range p.spans {
		n := p.spans[i].bytes / p.spans[i].dies
		p.spans[i] = span{at, n, 1}
		at += n
	}
	return true
}

// findTwins finds pixels that are equal in every frame.
func (p *planes) findTwins() {
	first := map[string]int{}
	col := make([]uint8, 0, 4*p.frames)
	for i := range p.where[1:] {
		at, end := p.where[i], p.where[i+1]
		col = col[:0]
		for f := range p.frames {
			col = append(col, p.data[f*p.bytes+at:f*p.bytes+end]...)
		}
		j, ok := first[string(col)]
		if !ok {
			j = i
			first[string(col)] = i
		}
		p.twin = append(p.twin, j)
	}
}

// least is the shortest run of pixels worth a copy.
const least = 8

// stretches divides a frame: what is equal to pixels before it is copied, the
// rest coded, strip by strip or joined over strips of one kind.
func (p *planes) stretches(join bool) []stretch {
	border := map[int]bool{}
	if !join {
		for _, s := range p.spans {
			border[s.first] = true
		}
	}
	var out []stretch
	pixels := len(p.twin)
	coded := -1 // pixel at which a coded stretch began
	put := func(s stretch) { out = append(out, s) }
	close := func(i int) {
		if coded >= 0 {
			put(stretch{at: p.where[coded], stride: p.where[coded+1] - p.where[coded], pixels: i - coded})
			coded = -1
		}
	}
	for i := 0; i < pixels; {
		if p.ends[i] || border[p.where[i]] || coded >= 0 && i-coded == mostStretch {
			close(i)
		}
		n, how := 0, isCoded
		if src := p.twin[i]; src < i {
			for dir := -1; dir <= 1; dir++ {
				m := 1
				for i+m < pixels && m < mostStretch && !p.ends[i+m] {
					j := src + dir*m
					if j < 0 || j >= i || p.twin[i+m] != p.twin[j] {
						break
					}
					m++
				}
				if m > n {
					n, how = m, [3]howCopied{isBackward, isSame, isForward}[dir+1]
				}
			}
		}
		if n < least {
			if coded < 0 {
				coded = i
			}
			i++
			continue
		}
		close(i)
		put(stretch{at: p.where[i], stride: p.where[i+1] - p.where[i], pixels: n, how: how, from: p.where[p.twin[i]]})
		i += n
	}
	close(pixels)
	return out
}

// span is a strip's place in a frame.
type span struct{ first, bytes, dies int }

func spans(t *Show) []span {
	out := make([]span, len(t.Strips))
	at := 0
	for i := range t.Strips {
		dies := t.Parts[t.Strips[i].Part].Dies
		out[i] = span{at, t.Strips[i].Pixels * dies, dies}
		at += out[i].bytes
	}
	return out
}
