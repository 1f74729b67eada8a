// Package prove takes a show all the way: files to clips, codes, table, what the
// player latches of it in every state and every change of state, and what is
// found on the way. The command line and the window both stand on it.
//
// In: the path of a show, and what is to be read instead of its files. Out: a
// Project whose stages are filled as far as the findings let them; a Report.
package prove

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"paneglow/anim"
	"paneglow/anim/blend"
	"paneglow/anim/easing"
	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/patterns"
	"paneglow/render"
	"paneglow/render/drive"
	"paneglow/render/play"
	"paneglow/render/power"
	"paneglow/render/table"
)

// Project is a show on its way to a table. Each stage fills its part and adds
// to the findings; a stage is only entered while they hold no error.
type Project struct {
	Show    *show.Show
	Machine *show.Machine
	On      *render.Hardware
	Clips   []*anim.Clip
	Budgets []power.Budget
	Codes   []*render.Codes

	TableShow *table.Show
	Bytes     []byte // of the table
	Report    table.Report
	Table     *table.Table

	Copper  *Copper    // nil where it cannot be worked out
	Packing func(int)  // told of frames as Pack packs them, by several goroutines; nil: nobody is
	Compare bool       // Finish also works out what other cap policies would leave
	Memory  *Memory    // of the last proof of the same show; nil: none
	Laps    []*Latched // by state, after Examine; nil where a state does not come to show its clip
	Flashes []int      // by clip, in the worst second, after Examine
	Found   finding.List
}

// Add tells something.
func (p *Project) Add(sev finding.Severity, code, where, fix, message string, args ...any) {
	p.Found = append(p.Found, finding.Finding{Code: code, Severity: sev, Where: where, Message: fmt.Sprintf(message, args...), Fix: fix})
}

// ShowFile finds the show: a file, or a folder that holds show.toml.
func ShowFile(path string) string {
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		return filepath.Join(path, "show.toml")
	}
	return path
}

// Open reads, checks and builds a show, on another machine if one is named.
// The returned project is complete when its findings hold no error.
func Open(path, machine string) *Project { return OpenWith(path, machine, nil) }

// OpenWith is Open with texts that are read instead of the files of these paths.
func OpenWith(path, machine string, instead map[string][]byte) *Project {
	p := &Project{}
	var s *show.Show
	var found finding.List
	if src, ok := instead[ShowFile(path)]; ok {
		s, found = show.ParseShow(ShowFile(path), src)
		s.Dir = filepath.Dir(ShowFile(path))
	} else {
		s, found = show.LoadShow(ShowFile(path))
	}
	p.Show, p.Found = s, found
	if s == nil {
		return p
	}
	if machine == "" {
		if s.MachineFile == "" {
			return p // already told: a show names its machine
		}
		machine = filepath.Join(s.Dir, filepath.FromSlash(s.MachineFile))
	}
	var m *show.Machine
	if src, ok := instead[machine]; ok {
		m, found = show.ParseMachine(machine, src)
	} else {
		m, found = show.LoadMachine(machine)
	}
	p.Machine, p.Found = m, append(p.Found, found...)
	if m == nil {
		return p
	}
	// Also after errors: what fits what can be told now, and saves a round. A machine
	// of which nothing was read would make every name of its parts an error.
	told := m
	if found.Err() != nil && len(m.Strips) == 0 {
		told = nil
	}
	p.Found = append(p.Found, show.CheckShow(s, told, names())...)
	if p.Found.Err() != nil {
		p.Found.Sort()
		return p
	}
	hw, err := render.NewHardware(m)
	if err != nil {
		p.take(err, m.File)
		return p
	}
	p.On = hw
	clips, found := anim.Build(s, hw.Layout, anim.Options{Pattern: patterns.Source, Patterns: patterns.Names()})
	p.Clips, p.Found = clips, append(p.Found, found...)
	p.Budgets = power.ClipBudgets(s, m)
	p.Found = append(p.Found, power.CheckLoads(s, m)...)
	p.Found = append(p.Found, power.CheckSlew(m, hw.Meter, s.FPS)...)
	p.Found = append(p.Found, power.BootFlash(m, hw.Meter)...)
	return p
}

