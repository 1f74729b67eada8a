package script

import (
	"fmt"
	"math"
	"strings"
	"time"

	"go.starlark.net/starlark"

	"paneglow/anim/finding"
	"paneglow/anim/layout"
	"paneglow/anim/show"
)

// Options say what a pattern is traced for.
type Options struct {
	Layout *layout.Layout
	With   map[string]show.Control // what its controls are set to
	Frames int                     // of the clip; with Value always 256
	FPS    int                     // frames a second
	Value  bool                    // the clip follows a value: frame = value, there is no time
	Loop   bool                    // frame 0 follows the last frame
	Seed   int64                   // of the layer; joins the script's own seeds
	Gamma  float64                 // how 8-bit colors are decoded: 0 by the sRGB curve, else by this exponent
	// Easing bends now.progress; nil is linear. It is asked for 0..1 and gives
	// output progress as in CSS Easing; what leaves -2..3 is clamped.
	Easing func(float64) float64
}

// tracer is one run of a script that builds a graph.
type tracer struct {
	src      *source
	b        *builder
	opt      *Options
	thread   *starlark.Thread
	with     starlark.StringDict
	controls []Control
	cycles   []Cycle
	hints    finding.List
	told     map[string]bool
	trails   int
}

const tracerKey = "tracer"

func tracerOf(th *starlark.Thread) *tracer { return th.Local(tracerKey).(*tracer) }

// locate notes where in the script the running builtin was called.
func (t *tracer) locate(th *starlark.Thread) {
	if th.CallStackDepth() > 1 {
		t.b.at = placeOf(th.CallFrame(1).Pos)
	}
}

// hint tells something once a place.
func (t *tracer) hint(sev finding.Severity, code, message, fix string) {
	f := finding.At(t.src.pos(t.b.at), sev, "script."+code, message, fix)
	if key := f.Error(); !t.told[key] {
		t.told[key] = true
		t.hints = append(t.hints, f)
	}
}

// Trace runs the script once for a layout and a clip and gives the graph of
// what it computes. Controls are decided now: a branch on a control leaves only
// the branch taken. Errors of With stand where the show sets the control.
func (p *Pattern) Trace(o Options) (*Graph, error) {
	switch {
	case o.Layout == nil || len(o.Layout.Pixels) == 0:
		return nil, p.src.err(place{}, "options", "a pattern is traced for a layout with pixels, this has none", "give the panel a strip")
	case o.Value:
		o.Frames, o.Loop = 256, false
		o.FPS = max(o.FPS, 1)
	case o.Frames < 1 || o.Frames > 1<<24:
		return nil, p.src.err(place{}, "options", fmt.Sprintf("a clip has 1 to %d frames, not %d", 1<<24, o.Frames), "")
	case o.FPS < 1 || o.FPS > 1000:
		return nil, p.src.err(place{}, "options", fmt.Sprintf("a clip has 1 to 1000 frames a second, not %d", o.FPS), "")
	}
	with, err := p.settle(o.With, o.Gamma)
	if err != nil {
		return nil, err
	}
	t := &tracer{src: p.src, b: newBuilder(), opt: &o, with: with, told: map[string]bool{}}
	t.measure()
	fn, err := t.run(p)
	if err != nil {
		return nil, err
	}
	stop := time.AfterFunc(wallClock, func() { t.thread.Cancel("the clock") })
	defer stop.Stop()
	v, err := starlark.Call(t.thread, fn, starlark.Tuple{&spot{t}, &moment{t}}, nil)
	if err != nil {
		return nil, p.src.explain(err)
	}
	g := &Graph{src: p.src, opt: o, cycles: t.cycles, hints: t.hints}
	f, ok := v.(*Field)
	if c, isColor := v.(*Color); isColor {
		f, err = t.field(c)
		if err != nil {
			return nil, err
		}
		ok = true
	}
	if !ok || f.shape != light {
		fix := "multiply a color by it: return tint * x"
		if !ok {
			fix = "return light: a color, or a color multiplied by numbers"
			if _, isRamp := v.(*Ramp); isRamp {
				fix = "look it up: return palette(t)"
			}
		}
		return nil, p.src.err(placeOf(fn.Position()), "no_light", "light returns "+kindOf(v)+", not light", fix)
	}
	g.out = f.id
	g.nodes, g.palettes = t.b.nodes, t.b.palettes
	return g, nil
}

