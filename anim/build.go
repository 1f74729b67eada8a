package anim

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"paneglow/anim/blend"
	"paneglow/anim/easing"
	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/script"
	"paneglow/anim/show"
)

// Options are what Build needs from outside. The zero value reads files from
// disk and knows no shipped patterns.
type Options struct {
	// Pattern gives the source of a shipped pattern.
	Pattern func(name string) ([]byte, bool)
	// Patterns lists their names, for hints.
	Patterns []string
	// ReadFile reads a script or picture; the path is already relative to the
	// working folder. Nil means os.ReadFile.
	ReadFile func(path string) ([]byte, error)
}

// Build makes every clip of a show ready to play on a layout. It returns all
// findings at once; the clips are complete only when findings.Err() is nil.
func Build(s *show.Show, l *layout.Layout, o Options) ([]*Clip, finding.List) {
	if o.ReadFile == nil {
		o.ReadFile = os.ReadFile
	}
	b := &builder{show: s, layout: l, o: o, scripts: map[string]*script.Pattern{}}
	var clips []*Clip
	for i := range s.Clips {
		clips = append(clips, b.clip(&s.Clips[i]))
	}
	b.found.Sort()
	return clips, b.found
}

type builder struct {
	show    *show.Show
	layout  *layout.Layout
	o       Options
	scripts map[string]*script.Pattern
	found   finding.List
}

func (b *builder) tell(p show.Pos, code, fix, message string, args ...any) {
	b.found = append(b.found, finding.At(p, finding.Error, code, fmt.Sprintf(message, args...), fix))
}

// take adds findings that come as an error from a script.
func (b *builder) take(p show.Pos, code string, err error) {
	var list finding.List
	var one finding.Finding
	switch {
	case errors.As(err, &list):
		b.found = append(b.found, list...)
	case errors.As(err, &one):
		b.found = append(b.found, one)
	default:
		b.tell(p, code, "", "%v", err)
	}
}

func (b *builder) clip(c *show.Clip) *Clip {
	out := &Clip{Name: c.Name, FPS: b.show.FPS, Follow: c.Follow != "", Smooth: c.Keep == "smooth", Random: c.Start == "random", count: max(1, c.Iterations), dir: c.Direction, pixels: len(b.layout.Pixels), Uses: map[string]bool{}}
	out.once = frames(c, b.show.FPS)
	if out.Follow {
		out.count = 1
	}
	if c.Easing != "" && c.Easing != "linear" {
		f, err := easing.Parse(c.Easing)
		if err != nil {
			b.tell(c.Pos, "clip.easing", "", "%v", err)
		}
		out.ease = f
	}
	for i := range c.Layers {
		b.layer(out, c, &c.Layers[i], i)
	}
	return out
}

// frames is the length of one iteration, at least 1 so that a show with
// findings can still be walked.
func frames(c *show.Clip, fps int) int {
	if c.Follow != "" {
		return ValueFrames
	}
	const second = 1_000_000_000
	return max(1, int((int64(c.Length)*int64(fps)+second/2)/second))
}

func (b *builder) layer(out *Clip, c *show.Clip, l *show.Layer, n int) {
	mode, err := blend.Parse(l.Blend)
	if err != nil {
		b.tell(l.Pos, "layer.blend", "", "%v", err)
	}
	y := layer{opacity: float32(l.Opacity), mode: mode}
	if len(l.Strips) > 0 {
		y.mask = make([]bool, len(b.layout.Pixels))
		for _, name := range l.Strips {
			s := b.layout.Strip(name)
			if s < 0 {
				b.tell(l.Pos, "layer.no_strip", "name one of the machine's strips", "layer %d of clip %q is on strip %q, which this machine does not have", n+1, c.Name, name)
				return
			}
			st := &b.layout.Strips[s]
			for p := st.First; p < st.First+st.Count; p++ {
				y.mask[p] = true
			}
			out.Uses[name] = true
		}
	} else {
		for i := range b.layout.Strips {
			out.Uses[b.layout.Strips[i].Name] = true
		}
	}
	if l.Picture != "" {
		y.src = b.picture(out, c, l, y.mask)
	} else {
		y.src = b.pattern(out, c, l, n)
	}
	if y.src != nil {
		out.layers = append(out.layers, y)
	}
}

func (b *builder) picture(out *Clip, c *show.Clip, l *show.Layer, mask []bool) Source {
	path := filepath.Join(b.show.Dir, filepath.FromSlash(l.Picture))
	data, err := b.o.ReadFile(path)
	if err != nil {
		b.tell(l.Pos, "picture.unreadable", "paths are relative to the show's folder", "picture %q cannot be read: %v", l.Picture, err)
		return nil
	}
	if l.As == "seen" {
		return b.seen(out, c, l, mask, data)
	}
	cols := columns(b.layout, mask)
	img, err := readPicture(data, out.once, len(cols))
	if err != nil {
		b.tell(l.Pos, "picture.size", "change the clip's length, the layer's strips, or the picture", "picture %q %v", l.Picture, err)
		return nil
	}
	if l.As == "exact" {
		if !b.alone(out, c, l, mask) {
			b.tell(l.Pos, "picture.exact_alone", `give it a clip of its own without strips, opacity, blend, iterations, direction or easing, or use as = "srgb"`, "an exact picture's codes are taken as they are, so it must be its clip's only layer")
			return nil
		}
		out.Exact = img
	}
	return newPicture(img, cols, len(b.layout.Pixels), b.show.Encoding.Gamma)
}