func (p *Project) take(err error, where string) {
	var list finding.List
	var one finding.Finding
	switch {
	case errors.As(err, &list):
		p.Found = append(p.Found, list...)
	case errors.As(err, &one):
		p.Found = append(p.Found, one)
	default:
		p.Add(finding.Error, "machine.unusable", where, "", "%v", err)
	}
}

// Finish makes the final codes.
func (p *Project) Finish(workers int, progress func(frames int)) {
	if p.Found.Err() != nil {
		return
	}
	plan := render.PlanOf(p.Show, p.Machine)
	plan.Compare = p.Compare
	codes, err := render.FinishPlan(p.Clips, p.On, p.Budgets, plan, workers, progress)
	if err != nil {
		p.takeFinish(err)
		return
	}
	p.Codes = codes
	for i, c := range codes {
		p.tellCap(p.Clips[i], c)
		p.tellMiss(p.Clips[i], c)
	}
}

// takeFinish puts a failed clip into words.
func (p *Project) takeFinish(err error) {
	where := ""
	var clip *render.ClipError
	if errors.As(err, &clip) {
		where = fmt.Sprintf("clip %q", clip.Clip)
		err = clip.Err
	}
	var idle *render.IdleError
	var over *render.OverError
	var slew *render.SlewError
	switch {
	case errors.As(err, &idle):
		fix := "a larger supply, fewer pixels, or a part that draws less when dark"
		if idle.Budget.Load != "" {
			fix = fmt.Sprintf("take load %q out of the states that show this clip, or %s", idle.Budget.Load, fix)
		}
		p.Add(finding.Error, "power.idle_over_budget", where, fix, "%v", idle)
	case errors.As(err, &over):
		p.Add(finding.Error, "power.over_budget", where, `darken the picture, or use as = "srgb" so that it may be scaled`, "%v", over)
	case errors.As(err, &slew):
		p.Add(finding.Error, "power.slew", where, `a gentler picture, as = "srgb" so that it may be scaled, or a larger slew`, "%v", slew)
	default:
		p.Add(finding.Error, "clip.failed", where, "", "%v", err)
	}
}

// tellCap says where the budget bites and what it costs, and what the dies
// cannot show.
func (p *Project) tellCap(clip *anim.Clip, c *render.Codes) {
	where := fmt.Sprintf("clip %q", clip.Name)
	if n := c.Bites(); n > 0 {
		at, most := c.WantedPeak()
		p.Add(finding.Note, "power.cap_bites", fmt.Sprintf("%s, frame %d", where, at), "",
			"%d of %d frames want more than the budget of %s, most %s: the clip plays at %s of its light%s",
			n, c.Frames, p.BudgetWords(c), power.Amps(most), LeftOf(c), p.swing(c))
	}
	if held := c.Held(); held > 0 {
		p.Add(finding.Note, "power.slew_holds", where, "a larger slew where the supply can take it, or slower changes in the pattern",
			"%d of %d frames are held back so that the current changes no faster than the supply's slew: the clip plays at %s of its light", held, c.Frames, LeftOf(c))
	}
	if total := c.Frames * len(p.On.Layout.Pixels); c.Clipped*100 > total {
		p.Add(finding.Warning, "color.clipped", where, "darken the pattern, or choose less saturated colors",
			"%.0f %% of its light is brighter or more saturated than the LEDs can show, and was clipped", 100*float64(c.Clipped)/float64(total))
	}
}

// BudgetWords is a clip's budget from the supplies that feed pixels.
func (p *Project) BudgetWords(c *render.Codes) string {
	var out []string
	for k := range c.Budget.Supplies() {
		if p.On.Meter.Of(k).Pixels() > 0 {
			out = append(out, c.Budget.At(k).String())
		}
	}
	return strings.Join(out, " and ")
}

