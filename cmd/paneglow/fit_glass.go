package main

import (
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/anim/unit"
	"paneglow/render/panel/photo"
	"paneglow/render/picture"
	"paneglow/render/prove"
)

const fitGlassExample = `  paneglow new my-panel && paneglow fit glass my-panel/simulated-photo.jpg my-panel --scale "0.3 mm" --distance "600 mm" --chart my-panel/glass.png --write`

type fitGlassFlags struct {
	depth, scale, between, emitter, distance unit.Length
	halfAngle                                unit.Angle
	marks                                    []string
	dark, encoding, part, chart              string
	write, asJSON                            bool
}

func (a *app) fitGlassCommand() *cobra.Command {
	f := fitGlassFlags{encoding: "srgb"}
	c := &cobra.Command{
		Use:   "glass PHOTO [SHOW]",
		Short: "find the glass's scatter and Lambertian share from a photo of one lit pixel",
		Long: `Fit glass finds what the pane does to light from one photo (PNG or JPEG) of one
lit pixel behind it: how wide it scatters, and which share leaves in all
directions alike. docs/fit-glass.md says how to take the photo: one pixel white,
a dark room, fixed exposure, the camera straight before the pixel and far away.

Two lengths come from a ruler: the depth from LED to glass (--depth, or that of
the machine file), and the size of an image pixel on the pane: --scale, or two
points of the photo (--mark "x,y" twice) and the length --between them.

SHOW is a show or a machine file: the LED's half angle and size are taken from
its part, and --write puts scatter and lambertian into the machine file in place.
Without it the LED is a point of 60 deg unless --emitter and --half-angle say else.

Intervals are for 95 %, with the rulers taken as right. Measured on simulated
photos: a depth 10 % too large gives a scatter 9 to 12 % too small, 10 % too small
one 11 to 17 % too large; a pixel 5 % too large, 5 to 8 % too large; a camera
twenty depths away taken as far, 3 to 5 % too small; light bent by an exponent of
1.1 (a camera's contrast), 4 to 6 % too small; a lens's fall-off (cos^4) at five
depths, at most 2 %.`,
		Example: fitGlassExample,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 || strings.TrimSpace(args[0]) == "" {
				return usageError{fmt.Errorf("fit glass wants a photo and, at most, a show or machine file; it got %d arguments", len(args))}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			show := ""
			if len(args) == 2 {
				show = args[1]
			}
			return a.fitGlass(args[0], show, &f, cmd.Flags().Changed)
		},
	}
	fl := c.Flags()
	fl.Var(&f.depth, "depth", `from the LED's face to the glass, such as "30 mm" (default: the machine's)`)
	fl.Var(&f.scale, "scale", `size of one image pixel on the pane, such as "0.2 mm"`)
	fl.StringArrayVar(&f.marks, "mark", nil, `a point of the photo in pixels from its upper left corner, such as "120,400"; give two`)
	fl.Var(&f.between, "between", `length on the pane between the two marks, such as "100 mm"`)
	fl.StringVar(&f.dark, "dark", "", "the same photo with the pixel off: its light is taken off")
	fl.Var(&f.distance, "distance", `from the glass to the camera, such as "1.2 m" (default: far away)`)
	fl.Var(&f.halfAngle, "half-angle", `of the LED's light, such as "60 deg" (default: the part's)`)
	fl.Var(&f.emitter, "emitter", `side of the LED's lit face, such as "5 mm", "0 mm" for a point (default: the part's)`)
	fl.StringVar(&f.part, "part", "", "the part that was lit, where the machine has several")
	fl.StringVar(&f.encoding, "encoding", f.encoding, `of the photo: srgb, linear or "gamma 2.2"`)
	fl.StringVar(&f.chart, "chart", "", "also draw the radial profile over the fit, to a .png file")
	fl.BoolVar(&f.write, "write", false, "write scatter and lambertian into the machine file, in place")
	fl.BoolVar(&f.asJSON, "json", false, "print the result as JSON")
	for _, name := range []string{"depth", "scale", "between", "distance", "half-angle", "emitter"} {
		fl.Lookup(name).DefValue = "" // that it is zero is no news
	}
	return c
}

