package show

import (
	"fmt"
	"strconv"
	"strings"

	"paneglow/anim/finding"
	"paneglow/anim/unit"
)

// Days are the words of a level's weekdays, from Monday.
var Days = []string{"mon", "tue", "wed", "thu", "fri", "sat", "sun"}

// ParseShow reads show.toml. file names it in findings. The Show is never nil;
// it is complete when the list holds no error. What needs the machine, or
// several tables at once, is CheckShow's.
func ParseShow(file string, src []byte) (*Show, finding.List) {
	w := &Show{File: file, Source: src}
	root, tr := grow(file, src)
	d := &decoder{list: tr.list}
	if d.mistaken(root, ofShow, ofMachine, "this is a machine file; a show file is wanted", `name the file whose machine = "..." names this one`) {
		return w, d.list
	}
	s := d.scope(root, "the show file")
	s.t.broken = s.t.broken || tr.bad
	w.Keys = s.keys
	w.Title = s.text("title", `title = "Umbrella cabinet at a tram stop"`, true)
	w.MachineFile = s.text("machine", `machine = "machine.toml"`, true)
	w.FPS = s.integer("fps", "fps = 40", true, 0, 1, 120)
	w.Cap, w.Window = readCap(s)
	w.Encoding = readEncoding(s)
	if h := s.sub("host", "a table [host]", false); h != nil {
		h.path, h.title = "", "[host]"
		h.keys = Keys{}
		w.Host = Host{Pos: h.t.pos, Keys: h.keys,
			Silence: quantity(h, "silence", "5 s", true, 0, unit.ParseTime, above(unit.Time(0))),
			Then:    h.text("then", `then = "rest"`, true)}
		h.done()
	}
	for _, c := range s.tables("clip", "a table [[clip]]", true) {
		w.Clips = append(w.Clips, readClip(c))
	}
	for _, x := range s.tables("state", "a table [[state]]", true) {
		w.States = append(w.States, readState(x))
	}
	for _, l := range s.tables("level", "a table [[level]]", false) {
		w.Levels = append(w.Levels, readLevel(l))
	}
	s.done()
	unique(d, "clip", w.Clips, func(c *Clip) (string, Pos) { return c.Name, c.Keys.At("name", c.Pos) })
	unique(d, "state", w.States, func(x *State) (string, Pos) { return x.Name, x.Keys.At("name", x.Pos) })
	d.list.Sort()
	return w, d.list
}

// DefaultWindow is what a cap "moment" smooths its gain over when it does not
// say: slow enough not to be seen as a pulse, fast enough to give light back.
const DefaultWindow = unit.Time(1e9)

// readCap reads "show", "clip", "moment" or "moment 2 s".
func readCap(s *scope) (Cap, unit.Time) {
	n := s.want(kindText, "cap", `cap = "show"`, false)
	if n == nil {
		return CapShow, DefaultWindow
	}
	word, rest, timed := strings.Cut(n.text, " ")
	switch {
	case n.text == "show":
		return CapShow, DefaultWindow
	case n.text == "clip":
		return CapClip, DefaultWindow
	case word == "moment" && timed:
		at := *n
		at.text = rest
		// Under a tenth of a second the gain would be seen to pump.
		w := measure(s, &at, "cap", "1 s", unit.ParseTime, within(unit.Time(100e6), 60e9))
		return CapMoment, w
	case word == "moment":
		return CapMoment, DefaultWindow
	}
	words := []string{"show", "clip", "moment"}
	s.d.fail(n.pos, "show.unknown_word", fmt.Sprintf("cap: %q is none of show, clip, moment", n.text), suggest(n.text, words))
	return CapShow, DefaultWindow
}

func readEncoding(s *scope) Encoding {
	n := s.want(kindText, "encoding", `encoding = "srgb"`, false)
	if n == nil || n.text == "srgb" {
		return Encoding{}
	}
	if digits, ok := strings.CutPrefix(n.text, "gamma "); ok {
		g, err := strconv.ParseFloat(digits, 64)
		if err == nil && g >= 1 && g <= 3 {
			return Encoding{Gamma: g}
		}
		s.d.fail(n.pos, "show.out_of_range", fmt.Sprintf("encoding: gamma %s is not a number from 1 to 3", digits), `write "gamma 2.2"`)
		return Encoding{}
	}
	s.d.fail(n.pos, "show.unknown_word", fmt.Sprintf("encoding: %q is not an encoding", n.text), `write "srgb" or "gamma 2.2"`)
	return Encoding{}
}

func readClip(s *scope) Clip {
	c := Clip{Pos: s.t.pos, Keys: s.keys}
	c.Name = s.name("clip", `name = "rest"`)
	c.Length = quantity(s, "length", "12 s", false, 0, unit.ParseTime, above(unit.Time(0)))
	c.Iterations = s.integer("iterations", "iterations = 1", false, 1, 1, 1000)
	c.Direction = Direction(s.one("direction", `direction = "alternate"`, false, "normal", "reverse", "alternate", "alternate-reverse"))
	if c.Easing = s.text("easing", `easing = "ease-in-out"`, false); c.Easing == "" {
		c.Easing = "linear"
	}
	if s.t.get("follow") != nil {
		c.Follow = "value"
	}
	s.one("follow", `follow = "value"`, false, "value")
	c.Start = [...]string{"first", "random"}[s.one("start", `start = "random"`, false, "first", "random")]
	c.Keep = [...]string{"exact", "smooth"}[s.one("keep", `keep = "smooth"`, false, "exact", "smooth")]
	for _, l := range s.tables("layer", "a table [[clip.layer]]", true) {
		l.title = fmt.Sprintf("%s of %s", l.title, s.title)
		c.Layers = append(c.Layers, readLayer(l))
	}
	s.done()
	return c
}

