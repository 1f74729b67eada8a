package script

import (
	"fmt"
	"sort"
	"strings"
	"time"

	"go.starlark.net/starlark"
	"go.starlark.net/syntax"
)

// Pattern is a script that was read, fenced and run once at top level. It does
// not change; Trace may be called from several goroutines.
type Pattern struct {
	src      *source
	doc      string
	program  *starlark.Program
	controls []Control
}

// wallClock is the last resort against a script that the step count does not
// stop. Everything known to be slow is charged; a pattern takes milliseconds.
const wallClock = 900 * time.Millisecond

// dialect is what patterns are written in: no recursion, no while, no sets.
var dialect = &syntax.FileOptions{TopLevelControl: true}

// Load reads a script and finds its controls. file is the name that errors
// use. The error is a finding.Finding or a finding.List with every place.
func Load(file string, src []byte) (*Pattern, error) {
	s := newSource(file, src)
	if len(src) > maxSource {
		return nil, s.err(place{}, "too_large", fmt.Sprintf("the script has %d bytes, at most %d are read", len(src), maxSource), "a pattern holds one idea")
	}
	tree, err := dialect.Parse(file, src, 0)
	if err != nil {
		return nil, s.explain(err)
	}
	p := &Pattern{src: s, doc: docstring(tree)}
	f := &fence{src: s}
	f.file(tree)
	if len(f.errs) > 0 {
		f.errs.Sort()
		return nil, f.errs
	}
	if p.program, err = starlark.FileProgram(tree, language.Has); err != nil {
		return nil, s.explain(err)
	}
	t := &tracer{src: s, b: newBuilder(), opt: &Options{FPS: 1, Frames: 1}}
	if _, err := t.run(p); err != nil {
		return nil, err
	}
	p.controls = t.controls
	return p, nil
}

// run executes the script's top level and finds light.
func (t *tracer) run(p *Pattern) (*starlark.Function, error) {
	t.thread = &starlark.Thread{Name: p.src.file}
	t.thread.SetLocal(tracerKey, t)
	t.thread.SetMaxExecutionSteps(maxSteps)
	stop := time.AfterFunc(wallClock, func() { t.thread.Cancel("the clock") })
	defer stop.Stop()
	globals, err := p.program.Init(t.thread, language)
	if err != nil {
		return nil, p.src.explain(err)
	}
	v, ok := globals["light"]
	fix := "write def light(at, now): and return light"
	if !ok {
		return nil, p.src.err(place{}, "no_light", "the script has no function light", fix)
	}
	fn, ok := v.(*starlark.Function)
	if !ok {
		return nil, p.src.err(place{}, "no_light", "light is "+kindOf(v)+", not a function", fix)
	}
	if fn.NumParams() != 2 {
		at := placeOf(fn.Position())
		return nil, p.src.err(at, "no_light", fmt.Sprintf("light takes 2 parameters, at and now, not %d", fn.NumParams()), fix)
	}
	return fn, nil
}

// docstring is the text that a script opens with.
func docstring(f *syntax.File) string {
	if len(f.Stmts) == 0 {
		return ""
	}
	if e, ok := f.Stmts[0].(*syntax.ExprStmt); ok {
		if l, ok := e.X.(*syntax.Literal); ok && l.Token == syntax.STRING {
			return strings.TrimSpace(l.Value.(string))
		}
	}
	return ""
}

// Doc is the text the script opens with: what one sees, which number to turn.
func (p *Pattern) Doc() string { return p.doc }

// Controls lists what the script declares, in its order.
func (p *Pattern) Controls() []Control {
	out := append([]Control(nil), p.controls...)
	for i := range out {
		out[i].Options = append([]string(nil), out[i].Options...)
	}
	return out
}

func sortedKeys[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	sort.Strings(out)
	return out
}