func (a *app) fitGlass(name, target string, f *fitGlassFlags, given func(string) bool) error {
	e, err := photo.ParseEncoding(f.encoding)
	if err != nil {
		return usageError{fmt.Errorf("--encoding: %w", err)}
	}
	marks, err := f.usage(target, given)
	if err != nil {
		return err
	}
	p := &project{&prove.Project{}}
	if target != "" {
		if p, err = machineOf(target); err != nil {
			return err
		}
	}
	if err := f.mayDraw(p, name); err != nil {
		return err
	}
	s, told, err := f.settings(p.Machine, given)
	if err != nil {
		return err
	}
	img, err := photo.Open(name, e)
	if err != nil {
		return err
	}
	if f.dark != "" {
		if s.Dark, err = photo.Open(f.dark, e); err != nil {
			return err
		}
	}
	if len(marks) == 2 {
		if s.Scale, err = img.ScaleOf(marks[0], marks[1], f.between); err != nil {
			return err
		}
	}
	r, err := photo.Fit(img, s)
	if err != nil {
		return err
	}
	told = append(told, r.Notes...)
	report := glassReport(img, r, p.Machine, told)
	if f.chart != "" {
		chart, err := picture.Radial(img, r, 900)
		if err != nil {
			return err
		}
		if err := writeFile(f.chart, func(w io.Writer) error { return picture.PNG(w, chart) }); err != nil {
			return err
		}
		report.Chart = f.chart
	}
	var refused error
	if f.write {
		if refused = writeGlass(p.Machine, r); refused == nil {
			report.Written = true
		}
	}
	if f.asJSON {
		if err := writeJSON(a.out, report); err != nil {
			return err
		}
	} else {
		report.print(a.out, r, p.Machine)
	}
	a.tell(told)
	if refused != nil {
		return refused
	}
	return a.verdict(told)
}

// usage looks at flags that do not go together.
func (f *fitGlassFlags) usage(target string, given func(string) bool) ([]photo.Mark, error) {
	var marks []photo.Mark
	for _, text := range f.marks {
		m, err := photo.ParseMark(text)
		if err != nil {
			return nil, usageError{fmt.Errorf("--mark: %w", err)}
		}
		marks = append(marks, m)
	}
	switch {
	case given("scale") && (len(marks) > 0 || given("between")):
		return nil, usageError{fmt.Errorf("--scale and --mark say one thing twice: give one of them")}
	case !given("scale") && len(marks) == 0 && !given("between"):
		return nil, usageError{fmt.Errorf(`how large is an image pixel on the pane? --scale "0.2 mm", or --mark "x,y" twice and --between "100 mm"`)}
	case !given("scale") && (len(marks) != 2 || !given("between")):
		return nil, usageError{fmt.Errorf("the scale by marks wants --mark twice and --between once: there are %d marks", len(marks))}
	case !given("depth") && target == "":
		return nil, usageError{fmt.Errorf(`how far is the LED's face from the glass? --depth "30 mm", or name the show`)}
	case f.write && target == "":
		return nil, usageError{fmt.Errorf("--write needs the show or machine file to write to")}
	case f.part != "" && target == "":
		return nil, usageError{fmt.Errorf("--part needs the show or machine file that it stands in")}
	case f.chart != "" && strings.ToLower(filepath.Ext(f.chart)) != ".png":
		return nil, usageError{fmt.Errorf("%s: the chart is a .png file", f.chart)}
	}
	return marks, nil
}

// mayDraw keeps the chart from overwriting what is read.
func (f *fitGlassFlags) mayDraw(p *project, name string) error {
	if f.chart == "" {
		return nil
	}
	for _, source := range []string{name, f.dark} {
		if source != "" && samePath(f.chart, source) {
			return usageError{fmt.Errorf("%s is the photo itself: name another file", f.chart)}
		}
	}
	return p.mayWrite(f.chart)
}

// machineOf finds the machine of a show, a show's folder, or a machine file.
func machineOf(path string) (*project, error) {
	p := &project{&prove.Project{}}
	file := prove.ShowFile(path)
	m, found := show.LoadMachine(file)
	if len(m.Panel.Keys) == 0 { // no machine file: then a show
		s, told := show.LoadShow(file)
		if s.MachineFile == "" {
			return nil, told
		}
		p.Show = s
		m, found = show.LoadMachine(filepath.Join(s.Dir, filepath.FromSlash(s.MachineFile)))
	}
	p.Machine = m
	if err := found.Err(); err != nil {
		return nil, found
	}
	return p, nil
}