// measure notes the bounds of the leaves for this layout and clip.
func (t *tracer) measure() {
	o, s := t.opt, &t.b.spans
	s[opSeconds] = [2]float64{0, float64(o.Frames) / float64(o.FPS)}
	s[opProgress], s[opValue] = [2]float64{0, 1}, [2]float64{0, 1}
	if o.Easing != nil {
		s[opProgress] = [2]float64{progressLow, progressHigh}
	}
	for k := opX; k <= opStrip; k++ {
		s[k] = [2]float64{math.Inf(1), math.Inf(-1)}
	}
	for i := range o.Layout.Pixels {
		px := &o.Layout.Pixels[i]
		for k, v := range map[op]float64{
			opX: px.X, opY: px.Y, opU: px.U, opV: px.V, opAlong: px.Along, opIndex: float64(px.Index),
			opStrip: float64(px.Strip), opCount: float64(o.Layout.Strips[px.Strip].Count),
		} {
			s[k] = [2]float64{math.Min(s[k][0], v), math.Max(s[k][1], v)}
		}
	}
	for k := opX; k <= opStrip; k++ {
		s[k][0], s[k][1] = wide(s[k][0], s[k][1]) // positions round to float32
	}
}

// attributes are all names that may stand after a dot.
var attributes = map[string]bool{
	"x": true, "y": true, "z": true, "r": true, "g": true, "b": true, "append": true,
	"u": true, "v": true, "along": true, "index": true, "count": true, "strip": true, "on": true,
	"cycle": true, "progress": true, "seconds": true, "value": true,
}

func attributeNames() []string { return sortedKeys(attributes) }

// spot is at: where a pixel is.
type spot struct{ t *tracer }

var spots = map[string]op{
	"x": opX, "y": opY, "u": opU, "v": opV, "along": opAlong,
	"index": opIndex, "count": opCount, "strip": opStrip,
}

func (s *spot) String() string        { return "at" }
func (s *spot) Type() string          { return "at" }
func (s *spot) Freeze()               {}
func (s *spot) Truth() starlark.Bool  { return true }
func (s *spot) Hash() (uint32, error) { return 0, wrong("shape", "", "at is not a key") }

// AttrNames lists the fields.
func (s *spot) AttrNames() []string { return append(sortedKeys(spots), "on") }

// Attr is a field of all pixels.
func (s *spot) Attr(name string) (starlark.Value, error) {
	if o, ok := spots[name]; ok {
		return s.t.one(s.t.b.put(o, 0))
	}
	if name != "on" {
		return nil, wrong("attribute", "there are .x .y in mm, .u .v .along from 0 to 1, .index .count .strip, .on(name)", "at has no .%s", name)
	}
	return starlark.NewBuiltin("on", func(th *starlark.Thread, _ *starlark.Builtin, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
		s.t.locate(th)
		return onOf(s.t, th, args, kw)
	}), nil
}

// onOf is on("left"), and at.on("left"): 1 on the pixels of these strips.
func onOf(t *tracer, _ *starlark.Thread, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
	if len(args) == 0 || len(kw) > 0 {
		return nil, wrong("arguments", `write on("left")`, "on takes names of strips")
	}
	if t.opt.Layout == nil {
		return nil, wrong("strip", "call it inside light", "there are no strips at top level")
	}
	sum := t.b.num(0)
	for _, a := range args {
		name, ok := starlark.AsString(a)
		if !ok {
			return nil, wrong("arguments", `write on("left")`, "on takes names of strips, not %s", kindOf(a))
		}
		k := t.opt.Layout.Strip(name)
		if k < 0 {
			var there []string
			for i := range t.opt.Layout.Strips {
				there = append(there, t.opt.Layout.Strips[i].Name)
			}
			fix := "there are " + strings.Join(there, ", ")
			if n := nearestName(name, there); n != "" {
				fix = fmt.Sprintf("write %q; %s", n, fix)
			}
			return nil, wrong("strip", fix, "there is no strip %q", name)
		}
		sum = t.b.max(sum, t.b.put(opOn, uint64(k)))
	}
	return t.one(sum)
}