func readLayer(s *scope) Layer {
	l := Layer{Pos: s.t.pos, Keys: s.keys}
	l.Pattern = s.text("pattern", `pattern = "eaves"`, false)
	l.Picture = s.text("picture", `picture = "thanks.png"`, false)
	if l.As = [...]string{"srgb", "exact", "seen"}[s.one("as", `as = "exact"`, false, "srgb", "exact", "seen")]; l.Picture == "" {
		l.As = ""
	}
	l.Targets = s.integer("targets", "targets = 8", false, 1, 1, 100_000)
	if n := s.want(kindTable, "with", `with = { every = "6 s" }`, false); n != nil {
		l.With = map[string]Control{}
		for _, e := range n.table.entries {
			k, ok := map[kind]byte{kindText: 's', kindInt: 'n', kindFloat: 'n', kindBool: 'b'}[e.val.kind]
			if !ok {
				s.d.fail(e.val.pos, "show.wrong_type", fmt.Sprintf("control %s is %s", e.key, e.val.kind), "write a text, a number, true or false")
				continue
			}
			l.With[e.key] = Control{Pos: e.val.pos, Text: e.val.text, Kind: k}
		}
	}
	l.Strips = s.texts("strips", `strips = ["top"]`, false, 1)
	l.Opacity = s.number("opacity", "opacity = 0.5", false, 1, 0, 1)
	if l.Blend = s.text("blend", `blend = "screen"`, false); l.Blend == "" {
		l.Blend = "normal"
	}
	if n := s.want(kindInt, "seed", "seed = 1", false); n != nil {
		v, err := strconv.ParseInt(strings.ReplaceAll(n.text, "_", ""), 0, 64)
		if err != nil {
			s.d.fail(n.pos, "show.out_of_range", fmt.Sprintf("seed: %s has more than 63 bits", n.text), "write a smaller whole number")
		}
		l.Seed = v
	}
	s.done()
	return l
}

func readState(s *scope) State {
	x := State{Pos: s.t.pos, Keys: s.keys}
	x.Name = s.name("state", `name = "rest"`)
	x.Clip = s.text("clip", `clip = "rest"`, false)
	x.HandOver, x.Fade = readHandOver(s)
	x.Loads = s.texts("loads", `loads = ["carousel"]`, false, 0)
	x.Listens = s.texts("listens", `listens = ["slot"]`, false, 0)
	x.Still = s.flag("still", "still = true")
	x.AtMost = quantity(s, "at_most", "12 s", false, 0, unit.ParseTime, above(unit.Time(0)))
	x.Then = s.text("then", `then = "fault"`, false)
	s.done()
	return x
}

func readHandOver(s *scope) (HandOver, unit.Time) {
	const fix = `write "cut", "crossfade 0.4 s" or "finish"`
	n := s.want(kindText, "hand_over", `hand_over = "crossfade 0.4 s"`, false)
	if n == nil {
		return Cut, 0
	}
	word, rest, _ := strings.Cut(n.text, " ")
	switch {
	case n.text == "cut":
		return Cut, 0
	case n.text == "finish":
		return Finish, 0
	case n.text == "crossfade":
		s.d.fail(n.pos, "show.hand_over", "hand_over: a crossfade needs its time", `write "crossfade 0.4 s"`)
	case word == "crossfade":
		at := *n
		at.text = rest
		// A minute of crossfade is longer than any state is worth waiting for.
		fade := measure(s, &at, "hand_over", "0.4 s", unit.ParseTime, limit[unit.Time]{lo: 0, hi: 60e9, open: true})
		return Crossfade, fade
	default:
		s.d.fail(n.pos, "show.hand_over", fmt.Sprintf("hand_over: %q is no hand-over", n.text), fix)
	}
	return Cut, 0
}

func readLevel(s *scope) LevelAt {
	l := LevelAt{Pos: s.t.pos, Keys: s.keys}
	if n := s.want(kindText, "from", `from = "22:00"`, true); n != nil {
		h, m, ok := clock(n.text)
		if !ok {
			s.d.fail(n.pos, "show.time_of_day", fmt.Sprintf("from: %q is not a time of day", n.text), `write hours and minutes from "00:00" to "23:59"`)
		}
		l.From = unit.Time(h*60+m) * 60e9
	}
	l.Days = s.texts("days", `days = ["sat", "sun"]`, false, 1)
	for i, day := range l.Days {
		known := false
		for _, k := range Days {
			known = known || k == day
		}
		if !known {
			s.d.fail(s.keys.At(fmt.Sprintf("days[%d]", i), s.t.pos), "show.unknown_word", fmt.Sprintf("days: %q is none of %s", day, strings.Join(Days, ", ")), suggest(day, Days))
		}
	}
	l.Level = quantity(s, "level", "40 %", true, 0, unit.ParseShare, within(unit.Share(10000), 1000000))
	s.done()
	return l
}

// clock reads "22:00".
func clock(text string) (h, m int, ok bool) {
	if len(text) != 5 || text[2] != ':' {
		return 0, 0, false
	}
	h, e1 := strconv.Atoi(text[:2])
	m, e2 := strconv.Atoi(text[3:])
	if e1 != nil || e2 != nil || strings.ContainsAny(text, "+-") || h > 23 || m > 59 {
		return 0, 0, false
	}
	return h, m, true
}
