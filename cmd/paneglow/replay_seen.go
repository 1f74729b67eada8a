package main

import (
	"fmt"
	"image"
	"io"
	"slices"

	"paneglow/anim/layout"
	"paneglow/anim/show"
	"paneglow/controller/blackbox"
	"paneglow/render/picture"
	"paneglow/render/prove"
	"paneglow/render/table"
)

// playedShow is what the machine played: a table, and where pictures are wanted the
// machine with its glass.
type playedShow struct {
	table   *table.Table
	show    *project // the table was made of, or nil
	again   func() error
	fix     string // where the table is another one
	machine *show.Machine
	layout  *layout.Layout
}

// played reads a show or table.
func (a *app) played(path string, f *replayFlags) (*playedShow, error) {
	var file string
	out := &playedShow{}
	if isTable(path) {
		t, err := readTable(path)
		if err != nil {
			return nil, err
		}
		out.table, file = t, f.machine
		out.fix = "replay wants the table as it was loaded; where a show was uploaded, name the show"
		if f.view == "codes" {
			return out, nil
		}
		if file == "" {
			return nil, usageError{fmt.Errorf("--view %s wants the machine's file with its glass: --machine FILE, or name the show instead of %s", f.view, path)}
		}
		m, found := show.LoadMachine(file)
		if err := found.Err(); err != nil {
			return nil, err
		}
		l, err := layout.New(m)
		if err != nil {
			return nil, err
		}
		sum, err := table.PanelOf(m, l)
		if err != nil {
			return nil, err
		}
		if sum != t.PanelSum() {
			return nil, fmt.Errorf("%s was made for panel %08x, %s is panel %08x: name the machine that the table was exported for", path, t.PanelSum(), file, sum)
		}
		out.machine, out.layout = m, l
		return out, nil
	}
	p := open(path, f.machine)
	if err := p.mayWrite(f.out); err != nil {
		return nil, err
	}
	a.work(p, table.Quick)
	if err := a.verdict(p.Found); err != nil {
		a.tell(p.Found)
		return nil, err
	}
	out.table, out.show, out.machine, out.layout = p.Table, p, p.Machine, p.On.Layout
	out.fix = "the show was changed since, and replay wants it as it was uploaded"
	// It may have been uploaded with --pack best.
	out.again = func() error {
		p.Pack(table.Best, prove.Workers())
		return a.verdict(p.Found)
	}
	return out, nil
}

// as gives the table as a span's run played it, if the show can be packed to it.
func (p *playedShow) as(s *blackbox.Span) (*table.Table, error) {
	if p.again != nil && s.Known && !s.Plays(p.table) {
		if err := p.again(); err != nil {
			return nil, err
		}
		p.table = p.show.Table
	}
	return p.table, nil
}

// drawSeen writes a picture of the first refresh, or an animation of them all.
func (a *app) drawSeen(p *playedShow, r *refreshes, f *replayFlags, ext string, animated bool, perFrame int) error {
	note := func(i int) string {
		return fmt.Sprintf("refresh %d%s, %s %d mA", int(r.first)+i, r.when(i), refreshWords(p.table, &r.latched[i]), prove.Milli(r.latched[i].Current))
	}
	codes := func(i int) []uint8 {
		if len(r.dead[i]) == 0 {
			return r.codes[i]
		}
		out := slices.Clone(r.codes[i])
		for _, px := range r.dead[i] { // the player knows no other numbers
			at := &p.layout.Pixels[px]
			clear(out[at.Offset : at.Offset+p.layout.Strips[at.Strip].Dies])
		}
		return out
	}
	// The longest note, and the brightest refresh.
	longest, brightest := "", 0
	for i := range r.latched {
		if n := note(i); len(n) > len(longest) {
			longest = n
		}
		if r.latched[i].Current > r.latched[brightest].Current {
			brightest = i
		}
	}
	height := picture.Fit(p.layout, 900)
	if animated {
		height = picture.Fit(p.layout, 480)
	}
	var draw func(i int) (*image.RGBA, error)
	if f.view == "bare" {
		paint, err := picture.NewPaint(p.machine, p.layout)
		if err != nil {
			return err
		}
		draw = func(i int) (*image.RGBA, error) { return picture.Bare(paint, codes(i), height, note(i), longest) }
	} else {
		cam, err := picture.NewCamera(p.machine, p.layout, picture.View{Height: height, Room: p.machine.Panel.Room.Night, Clip: "what was shown", Longest: longest}, r.codes[brightest])
		if err != nil {
			return err
		}
		draw = func(i int) (*image.RGBA, error) { return cam.Draw(codes(i), note(i)) }
	}
	if !animated {
		img, err := draw(0)
		if err != nil {
			return err
		}
		return writeFile(f.out, func(w io.Writer) error { return picture.PNG(w, img) })
	}
	// Screens and viewers are content with 20 pictures a second.
	rate := p.table.FPS * perFrame
	step := max(1, (rate+19)/20)
	n := (len(r.codes) + step - 1) / step
	if n > mostDrawn {
		return usageError{fmt.Errorf("--for %v gives %d pictures, at most %d are drawn: give a shorter time", f.length, n, mostDrawn)}
	}
	one := func(i int) (*image.RGBA, error) { return draw(i * step) }
	fps := float64(rate) / float64(step)
	return writeFile(f.out, func(w io.Writer) error {
		if ext == ".gif" {
			return picture.GIFOf(w, n, fps, one)
		}
		return picture.APNGOf(w, n, fps, one)
	})
}

// mostDrawn is a minute of pictures.
const mostDrawn = 1200