// alone tells that a layer is all there is to a clip, unchanged.
func (b *builder) alone(out *Clip, c *show.Clip, l *show.Layer, mask []bool) bool {
	return len(c.Layers) == 1 && mask == nil && l.Opacity == 1 && (l.Blend == "" || l.Blend == "normal") && out.count == 1 && out.dir == show.Normal && out.ease == nil
}

// seen takes a picture as a target on the glass.
func (b *builder) seen(out *Clip, c *show.Clip, l *show.Layer, mask []bool, data []byte) Source {
	if !b.alone(out, c, l, mask) {
		b.tell(l.Pos, "picture.seen_alone", `give it a clip of its own without strips, opacity, blend, iterations, direction or easing, or use as = "srgb"`, "a seen picture is a target for all strips together, so it must be its clip's only layer")
		return nil
	}
	s, err := readSeen(data, max(1, l.Targets), out.once, b.show.Encoding.Gamma)
	if err != nil {
		b.tell(l.Pos, "picture.size", "change the clip's length, the layer's targets, or the picture", "picture %q %v", l.Picture, err)
		return nil
	}
	// More than 5 % is seen: circles become eggs.
	if panel, picture := b.layout.Width/b.layout.Height, float64(s.W)/float64(s.H); panel > 1.05*picture || picture > 1.05*panel {
		b.found = append(b.found, finding.At(l.Pos, finding.Note, "picture.stretched",
			fmt.Sprintf("picture %q is %d x %d points a target, but the panel is %.0f x %.0f mm: it is stretched", l.Picture, s.W, s.H, b.layout.Width, b.layout.Height),
			fmt.Sprintf("draw it %d x %.0f points large", s.W, float64(s.W)*b.layout.Height/b.layout.Width)))
	}
	out.Seen = s
	return &seenGuess{s, b.layout}
}

func (b *builder) pattern(out *Clip, c *show.Clip, l *show.Layer, n int) Source {
	p := b.load(l)
	if p == nil {
		return nil
	}
	g, err := p.Trace(script.Options{
		Layout: b.layout, With: l.With, Frames: out.once, FPS: b.show.FPS,
		Value: out.Follow, Loop: !out.Follow, Seed: l.Seed, Gamma: b.show.Encoding.Gamma,
	})
	if err != nil {
		b.take(l.Pos, "pattern.error", err)
		return nil
	}
	prog, err := g.Compile()
	if err != nil {
		b.take(l.Pos, "pattern.error", err)
		return nil
	}
	// An even number of turns to and fro ends where it began.
	closes := (out.dir == show.Alternate || out.dir == show.AlternateReverse) && out.count%2 == 0
	for _, f := range prog.Notes() {
		if closes && f.Code == "script.seam" {
			continue
		}
		f.Message = fmt.Sprintf("clip %q: %s", c.Name, f.Message)
		b.found = append(b.found, f)
	}
	return traced{prog}
}

// load finds a pattern: a path ends in .star, a bare name is a shipped one.
func (b *builder) load(l *show.Layer) *script.Pattern {
	if p, ok := b.scripts[l.Pattern]; ok {
		return p
	}
	b.scripts[l.Pattern] = nil
	var src []byte
	var file string
	if strings.HasSuffix(l.Pattern, ".star") {
		file = filepath.Join(b.show.Dir, filepath.FromSlash(l.Pattern))
		data, err := b.o.ReadFile(file)
		if err != nil {
			b.tell(l.Pos, "pattern.unreadable", "paths are relative to the show's folder", "pattern %q cannot be read: %v", l.Pattern, err)
			return nil
		}
		src = data
	} else {
		ok := false
		if b.o.Pattern != nil {
			src, ok = b.o.Pattern(l.Pattern)
		}
		if !ok {
			b.tell(l.Pos, "pattern.unknown", fmt.Sprintf("use one of %s, or the path of a script that ends in .star", strings.Join(b.o.Patterns, ", ")), "no pattern %q is shipped", l.Pattern)
			return nil
		}
		file = "patterns/" + l.Pattern + ".star"
	}
	p, err := script.Load(file, src)
	if err != nil {
		b.take(l.Pos, "pattern.error", err)
		return nil
	}
	b.scripts[l.Pattern] = p
	return p
}

// traced makes a compiled pattern a Source.
type traced struct{ *script.Program }

func (t traced) Start() Cursor { return t.Program.Start() }