// LeftOf is what a clip has left of its light: "61.2 %", or where frames have
// gains of their own "61.2 % (at the least 37.0 %)".
func LeftOf(c *render.Codes) string {
	if c.Gains == nil {
		return fmt.Sprintf("%.1f %%", Percent(c.Gain))
	}
	l := c.Light()
	return fmt.Sprintf("%.1f %% (at the least %.1f %%)", 100*l.Mean, 100*l.Least)
}

// swing tells how fast a momentary gain moves.
func (p *Project) swing(c *render.Codes) string {
	if p.Show.Cap != show.CapMoment || c.Gains == nil {
		return ""
	}
	return fmt.Sprintf("; its gain changes by at most %.0f %% a second", Percent(c.Swing()*uint32(p.Show.FPS)))
}

// Percent is a gain k/65536 in per cent.
func Percent(gain uint32) float64 { return 100 * float64(gain) / drive.FullGain }

// Pack writes the table and reads it back.
func (p *Project) Pack(how table.Pack, workers int) {
	if p.Found.Err() != nil {
		return
	}
	t, err := table.NewShow(p.Show, p.Machine, p.On.Layout)
	if err != nil {
		p.take(err, p.Show.File)
		return
	}
	p.TableShow = t
	var clips []table.Clip
	for i, c := range p.Codes {
		clip := table.Clip{
			Name: p.Clips[i].Name, Frames: c.Frames, Channels: c.Channels, Bytes: c.Bytes, Current: c.Current,
			Loop: !p.Clips[i].Follow, Value: p.Clips[i].Follow, Random: p.Clips[i].Random,
		}
		if c.Fine != nil {
			differ, err := p.On.Differ(c.Gain)
			if err != nil {
				p.take(err, p.Machine.File)
				return
			}
			clip.Smooth = &table.Smooth{Fine: c.Fine, Limits: c.Budget.Limits(), Differ: differ}
		}
		clips = append(clips, clip)
	}
	var b bytes.Buffer
	o := table.Options{Pack: how, Workers: workers}
	o.Progress = p.Packing
	o.Work, o.Cycles = p.Room(t)
	if p.Memory != nil {
		o.Kept = &p.Memory.packed
	}
	p.Report, err = table.Write(&b, t, clips, o)
	if err != nil {
		p.take(err, p.Show.File)
		return
	}
	p.Bytes = b.Bytes()
	p.Table = p.Report.Table
}

// Room is what the controller leaves to unpacking: bytes of memory, and processor
// cycles a frame; 0 where the machine file does not say.
func (p *Project) Room(t *table.Show) (work, cycles int) {
	c := &p.Machine.Controller
	if c.RAM > 0 {
		config := table.DefaultConfig(0)
		config.Together = c.Together
		rest := config.Memory(t)
		work = max(int(c.RAM)-int(c.MachineRAM)-rest.Sum(), 1)
	}
	if c.Clock > 0 {
		frame := int64(float64(c.Clock)) / int64(t.FPS)
		wire := play.WireTime(t, c.Together) * int64(float64(c.Clock)) / 1_000_000
		left := (frame - wire) * (1_000_000 - int64(c.MachineShare)) / 1_000_000
		cycles = int(max(left-int64(t.Pixels())*table.CountCycles-table.RowCycles(t, c.Together), 1))
	}
	return work, cycles
}

// Workers is how many clips are worked on at once.
func Workers() int { return runtime.GOMAXPROCS(0) }

// names lets the files' check judge words of the animation's vocabulary.
func names() show.Names {
	return show.Names{
		Easing: func(s string) error {
			if s == "" {
				return nil
			}
			_, err := easing.Parse(s)
			return err
		},
		Blend: func(s string) error { _, err := blend.Parse(s); return err },
	}
}