// moment is now: when a frame is.
type moment struct{ t *tracer }

func (m *moment) String() string        { return "now" }
func (m *moment) Type() string          { return "now" }
func (m *moment) Freeze()               {}
func (m *moment) Truth() starlark.Bool  { return true }
func (m *moment) Hash() (uint32, error) { return 0, wrong("shape", "", "now is not a key") }

// AttrNames lists the clocks.
func (m *moment) AttrNames() []string { return []string{"cycle", "progress", "seconds", "value"} }

// Attr is one of the clocks.
func (m *moment) Attr(name string) (starlark.Value, error) {
	t := m.t
	t.locateAttr()
	if name == "value" && !t.opt.Value {
		return nil, wrong("clock", `give the clip follow = "value"`, "now.value is for a clip that follows a value, this one plays in time")
	}
	if name != "value" && t.opt.Value && (name == "cycle" || name == "progress" || name == "seconds") {
		return nil, wrong("clock", "use now.value, or take follow out of the clip", "now.%s: a clip that follows a value has no time", name)
	}
	switch name {
	case "value":
		return t.one(t.b.put(opValue, 0))
	case "progress":
		return t.one(t.b.put(opProgress, 0))
	case "seconds":
		return t.one(t.b.put(opSeconds, 0))
	case "cycle":
		return starlark.NewBuiltin("cycle", func(th *starlark.Thread, _ *starlark.Builtin, args starlark.Tuple, kw []starlark.Tuple) (starlark.Value, error) {
			t.locate(th)
			if len(args) != 1 || len(kw) > 0 {
				return nil, wrong("arguments", "write now.cycle(4), or now.cycle(\"4 s\")", "cycle takes the time of one turn")
			}
			return t.cycle(args[0])
		}), nil
	}
	return nil, wrong("attribute", "there are .cycle(seconds), .progress, .seconds, .value", "now has no .%s", name)
}

// locateAttr notes where the script is: an attribute is no call of its own.
func (t *tracer) locateAttr() {
	if t.thread.CallStackDepth() > 0 {
		t.b.at = placeOf(t.thread.CallFrame(0).Pos)
	}
}

// cycle snaps a time to whole turns in a clip that loops.
func (t *tracer) cycle(v starlark.Value) (starlark.Value, error) {
	asked, err := secondsOf(v)
	if err != nil {
		return nil, err
	}
	if !(asked >= 1e-3 && asked <= 1e6) {
		return nil, wrong("clock", "a turn backwards is 1 - now.cycle(T)", "a turn takes 0.001 s to 1000000 s, not %v s", asked)
	}
	length := float64(t.opt.Frames) / float64(t.opt.FPS)
	turns := length / asked
	if t.opt.Loop {
		turns = math.Max(1, math.Floor(turns+0.5))
	}
	took := length / turns
	if math.Abs(took-asked) > 1e-9*asked {
		t.hint(finding.Note, "cycle_snapped", fmt.Sprintf("a turn takes %.4g s instead of %.4g s, so that the %.4g s clip holds %g whole turns", took, asked, length, turns),
			fmt.Sprintf("make the clip a multiple of %.4g s", asked))
	}
	t.cycles = append(t.cycles, Cycle{asked, turns, took, t.src.pos(t.b.at)})
	return t.one(t.b.put(opCycle, math.Float64bits(turns)))
}

// doubtHash warns of hash on a number that stays within one cell.
func (t *tracer) doubtHash(id int32) {
	n := &t.b.nodes[id]
	if n.class&PerPixel == 0 || n.hi-n.lo > 1.01 || n.op == opOn || n.op == opIndex || n.op == opStrip || n.op == opStep || n.op == opFloor {
		return
	}
	t.hint(finding.Warning, "hash_fraction", fmt.Sprintf("hash sees whole numbers only, and this stays between %.3g and %.3g: nearly all pixels get one value", n.lo, n.hi),
		"use at.index, or floor(x * n) for n cells")
}
