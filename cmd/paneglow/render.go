package main

import (
	"bytes"
	"fmt"
	"image"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"paneglow/anim/unit"
	"paneglow/render/picture"
)

type renderFlags struct {
	out, machine, clip, state, view string
	at, length                      unit.Time
	room                            unit.Illuminance
	height, width                   int
	glass                           glassFlags
}

func (a *app) renderCommand() *cobra.Command {
	f := renderFlags{view: "glass", room: -1}
	c := &cobra.Command{
		Use:   "render SHOW",
		Short: "draw what the machine latches: through the glass, bare, as a timeline, or against a target",
		Long: `Render plays the packed table as the controller will, in one state with that
state's loads running, and draws what is latched. A .png without --for is one
picture; with --for, .png and .apng are animated PNG, .gif is GIF.

--beside shows another glass at the right, at the same exposure: values for this
picture alone, such as "depth = 30 mm, scatter = 60 deg", or another machine file,
whose glass, depths and aims are taken. Values are depth, scatter, lambertian, haze,
transmittance, reflectance and walls.`,
		Example: "  paneglow new my-panel && paneglow render my-panel --state rest --view timeline -o my-panel/rest.png" +
			"\n  paneglow new deeper && paneglow render deeper --beside 'depth = 40 mm, scatter = 60 deg' -o deeper/beside.png",
		Args: argument("a show"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return a.render(args[0], &f, cmd.Flags().Changed("for"))
		},
	}
	fl := c.Flags()
	fl.StringVarP(&f.out, "output", "o", "", "the picture's file: .png, .apng or .gif")
	fl.StringVar(&f.machine, "machine", "", "render for another machine file")
	fl.StringVar(&f.clip, "clip", "", "the clip to draw (default: the first state's)")
	fl.StringVar(&f.state, "state", "", "the state to draw")
	fl.StringVar(&f.view, "view", f.view, "glass, bare, timeline, or target (wanted, seen, difference; of a clip whose picture is as = \"seen\")")
	fl.Var(&f.at, "at", `time of the (first) picture in the clip, such as "1.5 s"`)
	fl.Var(&f.length, "for", `length of an animation, such as "3 s"`)
	fl.Var(&f.room, "room", `light in the room, such as "300 lx" (default: the machine's night)`)
	fl.IntVar(&f.height, "height", 0, "of the panel in pixels (default: at most 900, animations 480)")
	fl.IntVar(&f.width, "width", 1200, "of a timeline in pixels")
	f.glass.flags(fl)
	return c
}

func (a *app) render(path string, f *renderFlags, animated bool) error {
	ext := strings.ToLower(filepath.Ext(f.out))
	switch {
	case f.out == "":
		return usageError{fmt.Errorf("render needs a file to write: -o picture.png")}
	case ext != ".png" && ext != ".apng" && ext != ".gif":
		return usageError{fmt.Errorf("%s: pictures end in .png, .apng or .gif", f.out)}
	case f.view != "glass" && f.view != "bare" && f.view != "timeline" && f.view != "target":
		return usageError{fmt.Errorf("no view %q: use glass, bare, timeline or target", f.view)}
	case f.clip != "" && f.state != "":
		return usageError{fmt.Errorf("--clip and --state name one thing twice: give one of them")}
	case animated && (f.view == "timeline" || f.view == "target"):
		return usageError{fmt.Errorf("a %s is one picture already: leave out --for", f.view)}
	case f.view != "glass" && f.glass.used():
		return usageError{fmt.Errorf("--adapted, --from and --beside are for the glass: leave them out, or use --view glass")}
	case animated && f.length <= 0:
		return usageError{fmt.Errorf("--for wants a time above 0, such as \"3 s\"")}
	case ext != ".png" && !animated:
		return usageError{fmt.Errorf("%s is for animations: add --for \"3 s\", or end the name in .png", ext)}
	}
	p := open(path, f.machine)
	if err := p.mayWrite(f.out); err != nil {
		return err
	}
	a.work(p, 0)
	if err := a.verdict(p.found); err != nil {
		a.tell(p.found)
		return err
	}
	lap, name, err := p.choose(f.clip, f.state)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	said, err := p.draw(&b, lap, name, f, animated, ext)
	if err != nil {
		return err
	}
	if err := writeFile(f.out, func(w io.Writer) error { _, err := w.Write(b.Bytes()); return err }); err != nil {
		return err
	}
	fmt.Fprintf(a.out, "%s: %s\n", f.out, said)
	return nil
}

// choose finds the lap to draw: of a named state, of the first state that shows
// a named clip, or of the first state.
func (p *project) choose(clip, state string) (*latched, string, error) {
	index := 0
	switch {
	case state != "":
		index = -1
		for i := range p.table.States {
			if p.table.States[i].Name == state {
				index = i
			}
		}
		if index < 0 {
			return nil, "", fmt.Errorf("no state %q: the show has %s", state, list(p.table.States, func(i int) string { return p.table.States[i].Name }))
		}
	case clip != "":
		c := -1
		for i := range p.table.Clips {
			if p.table.Clips[i].Name == clip {
				c = i
			}
		}
		if c < 0 {
			return nil, "", fmt.Errorf("no clip %q: the show has %s", clip, list(p.table.Clips, func(i int) string { return p.table.Clips[i].Name }))
		}
		if index = stateOf(p.table, c); index < 0 {
			return nil, "", fmt.Errorf("no state shows clip %q, so the machine never latches it: name it in a state", clip)
		}
	}
	if len(p.table.States) == 0 {
		return nil, "", fmt.Errorf("the show has no state, so the machine shows nothing")
	}
	lap, err := latch(p.table, index)
	if err != nil {
		return nil, "", err
	}
	return lap, p.table.Clips[p.table.States[index].Clip].Name, nil
}

