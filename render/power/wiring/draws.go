package wiring

import (
	"fmt"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/render/power"
)

// Draws turns frames of codes into what each pixel draws: its numerator by the
// part's law, idle included, in units of 1/Ampere, at the upper end of the part's
// spread like every current that package power counts. It is immutable.
type Draws struct {
	runs     []drawRun
	pixels   int
	channels int
}

// drawRun is a stretch of neighbouring addressed pixels of one part.
type drawRun struct {
	part                  power.Part
	first, offset, pixels int
}

// NewDraws prepares a laid out machine. Pixels are in the layout's order. A
// missing pixel draws nothing; a hidden one draws like any other.
func NewDraws(m *show.Machine, l *layout.Layout) (*Draws, error) {
	d := &Draws{pixels: len(l.Pixels), channels: l.Channels()}
	for s := range l.Strips {
		st := &l.Strips[s]
		if st.Part < 0 || st.Part >= len(m.Parts) || m.Parts[st.Part].Dies() != st.Dies {
			return nil, fmt.Errorf("wiring: strip %q is of a part that the machine does not have", st.Name)
		}
		open := false
		for i := st.First; i < st.First+st.Count; i++ {
			if l.Pixels[i].Missing {
				open = false
				continue
			}
			if !open {
				d.runs = append(d.runs, drawRun{part: power.PartOf(&m.Parts[st.Part]), first: i, offset: l.Pixels[i].Offset})
				open = true
			}
			d.runs[len(d.runs)-1].pixels++
		}
	}
	return d, nil
}

// Of writes what each pixel draws into dst, one a pixel. len(codes) must be a
// frame's, or it panics. It allocates nothing.
func (d *Draws) Of(dst []int64, codes []uint8) {
	if len(dst) != d.pixels || len(codes) != d.channels {
		panic("wiring: draws or codes of another length than the layout's")
	}
	next := 0
	for i := range d.runs {
		r := &d.runs[i]
		clear(dst[next:r.first]) // missing pixels
		next = r.first + r.pixels
		r.draw(dst[r.first:next], codes[r.offset:])
	}
	clear(dst[next:])
}

func (r *drawRun) draw(dst []int64, codes []uint8) {
	idle := r.part.Idle * 255
	red, green, blue, white := r.part.Channel[0], r.part.Channel[1], r.part.Channel[2], r.part.Channel[3]
	four := r.part.Dies == 4
	switch r.part.Law {
	case show.Sum:
		if four {
			for k := range dst {
				c := codes[4*k : 4*k+4 : 4*k+4]
				dst[k] = idle + int64(c[0])*red + int64(c[1])*green + int64(c[2])*blue + int64(c[3])*white
			}
			return
		}
		for k := range dst {
			c := codes[3*k : 3*k+3 : 3*k+3]
			dst[k] = idle + int64(c[0])*red + int64(c[1])*green + int64(c[2])*blue
		}
	default:
		for k := range dst {
			c := codes[r.part.Dies*k:]
			x, y, z, w := int64(c[0])*red, int64(c[1])*green, int64(c[2])*blue, int64(0)
			if four {
				w = int64(c[3]) * white
			}
			if r.part.Law == show.Largest {
				dst[k] = idle + max(x, y, z, w)
			} else {
				dst[k] = idle + min(x+y+z+w, r.part.Ceiling*255)
			}
		}
	}
}