// settings are the flags over the machine's values.
func (f *fitGlassFlags) settings(m *show.Machine, given func(string) bool) (s photo.Settings, told finding.List, err error) {
	s = photo.Settings{Depth: f.depth, Scale: f.scale, HalfAngle: f.halfAngle, Emitter: f.emitter, Distance: f.distance}
	switch {
	case given("half-angle") && !(f.halfAngle > 0 && f.halfAngle < 90):
		return s, nil, usageError{fmt.Errorf("--half-angle: %v is outside 0 to 90 deg", f.halfAngle)}
	case given("distance") && !(f.distance > 0):
		return s, nil, usageError{fmt.Errorf("--distance: %v is no way to the camera; leave it out for a camera far away", f.distance)}
	case m == nil:
		return s, nil, nil
	}
	part := &m.Parts[0]
	if f.part != "" {
		if part = m.Part(f.part); part == nil {
			return s, nil, fmt.Errorf("%s has no part %q: it has %s", m.File, f.part, list(m.Parts, func(i int) string { return m.Parts[i].Name }))
		}
	} else {
		for i := range m.Parts {
			if q := &m.Parts[i]; q.HalfAngle != part.HalfAngle || q.Emitter != part.Emitter {
				return s, nil, usageError{fmt.Errorf("%s has several kinds of LED: say which was lit, --part %s", m.File, list(m.Parts, func(i int) string { return m.Parts[i].Name }))}
			}
		}
	}
	if !given("half-angle") {
		s.HalfAngle = part.HalfAngle
	}
	if !given("emitter") {
		s.Emitter = part.Emitter
	}
	if !given("depth") {
		s.Depth = m.Panel.Depth
		for i := range m.Strips {
			if d := m.Strips[i].Depth; d > 0 && d != s.Depth {
				return s, nil, usageError{fmt.Errorf("%s has strips at several depths: give that of the lit pixel, --depth", m.File)}
			}
		}
	}
	if m.Panel.Walls > 0 {
		told = append(told, finding.At(m.Panel.Keys.At("walls", m.Panel.Pos), finding.Note, "photo.walls",
			fmt.Sprintf("the back wall sends %g of its light back, which the fit takes for Lambertian light of the glass", m.Panel.Walls),
			"cover the wall around the lit pixel with black paper for the photo"))
	}
	if part.LEDsPerPixel > 1 {
		told = append(told, finding.At(part.Keys.At("leds_per_pixel", part.Pos), finding.Note, "photo.leds_per_pixel",
			fmt.Sprintf("a pixel of part %q is %d LEDs: the photo wants one", part.Name, part.LEDsPerPixel), "cover the others with black tape"))
	}
	return s, told, nil
}

// roundGlass is what goes into the file: a tenth of a degree, a hundredth.
func roundGlass(r *photo.Result) (scatter, lambertian string) {
	return unit.Angle(math.Round(r.Scatter.Value*10) / 10).String(), strconv.FormatFloat(math.Round(r.Lambertian.Value*100)/100, 'f', -1, 64)
}

// writeGlass puts both values into the machine file, every other byte as it was.
func writeGlass(m *show.Machine, r *photo.Result) error {
	if !r.Determined {
		return fmt.Errorf("nothing was written: the photo does not tell the scatter")
	}
	now, err := os.ReadFile(m.File)
	if err != nil {
		return err
	}
	if !slices.Equal(now, m.Source) {
		return fmt.Errorf("%s was changed meanwhile: nothing was written, run the command again", m.File)
	}
	scatter, lambertian := roundGlass(r)
	src := m.Source
	for _, v := range [][2]string{{"glass.scatter", show.Quote(scatter)}, {"glass.lambertian", lambertian}} {
		at, found := show.ParseMachine(m.File, src) // places move with every change
		if found.Err() != nil {
			return found
		}
		if src, err = show.Replace(src, at.Panel.Keys.At(v[0], at.Panel.Pos), v[1]); err != nil {
			return err
		}
	}
	if _, found := show.ParseMachine(m.File, src); found.Err() != nil {
		return fmt.Errorf("nothing was written: %w", found)
	}
	return writeBytes(m.File, src)
}

// The JSON of `fit glass --json`. Lengths are millimetres, angles degrees,
// light and shares parts of 1; x and y are pixels from the upper left corner.
type fitGlassReport struct {
	Photo      string            `json:"photo"`
	Machine    string            `json:"machine,omitempty"`
	Width      int               `json:"width"`
	Height     int               `json:"height"`
	Depth      float64           `json:"depth_mm"`
	Scale      float64           `json:"scale_mm"`
	HalfAngle  float64           `json:"half_angle_deg"`
	Emitter    float64           `json:"emitter_mm"`
	Distance   float64           `json:"distance_mm"` // 0: far away
	X          float64           `json:"x"`
	Y          float64           `json:"y"`
	Channel    string            `json:"channel"`
	Clipped    float64           `json:"clipped"` // of the spot out to half height
	Confidence float64           `json:"confidence"`
	Scatter    fitRange          `json:"scatter_deg"`
	Lambertian fitRange          `json:"lambertian"`
	Determined bool              `json:"determined"`
	PerDepth   float64           `json:"scatter_deg_per_mm_depth"`
	LEDShare   float64           `json:"led_share"` // of the spot's variance
	Residual   float64           `json:"residual_rms"`
	Longer     float64           `json:"longer"`
	Base       float64           `json:"background"`
	Rim        float64           `json:"rim"`
	Sharp      bool              `json:"sharp_image"`
	Rings      []fitRing         `json:"rings"`
	Chart      string            `json:"chart,omitempty"`
	Written    bool              `json:"written"`
	Findings   []finding.Finding `json:"findings"`
}

