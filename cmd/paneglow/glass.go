package main

import (
	"fmt"
	"image"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/panel"
	"paneglow/render/picture"
	"paneglow/render/prove"
)

// glassFlags say how the glass is looked at.
type glassFlags struct {
	adapted bool
	from    string
	beside  string
}

func (f *glassFlags) flags(fl *pflag.FlagSet) {
	fl.BoolVar(&f.adapted, "adapted", false, "colors as an eye sees them that takes the show's white for white")
	fl.StringVar(&f.from, "from", "", `where the viewer is: right, up, before the glass, such as "280 mm, 1500 mm, 1.5 m" (default: far away)`)
	fl.StringVar(&f.beside, "beside", "", `another glass at the right: "depth = 30 mm, scatter = 60 deg", or a machine file`)
}

func (f *glassFlags) used() bool { return f.adapted || f.from != "" || f.beside != "" }

// throughGlass gives a function that draws one frame of a lap.
func (p *project) throughGlass(lap *prove.Latched, brightest int, f glassFlags, view picture.View, note func(int) string) (func(frame int) (*image.RGBA, error), error) {
	view.Adapted = f.adapted
	if f.from != "" {
		eye, err := parseEye(f.from)
		if err != nil {
			return nil, err
		}
		view.Eye = eye
	}
	var other *show.Machine
	if f.beside != "" {
		var err error
		if other, err = besideMachine(p.Machine, f.beside); err != nil {
			return nil, err
		}
		view.Heading = "as it is"
	}
	cam, err := picture.NewCamera(p.Machine, p.On.Layout, view, lap.Frames[brightest])
	if err != nil {
		return nil, err
	}
	if other == nil {
		return func(i int) (*image.RGBA, error) { return cam.Draw(lap.Frames[i], note(i)) }, nil
	}
	view.Heading, view.Exposure = "beside it: "+f.beside, cam.Exposure()
	second, err := picture.NewCamera(other, p.On.Layout, view, nil)
	if err != nil {
		return nil, fmt.Errorf("--beside %q: %w", f.beside, err)
	}
	return func(i int) (*image.RGBA, error) {
		left, err := cam.Draw(lap.Frames[i], note(i))
		if err != nil {
			return nil, err
		}
		right, err := second.Draw(lap.Frames[i], note(i))
		if err != nil {
			return nil, err
		}
		return picture.Beside(left, right), nil
	}, nil
}

// target draws what a clip wants to be seen, what is seen, and the difference.
func (p *project) target(lap *prove.Latched, clip string, frame, height int) (*image.RGBA, error) {
	for i, c := range p.Clips {
		if c.Name != clip {
			continue
		}
		if c.Seen == nil {
			return nil, fmt.Errorf("clip %q is no target on the glass: name one whose picture is as = \"seen\"", clip)
		}
		if height == 0 {
			height = picture.Fit(p.On.Layout, 700)
		}
		t := c.Seen.Of(frame)
		notes := []string{fmt.Sprintf("clip %s, frame %d, %d mA of %d mA, %s", clip, frame, prove.Milli(lap.Current[frame]), prove.Milli(lap.Budget), lap.Who())}
		if t < len(p.Codes[i].Miss) {
			notes = append(notes, prove.Missed(&p.Codes[i].Miss[t]))
		}
		return picture.Targeted(p.Machine, p.On.Layout, c.Seen, t, lap.Frames[frame], height, notes)
	}
	return nil, fmt.Errorf("no clip %q", clip)
}

// parseEye reads three lengths.
func parseEye(s string) (*panel.Eye, error) {
	parts := strings.Split(s, ",")
	if len(parts) != 3 {
		return nil, usageError{fmt.Errorf(`--from %q is not three lengths: write "280 mm, 1500 mm, 1.5 m" (right, up, before the glass)`, s)}
	}
	var v [3]float64
	for i, part := range parts {
		l, err := unit.ParseLength(strings.TrimSpace(part))
		if err != nil {
			return nil, usageError{fmt.Errorf("--from %q: %w", s, err)}
		}
		v[i] = float64(l)
	}
	// The nearest from which a whole face sees the panel at all; the farthest
	// beyond which nothing changes.
	if v[2] < 50 || v[2] > 100_000 {
		return nil, usageError{fmt.Errorf("--from %q: the distance before the glass is outside 50 mm to 100 m", s)}
	}
	return &panel.Eye{X: v[0], Y: v[1], Z: v[2]}, nil
}

// besideMachine is the machine with another glass: of a machine file, or with
// values changed.
func besideMachine(m *show.Machine, s string) (*show.Machine, error) {
	if strings.HasSuffix(s, ".toml") {
		return glassOf(m, s)
	}
	out := *m
	out.Strips = append([]show.Strip(nil), m.Strips...)
	for _, item := range strings.Split(s, ",") {
		key, value, ok := strings.Cut(item, "=")
		key, value = strings.TrimSpace(key), strings.Trim(strings.TrimSpace(value), `"'`)
		if !ok {
			return nil, usageError{fmt.Errorf(`--beside %q: %q is not key = value: write "depth = 30 mm, scatter = 60 deg", or a file that ends in .toml`, s, strings.TrimSpace(item))}
		}
		if err := setGlass(&out, key, value); err != nil {
			return nil, usageError{fmt.Errorf("--beside %q: %w", s, err)}
		}
	}
	return &out, nil
}

func setGlass(m *show.Machine, key, value string) error {
	g := &m.Panel.Glass
	share := func(to ...*float64) error {
		v, err := strconv.ParseFloat(value, 64)
		if err != nil || !(v >= 0 && v <= 1) {
			return fmt.Errorf("%s = %q is not a number from 0 to 1", key, value)
		}
		for _, p := range to {
			*p = v
		}
		return nil
	}
	switch key {
	case "depth":
		v, err := unit.ParseLength(value)
		if err != nil {
			return err
		}
		if v < 1 || v > 1000 {
			return fmt.Errorf("depth = %v is outside 1 mm to 1 m", v)
		}
		m.Panel.Depth = v
		return nil
	case "scatter":
		v, err := unit.ParseAngle(value)
		if err != nil {
			return err
		}
		if !(v > 0 && v <= 120) {
			return fmt.Errorf("scatter = %v is outside 0 to 120 deg", v)
		}
		g.Scatter = v
		return nil
	case "lambertian":
		return share(&g.Lambertian)
	case "haze":
		return share(&g.Haze)
	case "transmittance":
		return share(&g.Transmittance[0], &g.Transmittance[1], &g.Transmittance[2])
	case "reflectance":
		return share(&g.Reflectance)
	case "walls":
		return share(&m.Panel.Walls)
	}
	return fmt.Errorf("no value %q: depth, scatter, lambertian, haze, transmittance, reflectance and walls can be changed", key)
}

// glassOf takes the glass, the walls, and the strips' depths and aims of another
// machine file.
func glassOf(m *show.Machine, file string) (*show.Machine, error) {
	other, found := show.LoadMachine(file)
	if err := found.Err(); err != nil {
		return nil, err
	}
	out := *m
	room := m.Panel.Room
	out.Panel = other.Panel
	out.Panel.Size, out.Panel.Room = m.Panel.Size, room
	out.Strips = append([]show.Strip(nil), m.Strips...)
	for i := range out.Strips {
		for j := range other.Strips {
			if s := &other.Strips[j]; s.Name == out.Strips[i].Name {
				out.Strips[i].Depth, out.Strips[i].Tilt, out.Strips[i].Towards = s.Depth, s.Tilt, s.Towards
			}
		}
	}
	return &out, nil
}
