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
	"paneglow/render/prove"
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
	if err := a.verdict(p.Found); err != nil {
		a.tell(p.Found)
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
func (p *project) choose(clip, state string) (*prove.Latched, string, error) {
	index := 0
	switch {
	case state != "":
		index = -1
		for i := range p.Table.States {
			if p.Table.States[i].Name == state {
				index = i
			}
		}
		if index < 0 {
			return nil, "", fmt.Errorf("no state %q: the show has %s", state, list(p.Table.States, func(i int) string { return p.Table.States[i].Name }))
		}
	case clip != "":
		c := -1
		for i := range p.Table.Clips {
			if p.Table.Clips[i].Name == clip {
				c = i
			}
		}
		if c < 0 {
			return nil, "", fmt.Errorf("no clip %q: the show has %s", clip, list(p.Table.Clips, func(i int) string { return p.Table.Clips[i].Name }))
		}
		if index = prove.StateOf(p.Table, c); index < 0 {
			return nil, "", fmt.Errorf("no state shows clip %q, so the machine never latches it: name it in a state", clip)
		}
	}
	if len(p.Table.States) == 0 {
		return nil, "", fmt.Errorf("the show has no state, so the machine shows nothing")
	}
	lap, err := prove.Latch(p.Table, index)
	if err != nil {
		return nil, "", err
	}
	return lap, p.Table.Clips[p.Table.States[index].Clip].Name, nil
}

func list[T any](v []T, name func(i int) string) string {
	var s []string
	for i := range v {
		s = append(s, name(i))
	}
	return strings.Join(s, ", ")
}

// draw makes the picture or animation and says what it is.
func (p *project) draw(w io.Writer, lap *prove.Latched, clip string, f *renderFlags, animated bool, ext string) (string, error) {
	fps := p.Show.FPS
	first := int(int64(f.at) * int64(fps) / 1_000_000_000)
	if first >= len(lap.Frames) {
		return "", fmt.Errorf("--at %v is past the end of clip %q, which lasts %v", f.at, clip, unit.Time(int64(len(lap.Frames))*1_000_000_000/int64(fps)))
	}
	if f.view == "timeline" {
		img, err := p.timeline(lap, clip, f.width)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf("timeline of clip %s, %d frames, %s", clip, len(lap.Frames), lap.Who()), picture.PNG(w, img)
	}
	if f.view == "target" {
		img, err := p.target(lap, clip, first, f.height)
		if err != nil {
			return "", err
		}
		return fmt.Sprintf("target of clip %s, frame %d, %s", clip, first, lap.Who()), picture.PNG(w, img)
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
		return fmt.Sprintf("%s of clip %s, frame %d, %s", f.view, clip, first, lap.Who()), picture.PNG(w, img)
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
		img, err := one((first + i*step) % len(lap.Frames))
		if err != nil {
			return "", err
		}
		frames = append(frames, img)
	}
	rate := float64(fps) / float64(step)
	said := fmt.Sprintf("%s of clip %s, %d frames at %.3g fps, %s", f.view, clip, n, rate, lap.Who())
	if ext == ".gif" {
		return said, picture.GIF(w, frames, rate)
	}
	return said, picture.APNG(w, frames, rate)
}

// camera gives a function that draws one frame of a lap.
func (p *project) camera(lap *prove.Latched, clip string, f *renderFlags, animated bool) (func(frame int) (*image.RGBA, error), error) {
	height := f.height
	if height == 0 {
		height = picture.Fit(p.On.Layout, 900)
		if animated {
			height = picture.Fit(p.On.Layout, 480)
		}
	}
	note := func(i int) string {
		return fmt.Sprintf("%.2f s, %d mA of %d mA, %s", float64(i)/float64(p.Show.FPS), prove.Milli(lap.Current[i]), prove.Milli(lap.Budget), lap.Who())
	}
	brightest := 0
	for i, c := range lap.Current {
		if c > lap.Current[brightest] {
			brightest = i
		}
	}
	// The longest note is the last time with the largest current.
	longest := fmt.Sprintf("%.2f s, %d mA of %d mA, %s", float64(len(lap.Frames))/float64(p.Show.FPS), prove.Milli(lap.Current[brightest]), prove.Milli(lap.Budget), lap.Who())
	if f.view == "bare" {
		paint, err := picture.NewPaint(p.Machine, p.On.Layout)
		if err != nil {
			return nil, err
		}
		return func(i int) (*image.RGBA, error) {
			return picture.Bare(paint, lap.Frames[i], height, note(i), longest)
		}, nil
	}
	room := f.room
	if room < 0 {
		room = p.Machine.Panel.Room.Night
	}
	return p.throughGlass(lap, brightest, f.glass, picture.View{Height: height, Room: room, Clip: "clip " + clip, Longest: longest}, note)
}

func (p *project) timeline(lap *prove.Latched, clip string, width int) (*image.RGBA, error) {
	paint, err := picture.NewPaint(p.Machine, p.On.Layout)
	if err != nil {
		return nil, err
	}
	c := picture.Clip{
		Title: fmt.Sprintf("clip %s", clip), FPS: float64(p.Show.FPS), Frames: lap.Frames, Current: lap.Current, Budget: lap.Budget,
		Note: fmt.Sprintf("%d frames at %d fps, as latched; %s", len(lap.Frames), p.Show.FPS, lap.Who()),
	}
	if d := p.Show.Clip(clip); d != nil && d.Follow != "" {
		c.Value = true
		c.Note = fmt.Sprintf("%d values, as latched; %s", len(lap.Frames), lap.Who())
	}
	for i := range p.Clips {
		if p.Clips[i].Name == clip && len(p.Codes[i].Wanted) == len(lap.Frames) && p.Codes[i].Bites() > 0 {
			c.Wanted = p.Codes[i].Wanted
			c.Note += fmt.Sprintf("; capped to %s: %s of the light", p.BudgetWords(p.Codes[i]), prove.LeftOf(p.Codes[i]))
		}
	}
	return picture.Timeline(paint, c, width)
}
