package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"paneglow/anim"
	"paneglow/anim/blend"
	"paneglow/anim/easing"
	"paneglow/anim/finding"
	"paneglow/anim/show"
	"paneglow/patterns"
	"paneglow/render"
	"paneglow/render/drive"
	"paneglow/render/power"
	"paneglow/render/table"
)

// project is a show on its way to a table. Each stage fills its part and adds
// to the findings; a stage is only entered while they hold no error.
type project struct {
	show    *show.Show
	machine *show.Machine
	hw      *render.Hardware
	clips   []*anim.Clip
	budgets []power.Budget
	codes   []*render.Codes

	tableShow *table.Show
	bytes     []byte
	report    table.Report
	table     *table.Table

	copper  *copper // nil where it cannot be worked out
	compare bool    // finish also works out what other cap policies would leave
	found   finding.List
}

func (p *project) add(sev finding.Severity, code, where, fix, message string, args ...any) {
	p.found = append(p.found, finding.Finding{Code: code, Severity: sev, Where: where, Message: fmt.Sprintf(message, args...), Fix: fix})
}

// showFile finds the show: a file, or a folder that holds show.toml.
func showFile(path string) string {
	if st, err := os.Stat(path); err == nil && st.IsDir() {
		return filepath.Join(path, "show.toml")
	}
	return path
}

// open reads, checks and builds a show, on another machine if one is named.
// The returned project is complete when its findings hold no error.
func open(path, machine string) *project {
	p := &project{}
	s, found := show.LoadShow(showFile(path))
	p.show, p.found = s, found
	if s == nil {
		return p
	}
	if machine == "" {
		if s.MachineFile == "" {
			return p // already told: a show names its machine
		}
		machine = filepath.Join(s.Dir, filepath.FromSlash(s.MachineFile))
	}
	m, found := show.LoadMachine(machine)
	p.machine, p.found = m, append(p.found, found...)
	if m == nil {
		return p
	}
	// Also after errors: what fits what can be told now, and saves a round.
	p.found = append(p.found, show.CheckShow(s, m, names())...)
	if p.found.Err() != nil {
		p.found.Sort()
		return p
	}
	hw, err := render.NewHardware(m)
	if err != nil {
		p.take(err, m.File)
		return p
	}
	p.hw = hw
	clips, found := anim.Build(s, hw.Layout, anim.Options{Pattern: patterns.Source, Patterns: patterns.Names()})
	p.clips, p.found = clips, append(p.found, found...)
	p.budgets = power.ClipBudgets(s, m)
	p.found = append(p.found, power.CheckLoads(s, m)...)
	p.found = append(p.found, power.CheckSlew(m, hw.Meter, s.FPS)...)
	p.found = append(p.found, power.BootFlash(m, hw.Meter)...)
	return p
}

func (p *project) take(err error, where string) {
	var list finding.List
	var one finding.Finding
	switch {
	case errors.As(err, &list):
		p.found = append(p.found, list...)
	case errors.As(err, &one):
		p.found = append(p.found, one)
	default:
		p.add(finding.Error, "machine.unusable", where, "", "%v", err)
	}
}

// finish makes the final codes.
func (p *project) finish(workers int, progress func(frames int)) {
	if p.found.Err() != nil {
		return
	}
	plan := render.PlanOf(p.show, p.machine)
	plan.Compare = p.compare
	codes, err := render.FinishPlan(p.clips, p.hw, p.budgets, plan, workers, progress)
	if err != nil {
		p.takeFinish(err)
		return
	}
	p.codes = codes
	for i, c := range codes {
		p.tellCap(p.clips[i], c)
		p.tellMiss(p.clips[i], c)
	}
}

// takeFinish puts a failed clip into words.
func (p *project) takeFinish(err error) {
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
		p.add(finding.Error, "power.idle_over_budget", where, fix, "%v", idle)
	case errors.As(err, &over):
		p.add(finding.Error, "power.over_budget", where, `darken the picture, or use as = "srgb" so that it may be scaled`, "%v", over)
	case errors.As(err, &slew):
		p.add(finding.Error, "power.slew", where, `a gentler picture, as = "srgb" so that it may be scaled, or a larger slew`, "%v", slew)
	default:
		p.add(finding.Error, "clip.failed", where, "", "%v", err)
	}
}

// tellCap says where the budget bites and what it costs, and what the dies
// cannot show.
func (p *project) tellCap(clip *anim.Clip, c *render.Codes) {
	where := fmt.Sprintf("clip %q", clip.Name)
	if n := c.Bites(); n > 0 {
		at, most := c.WantedPeak()
		p.add(finding.Note, "power.cap_bites", fmt.Sprintf("%s, frame %d", where, at), "",
			"%d of %d frames want more than the budget of %v, most %s: the clip plays at %s of its light%s",
			n, c.Frames, c.Budget, power.Amps(most), leftOf(c), p.swing(c))
	}
	if held := c.Held(); held > 0 {
		p.add(finding.Note, "power.slew_holds", where, "a larger slew where the supply can take it, or slower changes in the pattern",
			"%d of %d frames are held back so that the current changes no faster than the supply's slew: the clip plays at %s of its light", held, c.Frames, leftOf(c))
	}
	if total := c.Frames * len(p.hw.Layout.Pixels); c.Clipped*100 > total {
		p.add(finding.Warning, "color.clipped", where, "darken the pattern, or choose less saturated colors",
			"%.0f %% of its light is brighter or more saturated than the LEDs can show, and was clipped", 100*float64(c.Clipped)/float64(total))
	}
}

// leftOf is what a clip has left of its light: "61.2 %", or where frames have
// gains of their own "61.2 % (at the least 37.0 %)".
func leftOf(c *render.Codes) string {
	if c.Gains == nil {
		return fmt.Sprintf("%.1f %%", percent(c.Gain))
	}
	l := c.Light()
	return fmt.Sprintf("%.1f %% (at the least %.1f %%)", 100*l.Mean, 100*l.Least)
}

// swing tells how fast a momentary gain moves.
func (p *project) swing(c *render.Codes) string {
	if p.show.Cap != show.CapMoment || c.Gains == nil {
		return ""
	}
	return fmt.Sprintf("; its gain changes by at most %.0f %% a second", percent(c.Swing()*uint32(p.show.FPS)))
}

func percent(gain uint32) float64 { return 100 * float64(gain) / drive.FullGain }

// pack writes the table and reads it back.
func (p *project) pack(how table.Pack, workers int) {
	if p.found.Err() != nil {
		return
	}
	t, err := table.NewShow(p.show, p.machine, p.hw.Layout)
	if err != nil {
		p.take(err, p.show.File)
		return
	}
	p.tableShow = t
	var clips []table.Clip
	for i, c := range p.codes {
		clips = append(clips, table.Clip{
			Name: p.clips[i].Name, Frames: c.Frames, Channels: c.Channels, Bytes: c.Bytes, Current: c.Current,
			Loop: !p.clips[i].Follow, Value: p.clips[i].Follow,
		})
	}
	var b bytes.Buffer
	p.report, err = table.Write(&b, t, clips, table.Options{Pack: how, Workers: workers})
	if err != nil {
		p.take(err, p.show.File)
		return
	}
	p.bytes = b.Bytes()
	p.table = p.report.Table
}

// workers is how many clips are worked on at once.
func workers() int { return runtime.GOMAXPROCS(0) }

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
