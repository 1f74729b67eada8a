package color

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"github.com/agnivade/levenshtein"
	"golang.org/x/image/colornames"
)

// Parse reads a CSS Color 4 color. Its error quotes the text, says what was
// expected and gives an example or the nearest name.
func Parse(text string) (Color, error) {
	s := strings.ToLower(strings.TrimSpace(text))
	c, err := parse(s)
	if err != nil {
		return Color{}, fmt.Errorf("color %q: %w", text, err)
	}
	for _, v := range append(c.C[:], c.Alpha) {
		if math.IsNaN(v) || math.Abs(v) > 1e6 {
			return Color{}, fmt.Errorf("color %q: a component is not a sensible number", text)
		}
	}
	return c, nil
}

func parse(s string) (Color, error) {
	switch {
	case s == "":
		return Color{}, fmt.Errorf(`is empty: write a CSS color such as "tomato" or "oklch(85%% 0.06 230)"`)
	case s[0] == '#':
		return parseHex(s[1:])
	case strings.HasSuffix(s, ")"):
		name, rest, ok := strings.Cut(s, "(")
		if !ok {
			return Color{}, fmt.Errorf("has a closing parenthesis only")
		}
		return parseFunction(name, rest[:len(rest)-1])
	case strings.Contains(s, "("):
		return Color{}, fmt.Errorf("misses its closing parenthesis")
	}
	return parseName(s)
}

func rgb8(r, g, b, a uint8) Color {
	return Color{C: vec{float64(r) / 255, float64(g) / 255, float64(b) / 255}, Alpha: float64(a) / 255}
}

func parseName(s string) (Color, error) {
	switch s {
	case "transparent":
		return Color{}, nil
	case "rebeccapurple": // in CSS Color 4, not in SVG 1.1
		return rgb8(0x66, 0x33, 0x99, 255), nil
	case "currentcolor":
		return Color{}, fmt.Errorf("has no meaning here, since there is no text: name a color")
	}
	if c, ok := colornames.Map[s]; ok {
		return rgb8(c.R, c.G, c.B, 255), nil
	}
	best, near := 4, ""
	for _, name := range append([]string{"rebeccapurple", "transparent"}, colornames.Names...) {
		if d := levenshtein.ComputeDistance(s, name); d < best {
			best, near = d, name
		}
	}
	if near != "" {
		return Color{}, fmt.Errorf("is no CSS color name: did you mean %q?", near)
	}
	return Color{}, fmt.Errorf(`is no CSS color: write a name, "#rrggbb" or a function such as "oklch(85%% 0.06 230)"`)
}

func parseHex(h string) (Color, error) {
	for _, r := range h {
		if !strings.ContainsRune("0123456789abcdef", r) {
			return Color{}, fmt.Errorf("holds %q, which is no hexadecimal digit", r)
		}
	}
	if len(h) == 3 || len(h) == 4 {
		var b strings.Builder
		for _, r := range h {
			b.WriteRune(r)
			b.WriteRune(r)
		}
		h = b.String()
	}
	if len(h) == 6 {
		h += "ff"
	}
	if len(h) != 8 {
		return Color{}, fmt.Errorf("wants 3, 4, 6 or 8 hexadecimal digits after #")
	}
	n, err := strconv.ParseUint(h, 16, 32)
	if err != nil {
		return Color{}, err
	}
	return rgb8(uint8(n>>24), uint8(n>>16), uint8(n>>8), uint8(n)), nil
}

// function is how one functional notation reads: what 100 % means for each
// component, and which one is a hue.
type function struct {
	space   Space
	percent vec  // value of 100 %
	divide  vec  // a plain number is divided by this
	hue     int  // index of the hue, or -1
	legacy  bool // comma form allowed
	example string
}

var functions = map[string]function{
	"rgb":   {SRGB, vec{1, 1, 1}, vec{255, 255, 255}, -1, true, "rgb(255 196 92)"},
	"hsl":   {HSL, vec{0, 1, 1}, vec{1, 100, 100}, 0, true, "hsl(40 100% 68%)"},
	"hwb":   {HWB, vec{0, 1, 1}, vec{1, 100, 100}, 0, false, "hwb(40 36% 0%)"},
	"lab":   {Lab, vec{100, 125, 125}, vec{1, 1, 1}, -1, false, "lab(82% 9 58)"},
	"lch":   {LCH, vec{100, 150, 0}, vec{1, 1, 1}, 2, false, "lch(82% 59 81)"},
	"oklab": {OKLab, vec{1, 0.4, 0.4}, vec{1, 1, 1}, -1, false, "oklab(85% 0.02 0.13)"},
	"oklch": {OKLCH, vec{1, 0.4, 0}, vec{1, 1, 1}, 2, false, "oklch(85% 0.13 82)"},
}

