package show

import (
	"fmt"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// MaxFrames is the most frames of one clip, iterations included: half an hour
// at 60 a second. A state repeats its clip for ever anyway.
const MaxFrames = 108000

// Names judges words whose lists belong to other packages: easing functions
// and blend modes. A nil func accepts everything; the error's text becomes the
// finding's message.
type Names struct {
	Easing, Blend func(string) error
}

// CheckShow finds what no single value of the show file shows: clips, states,
// loads, sensors and strips that are not there, lengths that are no whole
// number of frames, stays that lead nowhere. m may be nil: then names of the
// machine are not checked. Only the first Names counts.
func CheckShow(s *Show, m *Machine, n ...Names) finding.List {
	d := &decoder{}
	var judge Names
	if len(n) > 0 {
		judge = n[0]
	}
	for i := range s.Clips {
		checkClip(d, s, &s.Clips[i], m, judge)
	}
	d.checkStates(s, m)
	if s.Host.Then != "" && s.State(s.Host.Then) == nil {
		d.fail(s.Host.Keys.At("then", s.Host.Pos), "show.unknown_state", fmt.Sprintf("there is no state %q for a silent host", s.Host.Then), suggest(s.Host.Then, s.stateNames()))
	}
	d.checkLevels(s)
	d.list.Sort()
	return d.list
}

// Clip finds a clip by name; nil when it is not there.
func (s *Show) Clip(name string) *Clip {
	for i := range s.Clips {
		if s.Clips[i].Name == name {
			return &s.Clips[i]
		}
	}
	return nil
}

// State finds a state by name; nil when it is not there.
func (s *Show) State(name string) *State {
	for i := range s.States {
		if s.States[i].Name == name {
			return &s.States[i]
		}
	}
	return nil
}

func (s *Show) clipNames() []string  { return names(s.Clips, func(c *Clip) string { return c.Name }) }
func (s *Show) stateNames() []string { return names(s.States, func(x *State) string { return x.Name }) }

// Frames is the number of frames of one iteration of a clip: 256 when it
// follows the value, 0 when its length is no whole number of frames.
func (c *Clip) Frames(fps int) int {
	if c.Follow != "" {
		return 256
	}
	ticks := int64(c.Length) * int64(fps) // below 3.6e15 * 120, within 63 bits
	if ticks%1e9 != 0 {
		return 0
	}
	return int(ticks / 1e9)
}

func checkClip(d *decoder, s *Show, c *Clip, m *Machine, judge Names) {
	_, given := c.Keys["length"]
	switch {
	case c.Follow != "" && (c.Length > 0 || given):
		d.fail(c.Keys.At("length", c.Pos), "show.length_and_follow", fmt.Sprintf("clip %q follows the value and has a length", c.Name), "remove length: a following clip has 256 frames, one for each value")
	case c.Follow == "" && c.Length <= 0 && !given:
		d.fail(c.Pos, "show.no_length", fmt.Sprintf("clip %q has no length", c.Name), `add length = "12 s", or follow = "value"`)
	case c.Follow == "" && c.Length > 0 && s.FPS > 0 && c.Frames(s.FPS) == 0:
		d.fail(c.Keys.At("length", c.Pos), "show.not_whole_frames",
			fmt.Sprintf("clip %q lasts %s, which is %s frames at %d a second", c.Name, c.Length, frames(c.Length, s.FPS), s.FPS), wholeLengths(c.Length, s.FPS))
	}
	if n := int64(c.Frames(s.FPS)) * int64(max(c.Iterations, 1)); n > MaxFrames {
		d.fail(c.Keys.At("length", c.Pos), "show.too_many_frames", fmt.Sprintf("clip %q has %d frames, the most is %d", c.Name, n, MaxFrames), "shorten it or lower iterations: a state repeats its clip anyway")
	}
	if c.Start == "random" && c.Follow != "" {
		d.fail(c.Keys.At("start", c.Pos), "show.start", fmt.Sprintf("clip %q begins at random and follows the value", c.Name), "remove start: the value says which frame shows")
	}
	if c.Keep == "smooth" {
		what := ""
		if c.Follow != "" {
			what = "follows the value"
		}
		for i := range c.Layers {
			if c.Layers[i].As == "exact" {
				what = "is a picture of exact codes"
			}
		}
		if what != "" {
			d.fail(c.Keys.At("keep", c.Pos), "show.keep", fmt.Sprintf("clip %q is to be kept smooth and %s", c.Name, what), `remove keep: such a clip keeps every frame equal`)
		}
	}
	if judge.Easing != nil {
		if err := judge.Easing(c.Easing); err != nil {
			d.fail(c.Keys.At("easing", c.Pos), "show.easing", "easing: "+err.Error(), "write an easing function of CSS, such as ease-in-out or steps(4, jump-end)")
		}
	}
	if len(c.Layers) == 0 && len(c.Keys) == 0 {
		d.fail(c.Pos, "show.no_layer", fmt.Sprintf("clip %q has no layer", c.Name), "add a table [[clip.layer]]")
	}
	for i := range c.Layers {
		checkLayer(d, c, i, m, judge)
	}
	for i := range s.States {
		if s.States[i].Clip == c.Name {
			return
		}
	}
	if c.Name != "" {
		d.list = append(d.list, finding.At(c.Keys.At("name", c.Pos), finding.Warning, "show.clip_never_shown", fmt.Sprintf("no state shows clip %q", c.Name), "name it as the clip of a state, or remove it"))
	}
}

// frames prints length * fps with as many decimals as say that it is not whole.
func frames(t unit.Time, fps int) string {
	ticks := int64(t) * int64(fps)
	text := fmt.Sprintf("%d.%09d", ticks/1e9, ticks%1e9)
	for text[len(text)-1] == '0' {
		text = text[:len(text)-1]
	}
	return text
}

// wholeLengths names the nearest lengths on both sides that are a whole number
// of frames and of nanoseconds.
func wholeLengths(t unit.Time, fps int) string {
	// n frames last n*1e9/fps ns: whole for the multiples of fps/gcd(fps, 1e9).
	step := int64(fps) / gcd(int64(fps), 1e9)
	below := int64(t) * int64(fps) / 1e9 / step * step
	length := func(n int64) unit.Time { return unit.Time(n * 1e9 / int64(fps)) }
	if below <= 0 {
		return fmt.Sprintf("write %q (%d frames)", length(step), step)
	}
	return fmt.Sprintf("write %q (%d frames) or %q (%d)", length(below), below, length(below+step), below+step)
}

func gcd(a, b int64) int64 {
	for b != 0 {
		a, b = b, a%b
	}
	return a
}

func checkLayer(d *decoder, c *Clip, i int, m *Machine, judge Names) {
	l := &c.Layers[i]
	title := fmt.Sprintf("layer %d of clip %q", i+1, c.Name)
	_, as := l.Keys["as"]
	_, with := l.Keys["with"]
	switch {
	case l.Pattern == "" && l.Picture == "":
		d.fail(l.Pos, "show.no_source", title+" has no source", `add pattern = "eaves" or picture = "rows.png"`)
	case l.Pattern != "" && l.Picture != "":
		d.fail(l.Keys.At("picture", l.Pos), "show.two_sources", title+" has a pattern and a picture", "keep one; give the other a layer of its own")
	case l.Picture != "" && (with || len(l.With) > 0):
		d.fail(l.Keys.At("with", l.Pos), "show.controls_of_picture", title+" sets controls, but a picture has none", "remove with")
	case l.Pattern != "" && as:
		d.fail(l.Keys.At("as", l.Pos), "show.as_of_pattern", title+" says as, but a pattern gives light already", "remove as")
	}
	if judge.Blend != nil {
		if err := judge.Blend(l.Blend); err != nil {
			d.fail(l.Keys.At("blend", l.Pos), "show.blend", "blend: "+err.Error(), "write a blend mode of W3C Compositing, such as screen or multiply")
		}
	}
	if m == nil {
		return
	}
	for j, name := range l.Strips {
		if m.Strip(name) == nil {
			d.unknown(l.Keys.At(fmt.Sprintf("strips[%d]", j), l.Pos), "strip", name, m.stripNames())
		}
	}
}

func (d *decoder) checkStates(s *Show, m *Machine) {
	for i := range s.States {
		x := &s.States[i]
		if _, given := x.Keys["clip"]; x.Clip == "" && !given {
			d.fail(x.Pos, "show.no_clip", fmt.Sprintf("state %q shows no clip", x.Name), `add clip = "rest"`)
		} else if x.Clip != "" && s.Clip(x.Clip) == nil {
			d.fail(x.Keys.At("clip", x.Pos), "show.unknown_clip", fmt.Sprintf("there is no clip %q", x.Clip), suggest(x.Clip, s.clipNames()))
		}
		_, limited := x.Keys["at_most"]
		limited = limited || x.AtMost > 0
		switch {
		case limited && x.Then == "":
			d.fail(x.Keys.At("at_most", x.Pos), "show.stay_without_then", fmt.Sprintf("state %q has a longest stay and no state to go to", x.Name), `add then = "rest"`)
		case x.Then != "" && !limited:
			d.fail(x.Keys.At("then", x.Pos), "show.then_without_stay", fmt.Sprintf("state %q names a next state and no longest stay", x.Name), `add at_most = "12 s"`)
		case !limited && len(s.States) > 1 && x.Name != s.Host.Then:
			d.list = append(d.list, finding.At(x.Keys.At("name", x.Pos), finding.Note, "show.no_exit", fmt.Sprintf("state %q has no way out of its own: it stays until the machine says otherwise", x.Name), `add at_most and then, if a lost message must not keep it there`))
		}
		if x.Then != "" && s.State(x.Then) == nil {
			d.fail(x.Keys.At("then", x.Pos), "show.unknown_state", fmt.Sprintf("there is no state %q to go to", x.Then), suggest(x.Then, s.stateNames()))
		} else if x.Then != "" && x.Then == x.Name {
			d.fail(x.Keys.At("then", x.Pos), "show.then_itself", fmt.Sprintf("state %q leads to itself", x.Name), "name another state, or remove at_most and then")
		}
		if m == nil {
			continue
		}
		for j, name := range x.Loads {
			if there := names(m.Loads, func(l *Load) string { return l.Name }); !has(there, name) {
				d.unknown(x.Keys.At(fmt.Sprintf("loads[%d]", j), x.Pos), "load", name, there)
			}
		}
		for j, name := range x.Listens {
			if there := names(m.Sensors, func(l *Sensor) string { return l.Name }); !has(there, name) {
				d.unknown(x.Keys.At(fmt.Sprintf("listens[%d]", j), x.Pos), "sensor", name, there)
			}
		}
	}
}

func has(list []string, word string) bool {
	for _, w := range list {
		if w == word {
			return true
		}
	}
	return false
}

// checkLevels tells two levels that begin at the same minute of a day: which
// one holds would be a guess.
func (d *decoder) checkLevels(s *Show) {
	for i := range s.Levels {
		a := &s.Levels[i]
		for j := range s.Levels[:i] {
			if b := &s.Levels[j]; a.From == b.From && sharesDay(a.Days, b.Days) {
				d.fail(a.Keys.At("from", a.Pos), "show.level_twice", fmt.Sprintf("level %d begins at the same time of the same day as level %d", i+1, j+1), "move one, or give them different days")
			}
		}
	}
}

func sharesDay(a, b []string) bool {
	if len(a) == 0 || len(b) == 0 {
		return true
	}
	for _, day := range a {
		if has(b, day) {
			return true
		}
	}
	return false
}
