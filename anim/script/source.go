package script

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"
	"go.starlark.net/resolve"
	"go.starlark.net/starlark"
	"go.starlark.net/syntax"

	"paneglow/anim/finding"
)

// source is a script's text, to say where things stand in it.
type source struct {
	file  string
	text  string
	lines []int // byte offset of each line
}

func newSource(file string, text []byte) *source {
	s := &source{file: file, text: string(text), lines: []int{0}}
	for i, c := range text {
		if c == '\n' {
			s.lines = append(s.lines, i+1)
		}
	}
	return s
}

// pos turns a line and a column in characters into a Pos, which counts bytes
// and covers the word or sign that stands there.
func (s *source) pos(p place) finding.Pos {
	if p.line < 1 || int(p.line) > len(s.lines) {
		return finding.Pos{File: s.file}
	}
	at := s.lines[p.line-1]
	start := at
	for c := int32(1); c < p.col && start < len(s.text) && s.text[start] != '\n'; c++ {
		_, n := utf8.DecodeRuneInString(s.text[start:])
		start += n
	}
	end := start
	for end < len(s.text) && wordByte(s.text[end]) {
		end++
	}
	if end == start && end < len(s.text) && s.text[end] != '\n' {
		_, n := utf8.DecodeRuneInString(s.text[end:])
		end += n
	}
	return finding.Pos{File: s.file, Line: int(p.line), Col: start - at + 1, Start: start, End: end}
}

// word is the text that a Pos covers.
func (s *source) word(p finding.Pos) string { return s.text[p.Start:p.End] }

func wordByte(c byte) bool {
	return c == '_' || c >= '0' && c <= '9' || c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z'
}

func placeOf(p syntax.Position) place { return place{p.Line, p.Col} }

// trouble is an error raised while a script runs, before it has a place.
type trouble struct{ code, message, fix string }

func (t *trouble) Error() string {
	if t.fix == "" {
		return t.message
	}
	return t.message + ": " + t.fix
}

func wrong(code, fix, message string, args ...any) error {
	return &trouble{"script." + code, fmt.Sprintf(message, args...), fix}
}

// explain turns what the Starlark packages return into findings.
func (s *source) explain(err error) error {
	var list resolve.ErrorList
	var parse syntax.Error
	var eval *starlark.EvalError
	switch {
	case errors.As(err, &list):
		var out finding.List
		for _, e := range list {
			out = append(out, s.undefined(e))
		}
		return out
	case errors.As(err, &parse):
		return s.misread(parse)
	case errors.As(err, &eval):
		return s.raised(eval)
	}
	return finding.Finding{Code: "script.failed", Severity: finding.Error, Where: s.file, Message: err.Error(), Pos: finding.Pos{File: s.file}}
}

func (s *source) err(p place, code, message, fix string) finding.Finding {
	return finding.At(s.pos(p), finding.Error, "script."+code, message, fix)
}

// undefined explains a name that nothing declares.
func (s *source) undefined(e resolve.Error) finding.Finding {
	name, ok := strings.CutPrefix(e.Msg, "undefined: ")
	if !ok {
		fix := ""
		if strings.Contains(e.Msg, "cannot reassign") {
			fix = "at top level a name is set once: give it another name, or compute it in a function"
		}
		return s.err(placeOf(e.Pos), "resolve", e.Msg, fix)
	}
	name, _, _ = strings.Cut(name, " ")
	return s.err(placeOf(e.Pos), "undefined", "there is no "+name, hintFor(name))
}

// habits are names from elsewhere, and what to write here.
var habits = map[string]string{
	"colour": "write color", "rgb": `write color("rgb(...)")`, "hsl": `write color("hsl(...)")`,
	"lerp": "write mix(a, b, t)", "saturate": "write clamp(x, 0, 1)", "frac": "write fract(x)",
	"atan2": "write atan(y, x)", "math": "the functions stand alone: write sin(x), not math.sin(x)",
	"pi": "write radians(180), or use now.cycle(T), which counts turns", "rsqrt": "write inversesqrt(x)",
	"random": "write hash(at.index) for a number per pixel", "rand": "write hash(at.index) for a number per pixel",
	"time": "time is now: now.cycle(T), now.progress, now.seconds",
	"str":  "a pattern makes light, not text", "print": "a pattern makes light, not text",
	"dict": "use lists", "set": "use lists", "sum": "add in a loop", "any": "use or", "all": "use and",
	"sorted": "write the list in order", "type": "", "map": "write a list comprehension",
}

func hintFor(name string) string {
	if h, ok := habits[name]; ok {
		return h
	}
	if n := nearestName(name, visibleNames()); n != "" {
		return "write " + n
	}
	return "functions are those of GLSL ES, and color, gradient, lightness, noise, fbm, hash, trail, on"
}

// nearestName picks the name a person most likely meant, or "".
func nearestName(name string, among []string) string {
	best, at := "", 3
	if len(name) <= 3 {
		at = 2
	}
	for _, n := range among {
		if d := levenshtein.ComputeDistance(strings.ToLower(name), strings.ToLower(n)); d < at {
			best, at = n, d
		}
	}
	return best
}

// misread explains a syntax error.
func (s *source) misread(e syntax.Error) finding.Finding {
	p := s.pos(placeOf(e.Pos))
	word := ""
	if p.Line > 0 {
		word = s.word(p)
	}
	fix := ""
	switch {
	case word == "import" || word == "from":
		fix = "a pattern imports nothing, every function is there already"
	case word == "while":
		fix = "write for i in range(n)"
	case word == "class" || word == "try" || word == "with" || word == "global" || word == "raise" || word == "assert" || word == "is" || word == "del" || word == "yield" || word == "async" || word == "await":
		fix = word + " is Python; a pattern has def, if, for, return"
	case word == "*" && strings.HasSuffix(s.text[:p.Start], "*"):
		fix = "write pow(x, y)"
	case strings.Contains(e.Msg, "indent"):
		fix = "indent with the same number of spaces"
	case strings.Contains(e.Msg, "nesting"):
		fix = "name the parts on lines of their own"
	}
	return finding.At(p, finding.Error, "script.syntax", e.Msg, fix)
}

// raised explains an error that the running script met, at the innermost place
// of the script itself.
func (s *source) raised(e *starlark.EvalError) finding.Finding {
	at := place{}
	for i := range e.CallStack {
		if f := e.CallStack.At(i); f.Pos.Filename() == s.file && f.Pos.Line > 0 {
			at = placeOf(f.Pos)
			break
		}
	}
	var t *trouble
	if errors.As(e, &t) {
		return finding.At(s.pos(at), finding.Error, t.code, t.message, t.fix)
	}
	msg, fix := e.Msg, ""
	switch {
	case strings.Contains(msg, "Starlark computation cancelled"):
		return finding.At(s.pos(at), finding.Error, "script.too_long",
			fmt.Sprintf("the script takes more than %d steps", maxSteps), "shorten its loops")
	case strings.Contains(msg, "called recursively"):
		fix = "write a loop over range(n)"
	case strings.Contains(msg, "missing 1 argument"), strings.Contains(msg, "accepts"):
		fix = "check the arguments"
	}
	return finding.At(s.pos(at), finding.Error, "script.failed", msg, fix)
}