func list[T any](v []T, name func(i int) string) string {
	var s []string
	for i := range v {
		s = append(s, name(i))
	}
	return strings.Join(s, ", ")
}

// draw makes the picture or animation and says what it is.
func (p *project) draw(w io.Writer, lap *latched, clip string, f *renderFlags, animated bool, ext string) (string, error) {
	fps := p.show.FPS
	first := int(int64(f.at) * int64(fps) / 1_000_000_000)
	if first >= len(lap.frames) {
		return "", fmt.Errorf("--at %v is past the end of clip %q, which lasts %v", f.at, clip, unit.Time(int64(len(lap.frames))*1_000_000_000/int64(fps)))
	}
	if f.view == "timeline" {
		img, err := p.timeline(lap, clip, f.width)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf("timeline of clip %s, %d frames, %s", clip, len(lap.frames), lap.who()), picture.PNG(w, img)
	}
	if f.view == "target" {
		img, err := p.target(lap, clip, first, f.height)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf("target of clip %s, frame %d, %s", clip, first, lap.who()), picture.PNG(w, img)
	}
	one, err := p.camera(lap, clip, f, animated)
	if err != nil {
		return "", err
	}
	if !animated {
		img, err := one(first)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf("%s of clip %s, frame %d, %s", f.view, clip, first, lap.who()), picture.PNG(w, img)
	}
	// Screens and viewers are content with 20 frames a second: every step-th
	// latched frame is drawn.
	step := max(1, (fps+19)/20)
	n := int(int64(f.length) * int64(fps) / 1_000_000_000 / int64(step))
	if n < 1 || n > 1200 {
		return "", fmt.Errorf("--for %v gives %d frames at %d fps: 1 to 1200 are drawn", f.length, n, fps/step)
	}
	var frames []*image.RGBA
	for i := range n {
		img, err := one((first + i*step) % len(lap.frames))
		if err != nil {
			return "", err
		}
		frames = append(frames, img)
	}
	rate := float64(fps) / float64(step)
	said := fmt.Sprintf("%s of clip %s, %d frames at %.3g fps, %s", f.view, clip, n, rate, lap.who())
	if ext == ".gif" {
		return said, picture.GIF(w, frames, rate)
	}
	return said, picture.APNG(w, frames, rate)
}

// camera gives a function that draws one frame of a lap.
func (p *project) camera(lap *latched, clip string, f *renderFlags, animated bool) (func(frame int) (*image.RGBA, error), error) {
	height := f.height
	if height == 0 {
		height = picture.Fit(p.hw.Layout, 900)
		if animated {
			height = picture.Fit(p.hw.Layout, 480)
		}
	}
	note := func(i int) string {
		return fmt.Sprintf("%.2f s, %d mA of %d mA, %s", float64(i)/float64(p.show.FPS), milli(lap.current[i]), milli(lap.budget), lap.who())
	}
	brightest := 0
	for i, c := range lap.current {
		if c > lap.current[brightest] {
			brightest = i
		}
	}
	// The longest note is the last time with the largest current.
	longest := fmt.Sprintf("%.2f s, %d mA of %d mA, %s", float64(len(lap.frames))/float64(p.show.FPS), milli(lap.current[brightest]), milli(lap.budget), lap.who())
	if f.view == "bare" {
		paint, err := picture.NewPaint(p.machine, p.hw.Layout)
		if err != nil {
			return nil, err
		}
		return func(i int) (*image.RGBA, error) {
			return picture.Bare(paint, lap.frames[i], height, note(i), longest)
		}, nil
	}
	room := f.room
	if room < 0 {
		room = p.machine.Panel.Room.Night
	}
	return p.throughGlass(lap, brightest, f.glass, picture.View{Height: height, Room: room, Clip: "clip " + clip, Longest: longest}, note)
}

func (p *project) timeline(lap *latched, clip string, width int) (*image.RGBA, error) {
	paint, err := picture.NewPaint(p.machine, p.hw.Layout)
	if err != nil {
		return nil, err
	}
	c := picture.Clip{
		Title: fmt.Sprintf("clip %s", clip), FPS: float64(p.show.FPS), Frames: lap.frames, Current: lap.current, Budget: lap.budget,
		Note: fmt.Sprintf("%d frames at %d fps, as latched; %s", len(lap.frames), p.show.FPS, lap.who()),
	}
	if d := p.show.Clip(clip); d != nil && d.Follow != "" {
		c.Value = true
		c.Note = fmt.Sprintf("%d values, as latched; %s", len(lap.frames), lap.who())
	}
	for i := range p.clips {
		if p.clips[i].Name == clip && len(p.codes[i].Wanted) == len(lap.frames) && p.codes[i].Bites() > 0 {
			c.Wanted = p.codes[i].Wanted
			c.Note += fmt.Sprintf("; capped to %v: %s of the light", p.codes[i].Budget, leftOf(p.codes[i]))
		}
	}
	return picture.Timeline(paint, c, width)
}