type fitRange struct {
	Value float64 `json:"value"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

type fitRing struct {
	R     float64 `json:"r_mm"`
	Value float64 `json:"value"` // of the fitted peak, background taken off
	Sigma float64 `json:"sigma"`
	Fit   float64 `json:"fit"`
	Used  bool    `json:"used"`
}

func glassReport(p *photo.Picture, r *photo.Result, m *show.Machine, told finding.List) *fitGlassReport {
	out := &fitGlassReport{
		Photo: p.Name, Width: p.W, Height: p.H, Depth: float64(r.Depth), Scale: float64(r.Scale), HalfAngle: float64(r.HalfAngle),
		Emitter: float64(r.Emitter), Distance: float64(r.Distance), X: r.X, Y: r.Y, Channel: r.Channel, Clipped: r.Clipped,
		Confidence: photo.Confidence, Scatter: fitRange(r.Scatter), Lambertian: fitRange(r.Lambertian), Determined: r.Determined,
		PerDepth: r.DepthPerMM, LEDShare: r.LEDShare, Residual: r.Residual, Longer: r.Longer, Base: r.Base, Rim: r.Rim, Sharp: r.Sharp,
		Findings: append([]finding.Finding{}, told...),
	}
	if m != nil {
		out.Machine = m.File
	}
	for _, q := range r.Rings {
		out.Rings = append(out.Rings, fitRing(q))
	}
	return out
}

func (f *fitGlassReport) print(w io.Writer, r *photo.Result, m *show.Machine) {
	fmt.Fprintf(w, "%s: %d x %d pixels of %.4g mm, lit pixel at %.1f,%.1f; measured: %s", f.Photo, f.Width, f.Height, f.Scale, f.X, f.Y, f.Channel)
	if f.Clipped > 0.0005 {
		fmt.Fprintf(w, ", %.0f %% of the spot is clipped and left out", 100*f.Clipped)
	}
	fmt.Fprintf(w, "\ndepth %v, half angle %v, ", r.Depth, r.HalfAngle)
	if r.Emitter > 0 {
		fmt.Fprintf(w, "LED %v wide, ", r.Emitter)
	} else {
		fmt.Fprint(w, "LED a point, ")
	}
	if r.Distance > 0 {
		fmt.Fprintf(w, "camera %v away\n\n", r.Distance)
	} else {
		fmt.Fprint(w, "camera far away\n\n")
	}
	t := tabwriter.NewWriter(w, 0, 8, 3, ' ', 0)
	fmt.Fprintf(t, "scatter\t%.1f deg\t95 %%: %.1f to %.1f deg\n", f.Scatter.Value, f.Scatter.Low, f.Scatter.High)
	fmt.Fprintf(t, "lambertian\t%.2f\t95 %%: %.2f to %.2f\n", f.Lambertian.Value, f.Lambertian.Low, f.Lambertian.High)
	fmt.Fprintf(t, "left over\t%.2g %%\tof the peak, rms over the rings\n", 100*f.Residual)
	t.Flush()
	fmt.Fprintf(w, "\nthe rulers are taken as right: 1 mm more depth would make it %.1f deg\n", f.Scatter.Value+f.PerDepth)
	if f.Chart != "" {
		fmt.Fprintf(w, "%s: the radial profile over the fit\n", f.Chart)
	}
	if m == nil {
		return
	}
	scatter, lambertian := roundGlass(r)
	g := &m.Panel.Glass
	if f.Written {
		fmt.Fprintf(w, "written to %s: scatter = %q, was %q; lambertian = %s, was %g\n", m.File, scatter, g.Scatter, lambertian, g.Lambertian)
	} else if f.Determined {
		fmt.Fprintf(w, "%s has scatter = %q, lambertian = %g; --write would make them %q and %s\n", m.File, g.Scatter, g.Lambertian, scatter, lambertian)
	}
}