func parseFunction(name, body string) (Color, error) {
	switch name {
	case "rgba", "hsla":
		name = name[:3]
	case "color":
		return parseColorFunction(body)
	case "color-mix", "light-dark", "device-cmyk", "calc", "var":
		return Color{}, fmt.Errorf("%s() is not read here: write the color itself, or mix colors with mix() or a gradient", name)
	}
	f, ok := functions[name]
	if !ok {
		return Color{}, fmt.Errorf("no color function %s(): use rgb, hsl, hwb, lab, lch, oklab, oklch or color", name)
	}
	args, alpha, commas, err := split(body)
	if err != nil {
		return Color{}, fmt.Errorf("%w, as in %s", err, f.example)
	}
	if commas && !f.legacy {
		return Color{}, fmt.Errorf("%s() takes no commas: write %s", name, f.example)
	}
	if len(args) != 3 {
		return Color{}, fmt.Errorf("%s() takes 3 components, got %d, as in %s", name, len(args), f.example)
	}
	c := Color{Space: f.space, Alpha: 1}
	for i, a := range args {
		if i == f.hue {
			c.C[i], c.None[i], err = angle(a)
		} else {
			c.C[i], c.None[i], err = component(a, f.percent[i], f.divide[i])
		}
		if err == nil && commas && c.None[i] {
			err = fmt.Errorf("none is not allowed in the comma form")
		}
		if err != nil {
			return Color{}, fmt.Errorf("component %d: %w, as in %s", i+1, err, f.example)
		}
	}
	if c.Alpha, err = parseAlpha(alpha); err != nil {
		return Color{}, err
	}
	clampParsed(&c)
	return c, nil
}

// clampParsed applies the ranges that CSS Color 4 clamps when it parses.
func clampParsed(c *Color) {
	switch c.Space {
	case HSL:
		c.C[1] = math.Max(c.C[1], 0)
	case Lab:
		c.C[0] = math.Min(math.Max(c.C[0], 0), 100)
	case LCH:
		c.C[0] = math.Min(math.Max(c.C[0], 0), 100)
		c.C[1] = math.Max(c.C[1], 0)
	case OKLab:
		c.C[0] = math.Min(math.Max(c.C[0], 0), 1)
	case OKLCH:
		c.C[0] = math.Min(math.Max(c.C[0], 0), 1)
		c.C[1] = math.Max(c.C[1], 0)
	}
}

func parseColorFunction(body string) (Color, error) {
	const example = "color(display-p3 1 0.6 0.2)"
	args, alpha, commas, err := split(body)
	if err == nil && commas {
		err = fmt.Errorf("color() takes no commas")
	}
	if err != nil {
		return Color{}, fmt.Errorf("%w: write %s", err, example)
	}
	if len(args) != 4 {
		return Color{}, fmt.Errorf("color() takes a space and 3 components, as in %s", example)
	}
	space, err := ParseSpace(args[0])
	if err != nil {
		return Color{}, err
	}
	switch space {
	case HSL, HWB, Lab, LCH, OKLab, OKLCH:
		return Color{}, fmt.Errorf("color() does not take %s: write %s", space, functions[space.String()].example)
	}
	c := Color{Space: space}
	for i, a := range args[1:] {
		if c.C[i], c.None[i], err = component(a, 1, 1); err != nil {
			return Color{}, fmt.Errorf("component %d: %w, as in %s", i+1, err, example)
		}
	}
	c.Alpha, err = parseAlpha(alpha)
	return c, err
}

// split takes a function's body apart: components, the text of alpha ("" when
// absent), and whether the comma form was used.
func split(body string) (args []string, alpha string, commas bool, err error) {
	if strings.Contains(body, "(") {
		return nil, "", false, fmt.Errorf("holds a function inside: write plain numbers")
	}
	if commas = strings.Contains(body, ","); commas {
		if strings.Contains(body, "/") {
			return nil, "", true, fmt.Errorf("mixes commas and a slash")
		}
		for p := range strings.SplitSeq(body, ",") {
			p = strings.TrimSpace(p)
			if p == "" || len(strings.Fields(p)) != 1 {
				return nil, "", true, fmt.Errorf("wants one value between commas")
			}
			args = append(args, p)
		}
		if len(args) == 4 {
			alpha, args = args[3], args[:3]
		}
		return args, alpha, true, nil
	}
	front, back, slash := strings.Cut(body, "/")
	if slash {
		f := strings.Fields(back)
		if len(f) != 1 {
			return nil, "", false, fmt.Errorf("wants one value, the alpha, after the slash")
		}
		alpha = f[0]
	}
	return strings.Fields(front), alpha, false, nil
}

// number reads a CSS number: an optional sign, digits, an optional exponent.
func number(s string) (float64, error) {
	if s == "" || strings.Trim(s, "+-.0123456789e") != "" {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0, fmt.Errorf("%q is not a number", s)
	}
	return v, nil
}

func component(s string, percent, divide float64) (v float64, none bool, err error) {
	if s == "none" {
		return 0, true, nil
	}
	if p, ok := strings.CutSuffix(s, "%"); ok {
		v, err = number(p)
		return float64(v*percent) / 100, false, err
	}
	v, err = number(s)
	return v / divide, false, err
}

func angle(s string) (v float64, none bool, err error) {
	if s == "none" {
		return 0, true, nil
	}
	// "grad" ends in "rad": the longer unit stands first.
	for _, u := range []struct {
		unit string
		deg  float64
	}{{"deg", 1}, {"grad", 0.9}, {"rad", 180 / math.Pi}, {"turn", 360}, {"", 1}} {
		if n, ok := strings.CutSuffix(s, u.unit); ok {
			if v, err = number(n); err != nil {
				return 0, false, fmt.Errorf("%q is not an angle: degrees, or a number with deg, grad, rad or turn", s)
			}
			return mod360(float64(v * u.deg)), false, nil
		}
	}
	return 0, false, nil
}

func parseAlpha(s string) (float64, error) {
	if s == "" {
		return 1, nil
	}
	v, _, err := component(s, 1, 1) // none counts as 0, as when it is shown
	if err != nil {
		return 0, fmt.Errorf("alpha: %w", err)
	}
	return math.Min(math.Max(v, 0), 1), nil
}
